"""The fence at the start: no witness may have signed a head of this book that the store does not hold.

A store that was restored from an old backup, or lost its end, would go on from there and make a second history under the
same origin.  Witnesses remember: each is asked for the latest checkpoint of this origin that it cosigned.  A head that is
larger than the store, or of another history, keeps the service from starting, if the book's own key signed it; what
nobody of ours signed proves nothing, so that no witness can stop a book at will.  A witness that does not answer is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

from ledger.book.checkpoint import check_checkpoint, parse_checkpoint
from ledger.book.policy import Policy, PolicyWitness
from ledger.book.signing import Verifier, format_verifier
from ledger.duties.witness_talk import Answer, Send, Unreached, head_address
from ledger.errors import LedgerError, StoreBehind, StoreDamaged
from ledger.store.book_tail import check_not_behind
from ledger.store.engine import Store
from ledger.store.head import Head
from ledger.store.published import witness_standings
from ledger.store.reader import open_reader
from ledger.store.transaction import Transaction


class WitnessHead(NamedTuple):
    """What a witness showed: the note of its latest head of this book, None for none; ``fault`` where it showed nothing."""

    witness: PolicyWitness
    note: bytes | None
    fault: str


def ask_heads(send: Send, policy: Policy, origin: str) -> list[WitnessHead]:
    """Ask every witness of a policy that has an address for its latest head of a book, at the same time."""
    asked = [witness for witness in policy.witnesses if witness.url]
    if not asked:
        return []
    with ThreadPoolExecutor(len(asked), thread_name_prefix="fence") as threads:
        return list(threads.map(lambda witness: _head(send, witness, origin), asked))


def _head(send: Send, witness: PolicyWitness, origin: str) -> WitnessHead:
    answer: Answer | Unreached = send("GET", head_address(witness, origin))
    if isinstance(answer, Unreached):
        return WitnessHead(witness, None, answer.why)
    if answer.status == 404:
        return WitnessHead(witness, None, "")
    if answer.status != 200:
        return WitnessHead(witness, None, f"it answered {answer.status}")
    return WitnessHead(witness, answer.body, "")


def check_heads(store: Store, origin: str, keys: Sequence[Verifier], heads: Sequence[WitnessHead]) -> list[str]:
    """Hold the store against what witnesses showed; what there is to tell of them, a line each.

    ``keys``: those that sign or signed this book's checkpoints. Raises StoreBehind for a store that is older than a head
    that one of them signed, StoreDamaged for one of another history; both name the witness.
    """
    told: list[str] = []
    with open_reader(store) as reader:
        known = witness_standings(reader.transaction)
        for head in heads:
            name = head.witness.verifier.name
            before = known.get(format_verifier(head.witness.verifier))
            if head.fault:
                told.append(f"witness {name} was not heard: {head.fault}")
                continue
            size = 0
            if head.note is not None:
                try:
                    size = check_checkpoint(head.note, keys, origin).tree_size
                except LedgerError as error:
                    told.append(f"witness {name} shows a head that no key of this book signed: {error.problem}")
                    continue
                _check(reader.transaction, reader.head(), head.note, origin=origin, witness=name)
            if before is not None and before.size > size:
                told.append(f"witness {name} shows {size} entries, and signed {before.size} before: it lost its state")
    return told


def _check(transaction: Transaction, here: Head, note: bytes, *, origin: str, witness: str) -> None:
    size = parse_checkpoint(note).tree_size
    try:
        check_not_behind(transaction, here, origin, note)
    except StoreBehind as error:
        raise StoreBehind(
            "store is older than a head that a witness signed",
            expected=f"at least {size} entries",
            got=here.size,
            where=f"witness {witness}",
            mend="restore a later backup; what was acknowledged after this one is missing",
        ) from error
    except StoreDamaged as error:
        raise StoreDamaged(
            "store holds another history than a head that a witness signed",
            where=f"witness {witness}, size {size}",
            mend="keep the store and the head that the witness shows: together they are the evidence",
        ) from error
