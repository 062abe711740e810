"""Devices: for whom they are enrolled, and what they may do there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.access.tokens import Account
from ledger.application.devices import device_account, enrol_device, exchange_code
from ledger.errors import MalformedInput, NotFound, Refused, Unauthenticated
from ledger.store.accounts import add_account, close_account, set_roles
from ledger.store.devices import CODE_LASTS_MS, end_device
from ledger.store.engine import Store, open_store
from tests.stores import fresh_file

NOW = 1_000_000_000


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A store with nobody in it."""
    opened = open_store(fresh_file(tmp_path))
    yield opened
    opened.close()


def test_a_device_stands_for_its_account_until_it_is_ended(store: Store) -> None:
    """Enrolled by its code, it is found with name and stage; ended, or its account closed, it is nobody."""
    account = add_account(store, "Engraving", ["station"], 5).account
    made = enrol_device(store, account, "  Tablet  two ", "engraving", NOW)
    cookie = exchange_code(store, made.code, NOW)
    device, speaks = device_account(store, cookie)
    assert (made.device, "Tablet two", "engraving", NOW + CODE_LASTS_MS) == (
        device.device,
        device.name,
        device.stage,
        made.until_ms,
    )
    assert Account(account, ("station",)) == speaks
    end_device(store, made.device, NOW)
    other = exchange_code(store, enrol_device(store, account, "Tablet", None, NOW).code, NOW)
    close_account(store, account, NOW)
    for ended in (cookie, other, "", "pbd1_"):
        with pytest.raises(Unauthenticated):
            device_account(store, ended)


def test_a_device_has_the_roles_of_the_line_alone(store: Store) -> None:
    """Other roles that its account has, or gets later, are not the device's."""
    account = add_account(store, "Lead", ["station", "quality", "admin"], 5).account
    cookie = exchange_code(store, enrol_device(store, account, "Tablet", None, NOW).code, NOW)
    assert ("station",) == device_account(store, cookie)[1].roles
    set_roles(store, account, ["inspector", "admin"])
    assert ("inspector",) == device_account(store, cookie)[1].roles
    set_roles(store, account, ["admin"])
    assert () == device_account(store, cookie)[1].roles


def test_devices_that_cannot_be(store: Store) -> None:
    """No name, a name too long, an unknown stage, an account without a role of the line, an unknown account."""
    line = add_account(store, "Line", ["station"], 5).account
    office = add_account(store, "Office", ["desk", "admin"], 6).account
    for account, name, stage, refusal in (
        (line, " ", None, MalformedInput),
        (line, "x" * 61, None, MalformedInput),
        (line, "Tablet", "office", MalformedInput),
        (office, "Tablet", None, Refused),
        ("a-none", "Tablet", None, NotFound),
    ):
        with pytest.raises(refusal):
            enrol_device(store, account, name, stage, NOW)


def test_a_code_is_good_once_and_for_ten_minutes(store: Store) -> None:
    """Typed again, too late, or never made, it enrols nothing."""
    account = add_account(store, "Line", ["station"], 5).account
    code = enrol_device(store, account, "Tablet", None, NOW).code
    exchange_code(store, code, NOW)
    late = enrol_device(store, account, "Tablet", None, NOW).code
    for typed, now in ((code, NOW), (late, NOW + CODE_LASTS_MS), ("22222222", NOW)):
        with pytest.raises(NotFound):
            exchange_code(store, typed, now)
