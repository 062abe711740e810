"""One group: submissions checked in order against the overlay, and the rows that they become.

Nothing is stored here.  A refusal is undone in the overlay and leaves nothing; every other error is the writer's to
deal with, by taking the whole group back.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import msgspec

from ledger.book.entry import assemble_entry, entry_hash
from ledger.book.envelope import SAID_TYPE, check_envelope
from ledger.book.instant import Instant, format_instant
from ledger.book.signing import parse_verifier
from ledger.errors import KeyReused, LedgerError, MalformedRecord, Refused, RuleStands, StoreError
from ledger.line.book_keys import BookOpened
from ledger.line.corrections import Correction, Recheck
from ledger.line.fact import Breach, Fact
from ledger.line.fold import check_record, enter, located
from ledger.line.judged_with import check_judged_with
from ledger.line.kind import Setting
from ledger.line.record import Record
from ledger.line.rows import BookKey
from ledger.line.state import Need, NotLoaded, State
from ledger.line.submission import Sealed
from ledger.store.entry_breaches import format_breaches
from ledger.store.erasing import erases
from ledger.store.head import Head
from ledger.store.loader import Loader
from ledger.store.transaction import Transaction

_CORRECTING = (Correction, Recheck)


class Asked:
    """One submission that waits for its answer; ``future`` is whatever the caller waits on."""

    __slots__ = ("alone", "author", "digest", "future", "judged", "key", "sealed", "signature")

    def __init__(
        self,
        key: str,
        author: str,
        sealed: Sealed,
        digest: bytes,
        future: Any,
        *,
        signature: str | None = None,
        judged: Mapping[str, str] | None = None,
    ) -> None:
        """Keep what the group needs of a submission. ``signature``: its envelope; ``judged``: see `check_judged_with`."""
        self.key = key
        self.author = author
        self.sealed = sealed
        self.digest = digest
        self.signature = signature
        self.judged: Mapping[str, str] = judged or {}
        self.future = future
        # These read from the store, where nothing of their own group stands yet.
        self.alone = any(isinstance(record, _CORRECTING) or erases(record) for record in sealed.records)


class Draft(msgspec.Struct, frozen=True):
    """An entry that the group makes."""

    asked: Asked
    index: int
    raw: bytes
    hash: bytes
    breaches: tuple[tuple[Breach, ...], ...]


class Group:
    """The outcome of checking: drafts in order, and for every submission its answer so far.

    ``answers`` has for each submission the index of its entry (and whether that was there before), or its refusal.
    """

    def __init__(self, recorded_ms: int, recorded_at: str) -> None:
        """Start empty; all entries of a group share one instant."""
        self.recorded_ms = recorded_ms
        self.recorded_at = recorded_at
        self.drafts: list[Draft] = []
        self.answers: list[tuple[Asked, int, bool] | tuple[Asked, LedgerError]] = []


class Scope(NamedTuple):
    """What a writer keeps from group to group, and needs to check one."""

    book: str
    offset_minutes: int
    loader: Loader
    state: State


def request_digest(secret: bytes, author: str, request: bytes) -> bytes:
    """Keyed digest of a clear request: without the secret it says nothing about sealed values."""
    keyed = _keyed(secret).copy()
    keyed.update(author.encode() + b"\0" + request)
    return keyed.digest()


# Not hmac.digest: that lets go of the interpreter for each request, and the writer's thread then keeps it for a while.
@lru_cache(maxsize=4)
def _keyed(secret: bytes) -> hmac.HMAC:
    return hmac.new(secret, digestmod="sha256")


def check_group(
    scope: Scope,
    transaction: Transaction,
    head: Head,
    asked: Sequence[Asked],
    now_ms: int,
    *,
    drafted: Callable[[Group], None] = lambda _group: None,
) -> Group:
    """Check submissions in order and enter them in the overlay. Anything but a refusal of one is raised.

    ``drafted`` hears of each entry as it is added to the group, while none is half entered.
    """
    recorded_ms = max(now_ms, head.recorded_ms)
    group = Group(recorded_ms, format_instant(Instant(recorded_ms, scope.offset_minutes)))
    known = _known_requests(transaction, asked)
    fresh = [one for one in asked if (one.key, one.author) not in known]
    scope.loader.load_for(transaction, scope.state, (record for one in fresh for record in one.sealed.records))
    index, previous = head.size, head.last_hash
    for one in asked:
        before = known.get((one.key, one.author))
        if before is not None:
            group.answers.append(_earlier(one, *before))
            continue
        mark = scope.state.mark()
        try:
            breaches = _enter(scope, transaction, one, index, recorded_ms)
            raw = _assemble(scope, group, one, breaches, index=index, previous=previous)
        except LedgerError as refusal:
            if isinstance(refusal, StoreError):
                raise
            scope.state.undo_to(mark)
            group.answers.append((one, refusal))
            continue
        previous = entry_hash(raw)
        group.drafts.append(Draft(one, index, raw, previous, breaches))
        group.answers.append((one, index, False))
        known[one.key, one.author] = (index, one.digest)
        index += 1
        drafted(group)
    return group


def _enter(
    scope: Scope, transaction: Transaction, one: Asked, index: int, recorded_ms: int
) -> tuple[tuple[Breach, ...], ...]:
    if index == 0:
        _check_opening(scope.book, one)
    if one.signature is not None:
        _check_signature(scope, transaction, one, index)
    found: list[tuple[Breach, ...]] = []
    for position, record in enumerate(one.sealed.records):
        setting = Setting(now_ms=recorded_ms, author=one.author, index=index, position=position)
        mark = scope.state.mark()
        try:
            try:
                breaches = _enter_record(scope.state, record, setting, one.judged)
            except NotLoaded:
                # What came before it in the group made it need more; with that loaded it is asked once more.
                scope.state.undo_to(mark)
                scope.loader.load_for(transaction, scope.state, (record,), thorough=True)
                breaches = _enter_record(scope.state, record, setting, one.judged)
        except (Refused, MalformedRecord) as error:
            raise located(error, position) from error
        found.append(breaches)
    return tuple(found)


def _check_opening(book: str, one: Asked) -> None:
    """Entry 0 opens the book, under the origin that this writer signs for."""
    opened = one.sealed.records[0]
    if not isinstance(opened, BookOpened) or opened.origin != book:
        raise RuleStands(
            "book is not opened yet",
            expected=f"a book-opened record for {book} first",
            mend="open the book, then send this",
        )


def _check_signature(scope: Scope, transaction: Transaction, one: Asked, index: int) -> None:
    """Check a station's envelope against the station keys that speak at this index. Raises SignatureRejected."""
    need = Need(BookKey, "purpose", "station")
    if not scope.state.has(need):
        scope.loader.load(transaction, scope.state, [need])
    keys = [
        row.verifier
        for row in scope.state.where(BookKey, "purpose", "station")
        if row.from_size <= index and (row.to_size is None or index < row.to_size)
    ]
    check_envelope(one.signature or "", SAID_TYPE, one.sealed.said, [parse_verifier(key) for key in keys])


