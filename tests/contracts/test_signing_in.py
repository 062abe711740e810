"""Passwords, failed sign-ins, sessions and devices on each database."""

from __future__ import annotations

import threading

import pytest

from ledger.access.cookies import COOKIE_BYTES, format_cookie
from ledger.access.lockout import FORGOTTEN_MS
from ledger.errors import Contradiction, NotFound
from ledger.store import accounts, devices, passwords, sessions
from ledger.store.engine import Store, open_store
from ledger.store.writer import Writer
from tests.plant import AT, said
from tests.stores import every_row

NOW = 1_000_000_000
STRANGER = format_cookie("session", bytes(COOKIE_BYTES))
TABLES = ("password", "session", "sign_in", "device")


def opened(store: Store, name: str = "Ann Lead") -> str:
    """An account with a password."""
    account = accounts.add_account(store, name, ["quality"], 5).account
    passwords.put_password(store, account, "$argon2id$one", NOW, must_change=True)
    return account


def lodged(store: Store, account: str) -> tuple[str, str]:
    """A session and an enrolled device of an account; their cookies. A failed sign-in stands under the name too."""
    _, code = devices.add_device(store, account, "Tablet", "engraving", NOW)
    passwords.begin_sign_in(store, "Ann Lead", NOW)
    return sessions.add_session(store, account, NOW), devices.take_device(store, code, NOW)


def test_a_password_is_found_by_name_and_by_account(store: Store) -> None:
    """However the name is capitalised; replaced it is the later one; no other name has it."""
    account = opened(store)
    assert passwords.Password(account, "$argon2id$one", NOW, must_change=True) == passwords.password_of(
        store, "ann  LEAD"
    )
    passwords.put_password(store, account, "$argon2id$two", NOW + 1, must_change=False)
    later = passwords.Password(account, "$argon2id$two", NOW + 1, must_change=False)
    assert later == passwords.password_of(store, "Ann Lead") == passwords.password_of_account(store, account)
    for name in ("Ann", "", "\0", "\ud800"):
        assert None is passwords.password_of(store, name)
    assert None is passwords.password_of_account(store, "a-none")


def test_two_accounts_do_not_sign_in_by_one_name(store: Store) -> None:
    """The second account of a name gets no password until the first is closed; an unknown one gets none at all."""
    first = opened(store)
    second = accounts.add_account(store, "ANN LEAD", ["desk"], 6).account
    with pytest.raises(Contradiction, match="another account"):
        passwords.put_password(store, second, "$argon2id$two", NOW, must_change=False)
    accounts.close_account(store, first, NOW)
    passwords.put_password(store, second, "$argon2id$two", NOW, must_change=False)
    for account in (first, "a-none"):
        with pytest.raises(NotFound):
            passwords.put_password(store, account, "$argon2id$two", NOW, must_change=False)
    assert second == getattr(passwords.password_of(store, "ann lead"), "account", None)


def test_failures_lock_a_name_in_every_process(store: Store, url: str) -> None:
    """After five tries the name waits 30 s, asked by another store too; names are told apart, and none is in the rows."""
    other = open_store(url)
    assert [0] * 5 == [passwords.begin_sign_in(one, "Ann Lead", NOW) for one in (store, other, store, other, store)]
    assert [30_000, 29_999] == [passwords.begin_sign_in(other, "ANN lead", NOW + at) for at in (0, 1)]
    assert (20_000, 0) == (
        passwords.sign_in_wait_ms(other, "Ann Lead", NOW + 10_000),
        passwords.sign_in_wait_ms(other, "Ben", NOW),
    )
    assert (0, 60_000) == (
        passwords.begin_sign_in(store, "Ann Lead", NOW + 30_000),
        passwords.sign_in_wait_ms(store, "Ann Lead", NOW + 30_000),
    )
    assert "ann" not in repr(every_row(store)["sign_in"]).lower()
    passwords.end_sign_in(store, "Ann Lead")
    assert [] == every_row(store)["sign_in"]
    other.close()


