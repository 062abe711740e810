"""Devices of the line: a tablet or terminal that stands for an account without a password.

A device may do what a station or an inspector may, and no more, whatever other roles its account has: who picks it up
has not shown who they are.
"""

from __future__ import annotations

from typing import NamedTuple

from ledger.access.tokens import Account
from ledger.errors import MalformedInput, Refused, Unauthenticated
from ledger.store.accounts import list_accounts
from ledger.store.devices import CODE_LASTS_MS, Device, add_device, device_of, take_device
from ledger.store.engine import Store

DEVICE_ROLES = frozenset({"station", "inspector"})
STAGES = ("blocks", "cores", "shells", "finishing", "engraving", "inspection")
"""Where a device may stand, by the page that it opens."""

LONGEST_NAME = 60


class Enrolment(NamedTuple):
    """A device that waits for its code to be typed, up to ``until_ms``."""

    device: str
    code: str
    until_ms: int


def enrol_device(store: Store, account: str, name: str, stage: str | None, now_ms: int) -> Enrolment:
    """Make a device of an account; the code that is to be typed on it once, within 10 minutes.

    Raises MalformedInput for a name or stage that cannot be, NotFound, Refused for an account without a role of the line.
    """
    named = " ".join(name.split())
    if not 1 <= len(named) <= LONGEST_NAME or not named.isprintable():
        raise MalformedInput("device needs a name", expected=f"1 to {LONGEST_NAME} characters", where="name")
    if stage is not None and stage not in STAGES:
        raise MalformedInput("stage is not known", expected=" or ".join(STAGES), got=stage, where="stage")
    roles = next((row.roles for row in list_accounts(store) if row.account == account), frozenset())
    if roles and not roles & DEVICE_ROLES:
        raise Refused(
            "account has no role that a device may have",
            expected=" or ".join(sorted(DEVICE_ROLES)),
            got=", ".join(sorted(roles)),
            where="account",
            mend="enrol the device for an account of a station",
        )
    device, code = add_device(store, account, named, stage, now_ms)
    return Enrolment(device, code, now_ms + CODE_LASTS_MS)


def exchange_code(store: Store, code: str, now_ms: int) -> str:
    """The cookie of the device that a code was made for; the code is used up.

    Raises Unauthenticated for text that is no code, NotFound for one that is unknown, used or too old.
    """
    return take_device(store, code, now_ms)


def device_account(store: Store, cookie: str) -> tuple[Device, Account]:
    """The device of a cookie, and the account with the roles that it has on a device. Raises Unauthenticated."""
    device = device_of(store, cookie)
    if device is None:
        raise Unauthenticated("device is not in use", mend="have it enrolled again")
    return device, Account(device.account, tuple(sorted(device.roles & DEVICE_ROLES)))
