"""Tokens to accounts, and how long an account is remembered."""

from __future__ import annotations

import asyncio

import pytest

from api import guards
from api.guards import Identity
from ledger.access.tokens import Account, format_token
from ledger.errors import Unauthenticated

TOKEN = format_token(bytes(32))
ACCOUNT = Account("a-1", ("station",))


class Desk:
    """Answers for tokens, counts how often it was asked, and can be told that none is in use any more."""

    def __init__(self) -> None:
        """Nobody has asked yet."""
        self.asked = 0
        self.now = 0.0
        self.revoked = False

    def look_up(self, _token: str) -> Account:
        """The account of a token."""
        self.asked += 1
        if self.revoked:
            raise Unauthenticated("token is not in use")
        return ACCOUNT


def ask(identity: Identity, header: str = f"Bearer {TOKEN}") -> Account:
    """Ask for the account of a header."""
    return asyncio.run(identity.account(header))


def test_an_account_is_remembered_for_as_long_as_stated() -> None:
    """Within its time an account is not looked up again; after it, a revoked token is refused."""
    desk = Desk()
    identity = Identity(desk.look_up, 5.0, lambda: desk.now)
    first = ask(identity)
    desk.revoked = True
    desk.now = 4.9
    again = ask(identity)
    desk.now = 5.0

    assert (ACCOUNT, ACCOUNT, 1) == (first, again, desk.asked)
    with pytest.raises(Unauthenticated):
        ask(identity)


def test_forgetting_takes_effect_at_once() -> None:
    """After `forget` the next request is looked up."""
    desk = Desk()
    identity = Identity(desk.look_up, 300.0, lambda: desk.now)
    ask(identity)
    identity.forget()
    ask(identity)

    assert 2 == desk.asked


def test_only_tokens_of_the_right_form_are_looked_up() -> None:
    """A header that holds no token costs no look-up."""
    desk = Desk()
    identity = Identity(desk.look_up, 5.0, lambda: desk.now)
    for header in ("", "Bearer", "Bearer x", f"Basic {TOKEN}", f"Bearer {TOKEN}{TOKEN}"):
        with pytest.raises(Unauthenticated):
            ask(identity, header)

    assert 0 == desk.asked


def test_memory_of_accounts_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many tokens come, only so many accounts are kept."""
    monkeypatch.setattr(guards, "MOST_KEPT", 10)
    desk = Desk()
    identity = Identity(desk.look_up, 5.0, lambda: desk.now)
    for number in range(50):
        ask(identity, f"Bearer {format_token(number.to_bytes(32, 'big'))}")

    assert len(identity._kept) <= 10
