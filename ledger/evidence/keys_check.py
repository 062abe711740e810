"""The keys of a dossier: those that its entries introduce, each speaking for the size of the book that it signed."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.book.checkpoint import Checkpoint
from ledger.book.signing import Verifier, format_verifier
from ledger.errors import DossierRejected
from ledger.evidence.dossier import key_lines
from ledger.evidence.dossier_format import KEYS, KeyLine
from ledger.evidence.entry_facts import EntryFacts
from ledger.line.rows import BookKey


def check_keys(facts: EntryFacts, keys: Sequence[KeyLine], checkpoint: Checkpoint, signer: Verifier | None) -> None:
    """The key history follows from the entries; the checkpoint key, and ``signer`` unless None, have a term.

    ``signer``: the dossier key, where the reader did not give it. Raises DossierRejected.
    """
    rows = facts.rows.all_of(BookKey)
    if key_lines(rows) != tuple(keys):
        raise DossierRejected("keys are not those that the entries introduce", where=KEYS)
    wanted = [("checkpoint", line.verifier) for line in checkpoint.log_signatures]
    if signer is not None:
        wanted.append(("dossier", signer))
    for purpose, verifier in wanted:
        row = next((row for row in rows if (row.purpose, row.verifier) == (purpose, format_verifier(verifier))), None)
        if row is None:
            raise DossierRejected(f"no entry here introduces the {purpose} key", got=verifier.name, where=KEYS)
        if not row.from_size <= checkpoint.tree_size or (
            row.to_size is not None and row.to_size < checkpoint.tree_size
        ):
            term = f"{row.from_size} to {'now' if row.to_size is None else row.to_size}"
            raise DossierRejected(
                f"{purpose} key does not speak for this size",
                expected=term,
                got=checkpoint.tree_size,
                where=verifier.name,
            )
