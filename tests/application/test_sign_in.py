"""Signing in: who is let in, that nothing tells names from each other, and that a name that failed must wait."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.access.cookies import format_cookie
from ledger.access.lockout import LONGEST_WAIT_MS
from ledger.application.password_hashes import HASHES, Cost, PasswordHashes
from ledger.application.sign_in import change_password, session_account, set_password, sign_in, sign_out, wait_s
from ledger.errors import AccessDenied, Contradiction, NotFound, Refused, Unauthenticated
from ledger.store.accounts import add_account, close_account
from ledger.store.engine import Store, open_store
from ledger.store.passwords import password_of
from ledger.store.sessions import UNUSED_MS
from tests.stores import fresh_file

NOW = 1_000_000_000
PASSWORD = "several words of no order"
CHEAP = PasswordHashes(Cost(1, 8, 1))
"""The least that Argon2 takes (RFC 9106 section 3.1: 8 KiB a lane); what is tested here does not depend on the cost."""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A store with nobody in it."""
    opened = open_store(fresh_file(tmp_path))
    yield opened
    opened.close()


@pytest.fixture
def account(store: Store) -> str:
    """Ann, who has a password of her own."""
    added = add_account(store, "Ann Lead", ["quality"], 5).account
    set_password(store, added, PASSWORD, NOW, must_change=False, hashes=CHEAP)
    return added


def entered(store: Store, name: str = "Ann Lead", password: str = PASSWORD, now: int = NOW) -> str:
    """The cookie of a sign-in."""
    return sign_in(store, name, password, now, hashes=CHEAP)


def test_a_person_signs_in_by_name_and_password(store: Store, account: str) -> None:
    """However the name is capitalised; each sign-in is a session of its own, with the roles of the account."""
    first, second = entered(store), entered(store, "ANN  lead")
    assert first != second
    session = session_account(store, first, NOW)
    assert (account, "Ann Lead", frozenset({"quality"})) == (session.account, session.name, session.roles)


def test_every_failure_says_the_same(store: Store, account: str) -> None:
    """A wrong password, an unknown name, no name and a closed account are told in the same words."""
    told = set()
    for name, password in (
        ("Ann Lead", "another"),
        ("Ben", PASSWORD),
        ("", ""),
        ("Ann Lead", "\ud800"),
        ("\0\ud800", "x" * 9999),
    ):
        with pytest.raises(Unauthenticated) as caught:
            entered(store, name, password)
        told.add(str(caught.value))
    close_account(store, account, NOW)
    with pytest.raises(Unauthenticated) as caught:
        entered(store)
    assert {str(caught.value)} == told


class Counted(PasswordHashes):
    """Counts how often a password is compared."""

    compared = 0

    def fits(self, password: str, hashed: str | None) -> bool:
        """As asked, and counted."""
        self.compared += 1
        return super().fits(password, hashed)


def test_an_unknown_name_costs_the_same_work(store: Store, account: str) -> None:
    """A password is compared once, at the same cost, whether or not there is such an account."""
    counted = Counted(Cost(1, 8, 1))
    for name in ("Ann Lead", "Ben"):
        with pytest.raises(Unauthenticated):
            sign_in(store, name, "another", NOW, hashes=counted)
    assert 2 == counted.compared
    assert not counted.is_outdated(counted._nobody)


def test_a_name_waits_after_five_failures_and_a_right_password_does_not_help(store: Store, account: str) -> None:
    """While it waits even the right password is refused, and for an unknown name alike; after it, it is let in."""
    for name in ("Ann Lead", "Ben"):
        for _ in range(5):
            with pytest.raises(Unauthenticated):
                entered(store, name, "another")
        with pytest.raises(AccessDenied, match="too many"):
            entered(store, name)
        assert (30, 1) == (wait_s(store, name, NOW), wait_s(store, name, NOW + 29_500))
    cookie = entered(store, now=NOW + 30_000)
    assert (account, 0) == (session_account(store, cookie, NOW + 30_000).account, wait_s(store, "Ann Lead", NOW))


def test_failures_before_a_success_are_forgotten(store: Store, account: str) -> None:
    """Four failures and a success, again and again, never make a name wait."""
    for _ in range(3):
        for _ in range(4):
            with pytest.raises(Unauthenticated):
                entered(store, password="another")
        entered(store)


