"""A check of everything that was published: each checkpoint is of this book's tree, signed in its term, tokens over its bytes.

It rests on a check of the whole book before it (`ledger.application.proofs.check_book`): tiles and key terms are taken as
proved.  The newest published checkpoint is held against a policy that the caller brings; earlier ones were published under
the policy of their time, so of them the log's signature and the root are checked alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec

from ledger.book.checkpoint import Checkpoint
from ledger.book.key_terms import check_checkpoint_in_term
from ledger.book.policy import Policy, Quorum, check_quorum
from ledger.book.tiles import root_from_tiles
from ledger.errors import LedgerError, RootMismatch, SignatureRejected, StoreDamaged
from ledger.evidence.time_token import check_token
from ledger.store.commit import load_checkpoint_terms
from ledger.store.engine import Store
from ledger.store.published import every_published, time_tokens
from ledger.store.reader import Reader, open_reader
from ledger.store.tiles import StoredTiles


class PublishedReport(msgspec.Struct, frozen=True, kw_only=True):
    """What was looked at: published checkpoints, the size of the newest, its witnesses by policy name, tokens.

    ``asks`` is what the policy asks for, empty without one; ``tokens_checked``: of all ``tokens``, those that were held against
    roots; ``last_ms``: the latest time that one of them states.
    """

    published: int
    size: int
    witnessed: tuple[str, ...]
    asks: str
    tokens: int
    tokens_checked: int
    last_ms: int | None


def check_published(
    store: Store, origin: str, *, policy: Policy | None = None, roots: Sequence[Any] = ()
) -> PublishedReport:
    """Check all that was published; ``roots`` are certificates by which its time tokens are checked too.

    Raises the first thing that is wrong: RootMismatch, SignatureRejected, MalformedInput, StoreDamaged; with a policy also
    when nothing was published, or the newest does not reach the quorum.
    """
    try:
        return _checked(store, origin, policy, roots)
    except (store.dialect.errors, TypeError, AttributeError) as error:
        # SQLite keeps a value of any sort in any cell.
        raise StoreDamaged("a stored row of what was published cannot be read", got=type(error).__name__) from error


def _checked(store: Store, origin: str, policy: Policy | None, roots: Sequence[Any]) -> PublishedReport:
    tokens = checked = 0
    last_ms: int | None = None
    newest: Checkpoint | None = None
    with open_reader(store) as reader:
        everything = every_published(reader.transaction)
        for one in everything:
            where = f"published checkpoint of {one.size} entries"
            newest = _check_note(reader, one.note, origin, policy, where)
            for token in time_tokens(reader.transaction, one.size):
                tokens += 1
                if not roots:
                    continue
                try:
                    found = check_token(token.response, one.note, roots)
                except LedgerError as error:
                    raise _named(error, f"{where}, time token of {token.authority}") from error
                checked, last_ms = checked + 1, max(found.at_ms, last_ms or 0)
    quorum = _check_newest(newest, policy)
    return PublishedReport(
        published=len(everything),
        size=newest.tree_size if newest is not None else 0,
        witnessed=quorum.witnessed if quorum is not None else (),
        asks=quorum.asks if quorum is not None else "",
        tokens=tokens,
        tokens_checked=checked,
        last_ms=last_ms,
    )


def _check_note(reader: Reader, note: bytes, origin: str, policy: Policy | None, where: str) -> Checkpoint:
    witnesses = [one.verifier for one in policy.witnesses] if policy is not None else []
    try:
        terms = load_checkpoint_terms(reader.transaction)
        checkpoint = check_checkpoint_in_term(note, terms, witnesses, origin)
        root = root_from_tiles(StoredTiles(reader.transaction), checkpoint.tree_size)
    except LedgerError as error:
        raise _named(error, where) from error
    if root != checkpoint.root_hash:
        raise RootMismatch(
            "what was published is not this book",
            expected=checkpoint.root_hash.hex(),
            got=root.hex(),
            where=where,
            mend="keep both: what others hold was signed by this book's key",
        )
    return checkpoint


def _check_newest(newest: Checkpoint | None, policy: Policy | None) -> Quorum | None:
    if policy is None:
        return None
    if newest is None:
        raise SignatureRejected("nothing is published that the policy could be held against", expected="a quorum")
    return check_quorum(newest, policy)


def _named(error: LedgerError, where: str) -> LedgerError:
    """The same error, with its place."""
    place = f"{where}, {error.where}" if error.where else where
    return type(error)(error.problem, expected=error.expected, got=error.got, where=place, mend=error.mend)