def _enter_record(state: State, record: Record, setting: Setting, judged: Mapping[str, str]) -> tuple[Breach, ...]:
    breaches = tuple(check_record(record, state, setting))
    if judged:
        check_judged_with(record, state, judged)
    fact = Fact(setting.index, setting.position, record, setting.author, setting.now_ms, breaches)
    enter(fact, state)
    return breaches


def _assemble(
    scope: Scope, group: Group, one: Asked, breaches: tuple[tuple[Breach, ...], ...], *, index: int, previous: bytes
) -> bytes:
    return assemble_entry(
        book=scope.book,
        index=index,
        prev=previous.hex(),
        recorded_at=group.recorded_at,
        author=one.author,
        said_bytes=one.sealed.said,
        breaches=format_breaches(breaches) if any(breaches) else [],
        signature=one.signature,
    )


def _known_requests(transaction: Transaction, asked: Sequence[Asked]) -> dict[tuple[str, str], tuple[int, bytes]]:
    condition = transaction.dialect.any_of('"key"')
    statement = f'SELECT "key", "author", "index", "digest" FROM "request" WHERE {condition}'
    found = transaction.rows_of(statement, list({one.key for one in asked}))
    return {(key, author): (index, digest) for key, author, index, digest in found}


def _earlier(one: Asked, index: int, digest: bytes) -> tuple[Asked, int, bool] | tuple[Asked, LedgerError]:
    if hmac.compare_digest(digest, one.digest):
        return one, index, True
    return one, KeyReused(
        "idempotency key was used for another submission", got=one.key, where=f"entry {index}",
        mend="use a new key for a new submission",
    )  # fmt: skip
