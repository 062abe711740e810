"""What is published is kept to the byte on each database, with its tokens; old ones without a token go in time."""

from __future__ import annotations

import pytest

from ledger.application.published import newest, published_covering, published_of_size
from ledger.store import published as kept
from ledger.store.cosignatures import Cosignature, put_cosignature, read_cosignatures
from ledger.store.engine import Store
from ledger.store.published import (
    Published,
    TimeToken,
    WitnessStanding,
    every_published,
    last_token,
    newest_published,
    put_published,
    put_time_token,
    put_token_fault,
    put_witness_standing,
    time_tokens,
    token_fault,
    witness_standings,
)
from ledger.store.reader import open_reader


def published(size: int) -> Published:
    """A published note of a size."""
    return Published(size, f"note of {size}\n".encode() + bytes(range(256)), size * 1_000)


def token(size: int, authority: str = "one") -> TimeToken:
    """A token over it."""
    return TimeToken(size, authority, bytes([size % 256]) * 3, size * 1_000 + 1, size * 1_000 + 2)


def test_what_was_published_comes_back(store: Store) -> None:
    """To the byte; the first of a size stays, and the largest is the newest."""
    assert [True, True, False] == [
        put_published(store, one) for one in (published(7), published(9), published(7)._replace(note=b"other"))
    ]
    with store.reading() as transaction:
        assert (published(9), [published(7), published(9)]) == (
            newest_published(transaction),
            every_published(transaction),
        )


def test_tokens_belong_to_what_they_are_over(store: Store) -> None:
    """By authority; the first over a note stays, and the last of an authority is that over the largest note."""
    for size in (7, 9):
        put_published(store, published(size))
    for one in (token(7, "two"), token(7), token(7)._replace(response=b"other"), token(9)):
        put_time_token(store, one)
    with store.reading() as transaction:
        assert [token(7), token(7, "two")] == time_tokens(transaction, 7)
        assert (token(9), token(7, "two"), None) == tuple(
            last_token(transaction, name) for name in ("one", "two", "no")
        )


def test_evidence_takes_the_newest_with_a_token_that_covers(store: Store) -> None:
    """With a token if that one covers the entries, else the newest that does; None where none does."""
    for size in (7, 9, 12):
        put_published(store, published(size))
    put_time_token(store, token(9))
    with open_reader(store) as reader:
        found = {size: published_covering(reader, size) for size in (1, 9, 10, 12, 13)}
        assert [9, 9, 12, 12, None] == [None if one is None else one.size for one in found.values()]
        assert [1, 0] == [len(one.tokens) for one in (found[1], found[12]) if one is not None]
        assert (12, 7) == tuple(one.size for one in (newest(reader), published_of_size(reader, 7)) if one is not None)
        assert published_of_size(reader, 8) is None


def test_old_ones_without_a_token_go(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """So many of the newest stay, and every one that has a token, with the cosignatures of those that stay."""
    monkeypatch.setattr(kept, "KEPT", 3)
    for size in range(1, 8):
        put_cosignature(store, Cosignature(size, "w", "line", 1))
        put_published(store, published(size))
        if size == 2:
            put_time_token(store, token(2))
    with store.reading() as transaction:
        assert [2, 5, 6, 7] == [one.size for one in every_published(transaction)]
    assert [2, 5, 6, 7] == [size for size in range(1, 8) if read_cosignatures(store, size)]


def test_what_was_published_is_never_changed(store: Store) -> None:
    """Neither a note nor a token: tokens are over bytes."""
    put_published(store, published(7))
    put_time_token(store, token(7))
    for statement in ('UPDATE "published" SET "note" = "note"', 'UPDATE "time_token" SET "at_ms" = 1'):
        with pytest.raises(store.dialect.errors), store.writing() as transaction:
            transaction.run(statement)


def test_a_witness_stands_as_it_last_answered(store: Store) -> None:
    """The last word on each witness is what is read."""
    first = WitnessStanding("w+1", 7, 1, 1, "", "")
    for one in (first, first._replace(asked_ms=2, fault="away"), WitnessStanding("v+2", 0, 3, None, "away", "a fork")):
        put_witness_standing(store, one)
    with store.reading() as transaction:
        assert {
            "w+1": first._replace(asked_ms=2, fault="away"),
            "v+2": WitnessStanding("v+2", 0, 3, None, "away", "a fork"),
        } == witness_standings(transaction)


def test_why_an_authority_gave_no_token_is_kept(store: Store) -> None:
    """Its last answer, empty where it was a token."""
    for fault in ("away", ""):
        put_token_fault(store, "one", fault)
        with store.reading() as transaction:
            assert (fault, "") == (token_fault(transaction, "one"), token_fault(transaction, "two"))


def test_an_empty_store_has_nothing_published(store: Store) -> None:
    """Before the first there is none."""
    with open_reader(store) as reader:
        assert (None, None) == (newest(reader), published_covering(reader, 0))