def test_tries_at_once_are_all_counted(store: Store) -> None:
    """Of twelve tries at the same time four and one are let through, and no more."""
    gate, answers = threading.Barrier(12), []

    def tried() -> None:
        gate.wait()
        answers.append(passwords.begin_sign_in(store, "Ann Lead", NOW))

    threads = [threading.Thread(target=tried) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (5, 7) == (answers.count(0), answers.count(30_000))


def test_old_failures_are_removed(store: Store) -> None:
    """A day after the last try a name is like new, and the rows of others that old are gone."""
    for name in ("Ann Lead", "Ben"):
        for _ in range(5):
            passwords.begin_sign_in(store, name, NOW)
    assert 0 == passwords.begin_sign_in(store, "Ann Lead", NOW + FORGOTTEN_MS)
    assert [1] == [row[1] for row in every_row(store)["sign_in"]]


def test_a_session_lasts_as_long_as_stated(store: Store) -> None:
    """Twelve hours when used at least once an hour; an hour without use; unknown cookies are nobody's."""
    account = opened(store)
    cookie = sessions.add_session(store, account, NOW, "de")
    session = sessions.session_of(store, cookie, NOW)
    assert session is not None
    assert (account, "Ann Lead", frozenset({"quality"}), "de", True) == (
        session.account,
        session.name,
        session.roles,
        session.language,
        session.must_change,
    )
    steps = [NOW + hour * 3_599_000 for hour in range(1, 13)]
    assert all(sessions.session_of(store, cookie, now) for now in steps)
    assert None is sessions.session_of(store, cookie, NOW + sessions.LASTS_MS)
    unused = sessions.add_session(store, account, NOW)
    assert None is sessions.session_of(store, unused, NOW + sessions.UNUSED_MS)
    assert None is sessions.session_of(store, STRANGER, NOW)


def test_use_is_written_once_a_minute(store: Store) -> None:
    """Within a minute nothing is written; after it the last use is."""
    cookie = sessions.add_session(store, opened(store), NOW)
    begun = every_row(store)
    sessions.session_of(store, cookie, NOW + 59_999)
    assert begun == every_row(store)
    sessions.session_of(store, cookie, NOW + 60_000)
    assert [NOW + 60_000] == [row[3] for row in every_row(store)["session"]]


def test_sessions_end(store: Store) -> None:
    """One by its digest, all of an account but one; ended is ended, and old rows are removed by a later beginning."""
    account = opened(store)
    cookies = [sessions.add_session(store, account, NOW + at) for at in range(3)]
    digests = [session.digest for session in sessions.list_sessions(store, account, NOW + 3)]
    sessions.end_session(store, digests[0], NOW + 3)
    assert 1 == sessions.end_sessions(store, account, NOW + 3, but=digests[2])
    assert [False, False, True] == [sessions.session_of(store, cookie, NOW + 4) is not None for cookie in cookies]
    sessions.set_session_language(store, digests[2], "de")
    assert ["de"] == [session.language for session in sessions.list_sessions(store, account, NOW + 4)]
    sessions.add_session(store, account, NOW + sessions.KEPT_MS + 10)
    assert 1 == len(every_row(store)["session"])
    with pytest.raises(NotFound):
        sessions.add_session(store, "a-none", NOW)


def test_a_device_is_enrolled_once_in_time(store: Store) -> None:
    """Its code works once and for ten minutes; then its cookie speaks for the account until the device is ended."""
    account = opened(store)
    device, code = devices.add_device(store, account, "Tablet", "engraving", NOW)
    cookie = devices.take_device(store, code.lower(), NOW + devices.CODE_LASTS_MS - 1)
    found = devices.device_of(store, cookie)
    assert found is not None
    assert (device, account, "Tablet", "engraving") == (found.device, found.account, found.name, found.stage)
    with pytest.raises(NotFound):
        devices.take_device(store, code, NOW + 1)
    assert [found] == devices.list_devices(store, NOW)
    devices.end_device(store, device, NOW + 2)
    assert None is devices.device_of(store, cookie)
    assert [NOW + 2] == [one.ended_ms for one in devices.list_devices(store, NOW)]
    for ask in (
        lambda: devices.end_device(store, device, NOW + 3),
        lambda: devices.add_device(store, "a-none", "Tablet", None, NOW),
    ):
        with pytest.raises(NotFound):
            ask()


def test_a_code_that_was_not_typed_leaves_nothing(store: Store) -> None:
    """After ten minutes it works no more, is not listed, and goes with the next device."""
    account = opened(store)
    late = NOW + devices.CODE_LASTS_MS
    _, code = devices.add_device(store, account, "Tablet", None, NOW)
    with pytest.raises(NotFound):
        devices.take_device(store, code, late)
    assert [] == devices.list_devices(store, late)
    devices.add_device(store, account, "Other", None, late)
    assert ["Other"] == [one.name for one in devices.list_devices(store, late)]


def test_nothing_secret_is_stored(store: Store) -> None:
    """Neither the cookies nor the code lie in any row."""
    account = opened(store)
    _, code = devices.add_device(store, account, "Tablet", None, NOW)
    cookies = lodged(store, account)
    rows = repr(every_row(store))
    assert [] == [secret for secret in (*cookies, code) if secret in rows]


def test_closing_an_account_ends_every_way_in(store: Store) -> None:
    """Password, sessions and devices of a closed account are gone; another account's stay."""
    account = opened(store)
    person, device = lodged(store, account)
    other = opened(store, "Ben")
    stays = sessions.add_session(store, other, NOW)
    accounts.close_account(store, account, NOW)
    assert (None, None, None) == (
        passwords.password_of(store, "Ann Lead"),
        sessions.session_of(store, person, NOW),
        devices.device_of(store, device),
    )
    assert sessions.session_of(store, stays, NOW) is not None


def test_erasing_a_name_leaves_nothing_of_it(store: Store, writer: Writer) -> None:
    """With the name go its password, sessions, devices and failed sign-ins; no row of them is left."""
    account = opened(store)
    cookies = lodged(store, account)
    record = {"kind": "name-erasure", "at": AT, "account": account, "basis": "expiry", "reason": "left-us"}
    writer.submit(said("erase", record), "a-lead").result(30)
    rows = every_row(store)
    assert [[], [], [], []] == [rows[table] for table in TABLES]
    assert (None, None) == (sessions.session_of(store, cookies[0], NOW), devices.device_of(store, cookies[1]))
    assert "ann lead" not in repr(rows).lower()
