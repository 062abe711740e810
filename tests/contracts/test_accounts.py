"""Accounts, tokens, blobs and cosignatures: what lies beside the book."""

from __future__ import annotations

import hashlib

import pytest

from ledger.access.tokens import format_token, token_digest
from ledger.errors import MalformedInput, NotFound, StoreDamaged, TooLarge
from ledger.store import accounts, blobs
from ledger.store.cosignatures import Cosignature, last_cosigned_size, put_cosignature, read_cosignatures
from ledger.store.engine import Store
from tests.stores import every_row


def test_a_token_speaks_for_its_account(store: Store) -> None:
    """The account of a token has the roles that it was given, and each id is another."""
    one = accounts.add_account(store, "Engraver one", ["station", "inspector"], 5)
    other = accounts.add_account(store, "Desk", ["desk"], 6)
    token = accounts.issue_token(store, one.account, 7)
    assert (one, frozenset({"inspector", "station"})) == (accounts.account_of(store, token), one.roles)
    assert [one, other] == accounts.list_accounts(store)
    assert one.account != other.account


def test_a_token_is_not_stored(store: Store) -> None:
    """Only the SHA-256 of a token lies in the store."""
    account = accounts.add_account(store, "Engraver", ["station"], 5)
    token = accounts.issue_token(store, account.account, 7)
    assert token not in repr(every_row(store))
    assert [token_digest(token)] == accounts.list_tokens(store, account.account)


def test_revoked_tokens_closed_accounts_and_strangers_are_nobody(store: Store) -> None:
    """A token that was ended, one of a closed account, and one that was never made speak for nobody."""
    account = accounts.add_account(store, "Engraver", ["station"], 5)
    first, second = (accounts.issue_token(store, account.account, now) for now in (6, 7))
    accounts.revoke_token(store, token_digest(first), 8)
    assert (None, account) == (accounts.account_of(store, first), accounts.account_of(store, second))
    accounts.close_account(store, account.account, 9)
    assert (None, None) == (accounts.account_of(store, second), accounts.account_of(store, format_token(bytes(32))))
    for ask in (
        lambda: accounts.revoke_token(store, token_digest(first), 9),
        lambda: accounts.issue_token(store, account.account, 9),
        lambda: accounts.close_account(store, "a-none", 9),
    ):
        with pytest.raises(NotFound):
            ask()


def test_roles_are_changed(store: Store) -> None:
    """An account has the roles that it was given last; one that there is not is not known."""
    account = accounts.add_account(store, "A person", ["station"], 5)
    accounts.set_roles(store, account.account, ["auditor", "quality"])
    assert [account._replace(roles=frozenset({"auditor", "quality"}))] == accounts.list_accounts(store)
    with pytest.raises(NotFound):
        accounts.set_roles(store, "a-none", ["quality"])


def test_a_blob_is_found_by_its_digest(store: Store) -> None:
    """The same bytes are one blob, of the type with which they came; what is not stored is not found."""
    raw = bytes(range(256))
    kept = blobs.put_blob(store, raw, "image/png")
    assert blobs.Kept(hashlib.sha256(raw).hexdigest(), "image/png", 256, fresh=True) == kept
    assert kept._replace(fresh=False) == blobs.put_blob(store, raw, "text/html")
    assert blobs.Blob(kept.digest, "image/png", raw) == blobs.read_blob(store, kept.digest)
    for digest in ("0" * 64, kept.digest.upper(), "", "\0"):
        with pytest.raises(NotFound):
            blobs.read_blob(store, digest)


def test_several_blobs_are_read_together(store: Store) -> None:
    """By digest; those that are not stored are left out, one asked for twice comes once, none asks nothing."""
    kept = [blobs.put_blob(store, raw, "application/toml") for raw in (b"one", b"two", b"three")]
    with store.reading() as transaction:
        asked = [kept[2].digest, kept[0].digest, "0" * 64, kept[0].digest]
        assert {kept[0].digest: b"one", kept[2].digest: b"three"} == blobs.read_blobs(transaction, asked)
        assert {} == blobs.read_blobs(transaction, [])
    with store.writing() as transaction:
        transaction.run('UPDATE "blob" SET "bytes" = ?', (b"another",))
    with store.reading() as transaction, pytest.raises(StoreDamaged, match=kept[1].digest):
        blobs.read_blobs(transaction, [kept[1].digest])


def test_a_blob_that_is_none_is_refused(store: Store) -> None:
    """Too long, empty, or of a type that is no type; nothing is stored."""
    with pytest.raises(TooLarge):
        blobs.put_blob(store, bytes(blobs.MAX_BYTES + 1), "image/png")
    for raw, media_type in ((b"", "image/png"), (b"x", ""), (b"x", "image"), (b"x", "image/png\n"), (b"x", "a/b; c=d")):
        with pytest.raises(MalformedInput):
            blobs.put_blob(store, raw, media_type)
    assert [] == every_row(store)["blob"]


def test_a_blob_with_other_bytes_is_found_out(store: Store) -> None:
    """What was changed in the store is not handed out."""
    kept = blobs.put_blob(store, b"a photo", "image/png")
    with store.writing() as transaction:
        transaction.run('UPDATE "blob" SET "bytes" = ?', (b"another",))
    with pytest.raises(StoreDamaged, match=kept.digest):
        blobs.read_blob(store, kept.digest)


def test_cosignatures_are_kept_by_size_and_witness(store: Store) -> None:
    """A witness has one line over a size, the last it sent."""
    for line, at in (("a", 1), ("b", 2)):
        put_cosignature(store, Cosignature(7, "w.test", line, at))
    put_cosignature(store, Cosignature(5, "v.test", "c", 3))
    assert ([Cosignature(7, "w.test", "b", 2)], 7) == (read_cosignatures(store, 7), last_cosigned_size(store))
