"""Storing a checked group: one transaction, one commit; then the checkpoint, the receipts and the answers.

Used by the writer's thread alone.  The overlay, the frontier and the tree's edge are kept from group to group and are
valid for one head: another head in the store (a second process wrote) means that they are loaded anew.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.frontier import Frontier, prove_tail
from ledger.book.key_terms import KeyTerm, check_checkpoint_in_term, verifiers_at
from ledger.book.receipt import format_receipt, format_receipts
from ledger.book.signing import Signer
from ledger.book.tiles import prove_inclusion_from_tiles
from ledger.errors import KeyNotInTerm, LedgerError, RuleStands, StoreDamaged, StoreError, StoreUnavailable
from ledger.line.book_keys import checkpoint_terms
from ledger.line.rows import BookKey, Row
from ledger.line.state import State
from ledger.store.answer import Entered, GroupReport, Settled
from ledger.store.archived_entries import filled
from ledger.store.bodies import decode_said
from ledger.store.book_tail import BookTail, check_not_behind, check_tail_hashes, follow_tail, load_tail
from ledger.store.engine import Store
from ledger.store.entry_breaches import breaches_at
from ledger.store.entry_ranges import Room
from ledger.store.erasing import Erasing
from ledger.store.group import Asked, Draft, Group, Scope, check_group
from ledger.store.group_changes import BESIDE_VIEWS, changed_views, note_changes
from ledger.store.group_rows import GroupRows
from ledger.store.head import Head, read_head, write_head
from ledger.store.loader import Loader
from ledger.store.moved import check_writable, open_again
from ledger.store.selections import every_row
from ledger.store.tiles import StoredTiles, store_tiles
from ledger.store.transaction import Transaction

OVERLAY_ROWS = 250_000
OVERLAY_ENTRIES = 10_000
"""The overlay is emptied above this many rows, or after this many entries."""


class CommitUnknown(Exception):
    """COMMIT did not answer; whether the group stands has to be read. Never leaves this package."""


class Committer:
    """The writer's side that touches the store."""

    def __init__(
        self,
        store: Store,
        *,
        origin: str,
        signers: Sequence[Signer],
        clock_ms: Callable[[], int],
        offset_minutes: int,
        reopens: str | None = None,
    ) -> None:
        """Nothing is read before ``open``. ``reopens``: see `Writer`."""
        self._store = store
        self._reopens = reopens
        self._origin = origin
        self._signers = tuple(signers)
        self._terms: list[KeyTerm] = []
        self._clock_ms = clock_ms
        self._scope = Scope(origin, offset_minutes, Loader(store.dialect), State())
        self._tail: BookTail | None = None
        self._told = ""
        self._since_forget = 0
        self._erasing = Erasing()
        self._room = Room()
        self._transaction: Transaction | None = None
        self.note: bytes | None = None
        """The signed checkpoint of the newest head that this writer knows; None for an empty book."""

    def open(self, known: bytes | str | None) -> bytes:
        """Check the store and its end; give the secret of the request digests. Raises StoreError and its kinds."""
        transaction = self._transaction = self._store.transaction()
        transaction.begin_write()
        try:
            head = read_head(transaction, lock=True)
            self._told = check_writable(transaction, self._reopens)
            secret = self._check_settings(transaction)
            if head.checkpoint is not None:
                self._check_stored_note(transaction, head, head.checkpoint)
            if known is not None:
                check_not_behind(transaction, head, self._origin, known)
            self._catch_up(transaction, head)
            self._room.make(transaction, head.size)
            if head.size and head.checkpoint != self.note:
                write_head(transaction, head._replace(checkpoint=self.note))
            transaction.commit()
        except BaseException:
            transaction.rollback()
            self.close()
            raise
        return secret

    def _check_stored_note(self, transaction: Transaction, head: Head, note: bytes) -> None:
        """Check the stored checkpoint before a new one takes its place: signing over another history would hide it."""
        try:
            check_checkpoint_in_term(note, load_checkpoint_terms(transaction), origin=self._origin)
        except LedgerError as error:
            raise StoreDamaged("stored checkpoint is not this book's", got=error.problem, where="head") from error
        check_not_behind(transaction, head, self._origin, note)

    def _check_settings(self, transaction: Transaction) -> bytes:
        insert = 'INSERT INTO "setting" ("name", "value") VALUES (?, ?) ON CONFLICT DO NOTHING'
        transaction.run(insert, ("origin", self._origin))
        settings = dict(transaction.rows('SELECT "name", "value" FROM "setting"'))
        if settings["origin"] != self._origin:
            raise StoreError(
                "store holds another book",
                expected=self._origin,
                got=settings["origin"],
                mend="a copy that shall be written needs an origin of its own from its first entry on",
            )
        return bytes.fromhex(settings["request-secret"])

    def commit(
        self, asked: list[Asked], more: Callable[[int], Iterable[Asked]] = lambda _room: ()
    ) -> tuple[list[Settled], GroupReport]:
        """Check and store a group; the answers. Raises CommitUnknown, or whatever went wrong, with nothing stored.

        ``more`` gives those that came while others held the head, given how many there are; they are added to ``asked``.
        """
        if self._transaction is None:
            self._transaction = self._store.transaction()
        transaction = self._transaction
        transaction.begin_group()
        head = read_head(transaction, lock=True)
        asked.extend(more(len(asked)))
        self._told = check_writable(transaction, self._reopens)
        tail = self._catch_up(transaction, head)
        if self._room.lacks(head.size, len(asked)):
            self._room.make(transaction, head.size, needed=len(asked))
        rows = GroupRows(transaction, self._scope.state)
        group = check_group(self._scope, transaction, head, asked, self._clock_ms(), drafted=rows.drafted)
        before = tail.frontier
        if group.drafts:
            self._store_group(transaction, tail, group, rows)
        else:
            transaction.rollback()
        self._keep_overlay_small(group, asked)
        receipts = self._receipts(before, group)
        refused = sum(len(answer) == 2 for answer in group.answers)
        report = GroupReport(len(asked), len(group.drafts), refused, tail.head.size, self.note or b"")
        settled = self._settled(transaction, group, receipts)
        size = head.size + len(group.drafts)
        if self._room.is_due(size):
            self._make_room(transaction, size)
        return settled, report

    def _make_room(self, transaction: Transaction, size: int) -> None:
        """Have the next range of entries made; where that fails the next group tries again, and has room until then."""
        try:
            transaction.begin_write()
            self._room.make(transaction, size)
            transaction.commit()
        except self._store.dialect.errors:
            self._room.forget()
            with suppress(self._store.dialect.errors):
                transaction.rollback()

    def _catch_up(self, transaction: Transaction, head: Head) -> BookTail:
        tail = self._tail
        if tail is None or (tail.head.size, tail.head.last_hash) != (head.size, head.last_hash):
            changed = None if tail is None else changed_views(self._told, tail.head.size, head.size)
            self._tail = None
            self._forget_changed(changed)
            tail = load_tail(transaction, head) if tail is None else follow_tail(transaction, tail, head)
            if changed is None or BookKey in changed:
                self._take_terms(transaction, head.size)
            self._tail = tail
            self.note = self._signed(tail.frontier)
        return tail

    def _take_terms(self, transaction: Transaction, size: int) -> None:
        """Read which keys speak for the book; a writer without one of them enters nothing. Raises KeyNotInTerm."""
        self._terms = load_checkpoint_terms(transaction)
        if size and not self._signers_at(size):
            raise KeyNotInTerm(
                "no checkpoint key of this process speaks for the book any more",
                expected=", ".join(verifier.key_id.hex() for verifier in verifiers_at(self._terms, size)),
                got=", ".join(signer.verifier.key_id.hex() for signer in self._signers),
                mend="start it with the key that took over",
            )

    def _forget_changed(self, views: frozenset[type[Row]] | None) -> None:
        """Drop what other processes' groups changed, and what lies beside the views, which others change unheard."""
        if views is None:
            self._scope.state.forget()
            self._since_forget = 0
        else:
            self._scope.state.forget_rows(views | BESIDE_VIEWS)

    def _signers_at(self, size: int) -> list[Signer]:
        """The keys at hand that speak for a size, oldest term first."""
        speaking = verifiers_at(self._terms, size)
        return [signer for verifier in speaking for signer in self._signers if signer.verifier == verifier]

    def _signed(self, frontier: Frontier) -> bytes | None:
        if not frontier.size:
            return None
        return sign_checkpoint(self._origin, frontier.size, frontier.root(), self._signers_at(frontier.size))

    def _follow_keys(self, transaction: Transaction, size: int) -> None:
        """Take over what a group says about keys; refuse one after which nobody here could sign the book."""
        before, self._terms = self._terms, load_checkpoint_terms(transaction)
        if not self._signers_at(size):
            self._terms = before
            raise RuleStands(
                "this service holds no key that would sign the book after this",
                where="key",
                mend="start it with the new key's file too (next_checkpoint_key_file), then say it again",
            )

    def _store_group(self, transaction: Transaction, tail: BookTail, group: Group, rows: GroupRows) -> None:
        """Enter every row of the group that is not yet, and commit; then sign. The tail is moved on only after the commit."""
        self._tail = None
        hashes = check_tail_hashes([(draft.raw, draft.hash) for draft in group.drafts])
        frontier, tiles = tail.append(hashes)
        head = Head(frontier.size, hashes[-1], frontier.to_bytes(), group.recorded_ms, self.note)
        rows.enter_entries(group)
        for draft in group.drafts:
            if draft.asked.alone:
                self._erasing.delete(transaction, draft.asked.sealed.records)
        if self._reopens is not None:
            open_again(transaction)
        store_tiles(transaction, tiles)
        rows.enter_changes()
        changed = rows.changed
        if BookKey in changed:
            self._follow_keys(transaction, frontier.size)
        alone = any(draft.asked.alone for draft in group.drafts)
        note_changes(transaction, self._told, frontier.size - len(hashes), frontier.size, None if alone else changed)
        write_head(transaction, head)
        # An error of these is none of the commit's.
        transaction.settle()
        try:
            self._store.commit(transaction)
        except self._store.dialect.errors as error:
            raise CommitUnknown from error
        self._tail = BookTail(head, frontier, tail.edge)
        self.note = self._signed(frontier)

    def _keep_overlay_small(self, group: Group, asked: Sequence[Asked]) -> None:
        self._since_forget += len(group.drafts)
        if (
            any(one.alone for one in asked)
            or self._since_forget > OVERLAY_ENTRIES
            or self._scope.state.size() > OVERLAY_ROWS
        ):
            self._scope.state.forget()
            self._since_forget = 0

    def _receipts(self, before: Frontier, group: Group) -> dict[int, str]:
        if not group.drafts or self.note is None:
            return {}
        proofs = prove_tail(before, [draft.hash for draft in group.drafts])
        first = group.drafts[0].index
        return dict(enumerate(format_receipts(first, proofs, self.note), first))

    def _settled(self, transaction: Transaction, group: Group, receipts: dict[int, str]) -> list[Settled]:
        drafts = {draft.index: draft for draft in group.drafts}
        settled: list[Settled] = []
        for answer in group.answers:
            if len(answer) == 2:
                settled.append(Settled(answer[0].future, None, answer[1]))
                continue
            one, index, repeated = answer
            draft = drafts.get(index)
            if draft is not None:
                entered = _entered(draft, group.recorded_at, receipts[index], repeated=repeated)
            else:
                try:
                    entered = self._entered_before(transaction, index)
                except StoreUnavailable as error:
                    # Its bytes are archived and cannot be had now; the others of the group stand.
                    settled.append(Settled(one.future, None, error))
                    continue
            settled.append(Settled(one.future, entered, None))
        return settled

    def _entered_before(self, transaction: Transaction, index: int) -> Entered:
        rows = transaction.rows('SELECT "index", "bytes" FROM "entry" WHERE "index" = ?', (index,))
        if not rows or self._tail is None or self.note is None:
            raise StoreDamaged("a used key names an entry that is not there", where=f"entry {index}")
        raw: bytes = filled(transaction, rows)[0][1]
        said = decode_said(raw)
        count = len(said.said["records"])
        proof = prove_inclusion_from_tiles(StoredTiles(transaction), index, self._tail.head.size)
        return Entered(
            index=index,
            addresses=tuple(f"{index}.{position}" for position in range(count)),
            breaches=tuple(breaches_at(said.breaches, position) for position in range(count)),
            recorded_at=said.recorded_at,
            entry_bytes=raw,
            receipt=format_receipt(index, proof, self.note),
            repeated=True,
        )

    def store_note(self) -> None:
        """Store the newest checkpoint where no later group has done so."""
        tail, transaction = self._tail, self._transaction
        if tail is None or transaction is None or tail.head.checkpoint == self.note:
            return
        transaction.begin_write()
        head = read_head(transaction, lock=True)
        if (head.size, head.last_hash) == (tail.head.size, tail.head.last_hash):
            tail.head = head._replace(checkpoint=self.note)
            write_head(transaction, tail.head)
        transaction.commit()

    def clean_erased(self) -> bool:
        """Clean the files of what was erased; whether something is left to be done."""
        return self._transaction is not None and self._erasing.clean(self._transaction)

    def forget(self) -> None:
        """Drop the overlay and the tail."""
        self._scope.state.forget()
        self._since_forget = 0
        self._tail = None

    def take_back(self) -> None:
        """Roll back whatever is open and forget what was built on it."""
        self.forget()
        self._room.forget()
        if self._transaction is not None:
            with suppress(self._store.dialect.errors):
                self._transaction.rollback()

    def reopen(self, attempt: int) -> bool:
        """Take a new connection after a pause that grows; whether there is one."""
        self.forget()
        self._room.forget()
        if self._transaction is not None:
            self._transaction.discard()
            self._transaction = None
        time.sleep(0.02 * 3**attempt)
        self._store.engine.dispose()
        with suppress(LedgerError):
            self._transaction = self._store.transaction()
        return self._transaction is not None

    def close(self) -> None:
        """Store the last checkpoint if that is possible, and give the connection back."""
        transaction, self._transaction = self._transaction, self._transaction
        if transaction is None:
            return
        with suppress(self._store.dialect.errors, LedgerError):
            transaction.rollback()
            self.store_note()
        self._transaction = None
        with suppress(self._store.dialect.errors):
            transaction.close()


def _entered(draft: Draft, recorded_at: str, receipt: str, *, repeated: bool) -> Entered:
    addresses = tuple([f"{draft.index}.{position}" for position in range(len(draft.breaches))])
    return Entered(draft.index, addresses, draft.breaches, recorded_at, draft.raw, receipt, repeated)


def load_checkpoint_terms(transaction: Transaction) -> list[KeyTerm]:
    """Which checkpoint key signs which sizes, as the views say."""
    return checkpoint_terms(every_row(transaction, BookKey))