def test_signing_out_ends_the_session_in_the_store(store: Store, account: str) -> None:
    """The cookie is good for nothing afterwards; another session of the account goes on."""
    cookie, other = entered(store), entered(store)
    sign_out(store, cookie, NOW)
    with pytest.raises(Unauthenticated, match="ended"):
        session_account(store, cookie, NOW)
    assert session_account(store, other, NOW).account == account
    for text in ("", "pbs1_", format_cookie("device", bytes(32))):
        with pytest.raises(Unauthenticated):
            sign_out(store, text, NOW)


def test_an_unused_session_has_ended(store: Store, account: str) -> None:
    """An hour without use ends it."""
    cookie = entered(store)
    with pytest.raises(Unauthenticated):
        session_account(store, cookie, NOW + UNUSED_MS)


def test_a_password_given_by_another_must_be_changed(store: Store, account: str) -> None:
    """It ends the sessions of before, says so in the next one, and a password of one's own lifts it."""
    before = entered(store)
    set_password(store, account, "given by the keeper", NOW, must_change=True, hashes=CHEAP)
    with pytest.raises(Unauthenticated):
        session_account(store, before, NOW)
    cookie, other = (entered(store, password="given by the keeper") for _ in range(2))
    session = session_account(store, cookie, NOW)
    assert session.must_change
    change_password(store, session, "given by the keeper", PASSWORD, NOW, hashes=CHEAP)
    assert not session_account(store, cookie, NOW).must_change
    with pytest.raises(Unauthenticated):
        session_account(store, other, NOW)
    entered(store)


def test_a_password_is_changed_by_who_knows_it(store: Store, account: str) -> None:
    """A wrong present one, a new one that may not be, the same again, and too many tries change nothing."""
    session = session_account(store, entered(store), NOW)
    for old, new, refusal in (
        ("another", "a new one of words", Unauthenticated),
        (PASSWORD, "short", Refused),
        (PASSWORD, "Ann Lead", Refused),
        (PASSWORD, PASSWORD, Refused),
    ):
        with pytest.raises(refusal):
            change_password(store, session, old, new, NOW, hashes=CHEAP)
    for _ in range(3):
        with pytest.raises(Unauthenticated):
            change_password(store, session, "another", "a new one of words", NOW, hashes=CHEAP)
    with pytest.raises(AccessDenied):
        change_password(store, session, PASSWORD, "a new one of words", NOW, hashes=CHEAP)
    entered(store, now=NOW + LONGEST_WAIT_MS)


def test_who_gets_no_password(store: Store, account: str) -> None:
    """An unknown or closed account, and a second one of the same name."""
    namesake = add_account(store, "ann lead", ["desk"], 6).account
    with pytest.raises(Contradiction):
        set_password(store, namesake, PASSWORD, NOW, must_change=False, hashes=CHEAP)
    close_account(store, account, NOW)
    for nobody in (account, "a-none"):
        with pytest.raises(NotFound):
            set_password(store, nobody, PASSWORD, NOW, must_change=False, hashes=CHEAP)


def test_the_stated_cost_is_that_of_the_rfc(store: Store, account: str) -> None:
    """RFC 9106 section 4, second recommended option: Argon2id, t=3, m=64 MiB, p=4, 16 bytes of salt, 32 of tag."""
    text = HASHES.made("a password of words")
    kind, version, cost, salt, tag = text.split("$")[1:]
    assert ("argon2id", "v=19", "m=65536,t=3,p=4") == (kind, version, cost)
    assert (22, 43) == (len(salt), len(tag))


def test_a_cheaper_hash_is_made_anew_at_sign_in(store: Store, account: str) -> None:
    """A text of another cost is replaced when its password is known; two hashes of one password differ."""
    dearer = PasswordHashes(Cost(2, 16, 2))
    sign_in(store, "Ann Lead", PASSWORD, NOW, hashes=dearer)
    found = password_of(store, "Ann Lead")
    assert found is not None
    assert found.hash.startswith("$argon2id$v=19$m=16,t=2,p=2$")
    assert dearer.made(PASSWORD) != dearer.made(PASSWORD)
    assert not dearer.fits(PASSWORD, "no hash at all")
