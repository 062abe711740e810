"""The head of the book that a dossier is under: the checkpoint, who cosigned it, and the times that it was seen at."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ledger.book.checkpoint import Checkpoint, check_checkpoint, parse_checkpoint
from ledger.book.key_terms import KeyTerm
from ledger.book.note import MAX_NOTE_BYTES
from ledger.book.policy import Policy, check_quorum
from ledger.errors import DossierRejected
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import CHECKPOINT, MANIFEST, Manifest
from ledger.evidence.first_fault import naming_file
from ledger.evidence.token_check import TokenFound

CLOCKS_APART_MS = 300_000
"""How far the clocks of book, witnesses and time stamping authorities may differ: five minutes (common practice, no source)."""

READERS_CLOCK_MS = 86_400_000
"""How far the reader's own clock may be behind: a day, since nobody looks after it."""


def check_head(
    archive: Archive, manifest: Manifest, terms: Sequence[KeyTerm], policy: Policy | None
) -> tuple[Checkpoint, str]:
    """The checkpoint, signed by a given key whose sizes cover it; and what the policy asks for, in words.

    Raises MalformedDossier or DossierRejected.
    """
    with naming_file(CHECKPOINT):
        note = archive.read(CHECKPOINT, MAX_NOTE_BYTES)
        size = parse_checkpoint(note).tree_size
        known = [term.verifier for term in terms if term.covers(size)]
        if len(known) < len(terms):
            _refuse_out_of_term(note, terms, size)
        checkpoint = check_checkpoint(note, known, manifest.book)
        quorum = "" if policy is None else check_quorum(checkpoint, policy).asks
    if checkpoint.tree_size != manifest.tree_size:
        raise DossierRejected(
            "manifest states another size", expected=checkpoint.tree_size, got=manifest.tree_size, where=MANIFEST
        )
    return checkpoint, quorum


def _refuse_out_of_term(note: bytes, terms: Sequence[KeyTerm], size: int) -> None:
    """Say so where the only good signature is by a key that does not speak for this size, as a stolen later key gives."""
    checkpoint = check_checkpoint(note, [term.verifier for term in terms])
    signed = {line.verifier for line in checkpoint.log_signatures}
    if any(term.covers(size) for term in terms if term.verifier in signed):
        return
    term = next(term for term in terms if term.verifier in signed)
    raise DossierRejected(
        "checkpoint is signed by a key that does not speak for this size",
        expected=f"sizes {term.first_size} to {'now' if term.last_size is None else term.last_size}",
        got=size,
        where=CHECKPOINT,
    )


def check_times(
    latest: tuple[int, int], checkpoint: Checkpoint, tokens: Iterable[TokenFound], now_ms: int | None
) -> None:
    """No entry is younger than what was seen of the book with it in, and nothing is of the reader's future.

    ``latest``: index and instant (POSIX milliseconds) of the entry recorded last. Raises DossierRejected.
    """
    index, recorded_ms = latest
    seen = [(line.verifier.name, (line.at_seconds or 0) * 1000, CHECKPOINT) for line in checkpoint.cosignatures]
    seen += [(token.authority, token.at_ms, f"tokens/{token.name}.tsr") for token in tokens]
    for who, at_ms, where in seen:
        if recorded_ms > at_ms + CLOCKS_APART_MS:
            raise DossierRejected(
                f"entry says that it was recorded after {who} had seen the book with it in",
                expected=f"at most {at_ms + CLOCKS_APART_MS} ms",
                got=recorded_ms,
                where=f"entries/{index}.json",
            )
        _refuse_future(at_ms, now_ms, where)
    _refuse_future(recorded_ms, now_ms, f"entries/{index}.json")


def _refuse_future(at_ms: int, now_ms: int | None, where: str) -> None:
    if now_ms is not None and at_ms > now_ms + READERS_CLOCK_MS:
        raise DossierRejected(
            "it is of the future",
            expected=f"at most {now_ms + READERS_CLOCK_MS} ms",
            got=at_ms,
            where=where,
            mend="look at the clock of this machine",
        )
