"""Key terms: which checkpoint key may sign which tree sizes.

A term runs by tree size, not by clock time, so a later (or stolen) key cannot sign an earlier range anew: the clock
of a signature is only claimed, the size is what is signed. Terms of a rotation may overlap at the sizes that both
keys sign. Introducing, rotating and revoking keys are records of the book; here is only what follows from them.
Common practice for logs, no standard owns this form.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.book.checkpoint import Checkpoint, check_checkpoint, parse_checkpoint
from ledger.errors import SignatureRejected

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from ledger.book.signing import Verifier


@dataclass(frozen=True, slots=True)
class KeyTerm:
    """One key and the tree sizes it signs: from ``first_size`` to ``last_size``, both included; None is open."""

    verifier: Verifier
    first_size: int = 0
    last_size: int | None = None

    def covers(self, tree_size: int) -> bool:
        """Whether this key may sign a checkpoint of ``tree_size``."""
        return self.first_size <= tree_size and (self.last_size is None or tree_size <= self.last_size)


def verifiers_at(terms: Iterable[KeyTerm], tree_size: int) -> list[Verifier]:
    """Give the keys that may sign a checkpoint of ``tree_size``, in the order of the terms."""
    return [term.verifier for term in terms if term.covers(tree_size)]


def check_checkpoint_in_term(
    note_bytes: bytes, terms: Sequence[KeyTerm], witnesses: Iterable[Verifier | str] = (), origin: str | None = None
) -> Checkpoint:
    """Check a checkpoint as ``check_checkpoint`` does, by a log key whose term covers its size.

    Raises what ``check_checkpoint`` raises; SignatureRejected when no key has a term at that size.
    """
    tree_size = parse_checkpoint(note_bytes).tree_size
    known = verifiers_at(terms, tree_size)
    if not known:
        raise SignatureRejected("no key has a term at this size", got=tree_size)
    return check_checkpoint(note_bytes, [*known, *witnesses], origin)
