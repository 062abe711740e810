"""Receipts: one text that shows, offline, that an entry stands in the book. Source: C2SP tlog-proof@v1.

    c2sp.org/tlog-proof@v1
    extra <base64>                  optional, not authenticated
    index <n>
    <base64 hash>                   the inclusion proof, leaf to root, 0 to 63 lines
    <blank line>
    <checkpoint, verbatim>

The tree size comes from the checkpoint alone, and the entry is hashed here: a leaf hash is never taken from others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.book.c2sp_text import MAX_COUNT, format_base64, parse_base64, parse_count, parse_hash
from ledger.book.checkpoint import Checkpoint, UnverifiedCheckpoint, check_checkpoint, parse_checkpoint
from ledger.book.merkle import HASH_BYTES, check_inclusion, leaf_hash
from ledger.book.note import MAX_NOTE_BYTES, parse_note
from ledger.errors import InclusionFailed, MalformedInput, MalformedReceipt

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from ledger.book.signing import Verifier

HEADER = "c2sp.org/tlog-proof@v1"
MAX_PROOF_HASHES = 63
MAX_RECEIPT_BYTES = MAX_NOTE_BYTES + 100_000


@dataclass(frozen=True, slots=True)
class UnverifiedReceipt:
    """A receipt as read: index, proof (32-byte hashes, leaf to root), the checkpoint's note bytes, extra bytes."""

    index: int
    proof: tuple[bytes, ...]
    checkpoint_note: bytes
    checkpoint: UnverifiedCheckpoint
    extra: bytes | None = None


@dataclass(frozen=True, slots=True)
class Receipt:
    """Verified: the entry with ``entry_hash`` stands at ``index`` under ``checkpoint``. ``extra`` stays unproved."""

    index: int
    entry_hash: bytes
    proof: tuple[bytes, ...]
    checkpoint: Checkpoint
    extra: bytes | None = None


def format_receipt(index: int, proof: Sequence[bytes], checkpoint_note: bytes, extra: bytes | None = None) -> str:
    """Give the receipt as text; raises MalformedReceipt for parts that no receipt may hold."""
    return _receipt_text(index, proof, _note_text(checkpoint_note), _Lines(), extra)


def format_receipts(first_index: int, proofs: Iterable[Sequence[bytes]], checkpoint_note: bytes) -> list[str]:
    """Give `format_receipt` of each proof, for entries that follow one another from ``first_index`` on, under one note.

    Neighbours share most hashes of their proofs: each is written once. Raises MalformedReceipt.
    """
    note, written = _note_text(checkpoint_note), _Lines()
    return [_receipt_text(index, proof, note, written) for index, proof in enumerate(proofs, first_index)]


def _note_text(checkpoint_note: bytes) -> str:
    try:
        return checkpoint_note.decode()
    except UnicodeDecodeError as error:
        raise MalformedReceipt("checkpoint is not UTF-8") from error


class _Lines(dict[bytes, str]):
    """The lines of hashes, each written when it is asked for the first time."""

    def __missing__(self, digest: bytes) -> str:
        if len(digest) != HASH_BYTES:
            raise _misshapen()
        line = self[digest] = format_base64(digest)
        return line


def _receipt_text(index: int, proof: Sequence[bytes], note: str, lines: _Lines, extra: bytes | None = None) -> str:
    if not 0 <= index <= MAX_COUNT:
        raise MalformedReceipt("index is out of range", got=index)
    if len(proof) > MAX_PROOF_HASHES:
        raise _misshapen()
    head = HEADER if extra is None else f"{HEADER}\nextra {format_base64(extra)}"
    return "\n".join((head, f"index {index}", *map(lines.__getitem__, proof), "", note))


def _misshapen() -> MalformedReceipt:
    return MalformedReceipt("proof has another shape", expected=f"at most {MAX_PROOF_HASHES} hashes of 32 bytes")


def parse_receipt(text: str | bytes) -> UnverifiedReceipt:
    """Read a receipt; raises MalformedReceipt. Checks no signature and no proof."""
    whole = _as_text(text)
    head, blank, note = whole.partition("\n\n")
    if not blank:
        raise MalformedReceipt("receipt has no blank line before its checkpoint")
    lines = head.split("\n")
    if lines.pop(0) != HEADER:
        raise MalformedReceipt("receipt has another first line", expected=HEADER)
    extra = None
    if lines and lines[0].startswith("extra "):
        extra = parse_base64(lines.pop(0).removeprefix("extra "), MalformedReceipt, where="extra")
    if not lines or not lines[0].startswith("index "):
        raise MalformedReceipt("receipt has no index line")
    index = parse_count(lines.pop(0).removeprefix("index "), MalformedReceipt, where="index")
    if len(lines) > MAX_PROOF_HASHES:
        raise MalformedReceipt("proof is too long", expected=f"at most {MAX_PROOF_HASHES} hashes", got=len(lines))
    proof = tuple(parse_hash(line, MalformedReceipt, where="proof") for line in lines)
    note_bytes = note.encode()
    try:
        parse_note(note_bytes)
        checkpoint = parse_checkpoint(note_bytes)
    except MalformedInput as error:
        raise MalformedReceipt("receipt holds no checkpoint", got=error.problem) from error
    return UnverifiedReceipt(index, proof, note_bytes, checkpoint, extra)


def check_receipt(
    text: str | bytes, entry_bytes: bytes, verifier_keys: Iterable[Verifier | str], origin: str | None = None
) -> Receipt:
    """Check that ``entry_bytes`` stand in the book at the receipt's index, under a checkpoint that the log signed.

    ``origin``, when given, must be the checkpoint's.
    Raises MalformedReceipt, MalformedKey, SignatureRejected or InclusionFailed.
    """
    receipt = parse_receipt(text)
    checkpoint = check_checkpoint(receipt.checkpoint_note, verifier_keys, origin)
    if receipt.index >= checkpoint.tree_size:
        raise InclusionFailed(
            "index is beyond the checkpoint", expected=f"below {checkpoint.tree_size}", got=receipt.index
        )
    entry_hash = leaf_hash(entry_bytes)
    check_inclusion(entry_hash, receipt.index, checkpoint.tree_size, receipt.proof, checkpoint.root_hash)
    return Receipt(receipt.index, entry_hash, receipt.proof, checkpoint, receipt.extra)


def _as_text(text: str | bytes) -> str:
    if len(text) > MAX_RECEIPT_BYTES:
        raise MalformedReceipt("receipt is too long", expected=f"at most {MAX_RECEIPT_BYTES} bytes", got=len(text))
    try:
        # Text goes through bytes once, so that a lone surrogate is refused here.
        return text.decode() if isinstance(text, bytes) else text.encode().decode()
    except UnicodeError as error:
        raise MalformedReceipt("receipt is not UTF-8") from error
