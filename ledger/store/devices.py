"""Devices: enrolled by a code that is shown once, then known by a cookie of their own, ended one by one.

A device stands for an account without a password, so what it may do is bounded by `ledger.application.devices`.
"""

from __future__ import annotations

import secrets
from typing import Any, NamedTuple

from ledger.access.cookies import CODE_BYTES, COOKIE_BYTES, code_digest, cookie_digest, format_code, format_cookie
from ledger.errors import NotFound
from ledger.store.engine import Store
from ledger.store.transaction import Transaction

CODE_LASTS_MS = 600_000


class Device(NamedTuple):
    """A device and the account that it stands for; ``enrolled_ms`` is None until the code was typed, ``ended_ms`` while it is in use."""

    device: str
    account: str
    account_name: str | None
    roles: frozenset[str]
    name: str
    stage: str | None
    made_ms: int
    enrolled_ms: int | None
    ended_ms: int | None


def add_device(store: Store, account: str, name: str, stage: str | None, now_ms: int) -> tuple[str, str]:
    """Make a device of an open account: its id, and the code that enrols it within 10 minutes, told here alone.

    Raises NotFound.
    """
    device = f"d-{secrets.token_hex(8)}"
    code = format_code(secrets.token_bytes(CODE_BYTES))
    with store.writing() as transaction:
        if transaction.row('SELECT 1 FROM "account" WHERE "account" = ? AND "closed_ms" IS NULL', (account,)) is None:
            raise NotFound("account is not open", got=account, where="account")
        # A code that was never typed leaves nothing behind.
        transaction.run('DELETE FROM "device" WHERE "code" IS NOT NULL AND "code_until_ms" <= ?', (now_ms,))
        transaction.run(
            'INSERT INTO "device" ("device", "account", "name", "stage", "made_ms", "code", "code_until_ms") '
            "VALUES (?, ?, ?, ?, ?, ?, ?)",
            (device, account, name, stage, now_ms, code_digest(code), now_ms + CODE_LASTS_MS),
        )
    return device, code


def take_device(store: Store, code: str, now_ms: int) -> str:
    """Exchange a code for the cookie of its device, once. Raises NotFound for a code that is unknown, used or too old."""
    cookie = format_cookie("device", secrets.token_bytes(COOKIE_BYTES))
    with store.writing() as transaction:
        taken = transaction.run(
            'UPDATE "device" SET "code" = NULL, "digest" = ?, "enrolled_ms" = ? '
            'WHERE "code" = ? AND "code_until_ms" > ? AND "ended_ms" IS NULL',
            (cookie_digest("device", cookie), now_ms, code_digest(code), now_ms),
        )
    if not taken:
        raise NotFound("enrolment code is not known", where="code", mend="have a new code shown and type it in time")
    return cookie


def device_of(store: Store, cookie: str) -> Device | None:
    """The device in use that a cookie belongs to; None for another. Raises Unauthenticated for no cookie."""
    with store.reading() as transaction:
        found = transaction.row(
            f'{_DEVICES} WHERE d."digest" = ? AND d."ended_ms" IS NULL AND a."closed_ms" IS NULL',
            (cookie_digest("device", cookie),),
        )
    return None if found is None else _device(found)


def list_devices(store: Store, now_ms: int) -> list[Device]:
    """Every device, in the order they were made; those whose code ran out are left out."""
    with store.reading() as transaction:
        found = transaction.rows(
            f'{_DEVICES} WHERE d."code" IS NULL OR d."code_until_ms" > ? ORDER BY d."made_ms", d."device"', (now_ms,)
        )
    return [_device(row) for row in found]


def end_device(store: Store, device: str, now_ms: int) -> None:
    """End a device: its cookie and its code no longer work. Raises NotFound for one that is unknown or ended."""
    with store.writing() as transaction:
        ended = transaction.run(
            'UPDATE "device" SET "ended_ms" = ?, "code" = NULL, "digest" = NULL WHERE "device" = ? AND "ended_ms" IS NULL',
            (now_ms, device),
        )
    if not ended:
        raise NotFound("device is not in use", got=device, where="device")


def delete_devices(transaction: Transaction, account: str) -> None:
    """Forget every device of an account."""
    transaction.run('DELETE FROM "device" WHERE "account" = ?', (account,))


_DEVICES = (
    'SELECT d."device", d."account", a."name", a."roles", d."name", d."stage", d."made_ms", d."enrolled_ms", d."ended_ms" '
    'FROM "device" d JOIN "account" a ON a."account" = d."account"'
)


def _device(row: tuple[Any, ...]) -> Device:
    device, account, account_name, roles, *rest = row
    return Device(device, account, account_name, frozenset(roles.split(",")) - {""}, *rest)
