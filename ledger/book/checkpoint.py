"""Checkpoints: the signed head of the book. Source: C2SP tlog-checkpoint v1.0.0.

Note text: origin, tree size in ASCII decimal, base64 of the 32-byte root, each on a line; then optional extension
lines, none of them empty, which are carried and not read. The log's own key has the origin as its name.

``UnverifiedCheckpoint`` is what was read; only ``check_checkpoint`` gives a ``Checkpoint``.
That a log's checkpoints are consistent with each other is for a witness to check, see ``witness``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.book.c2sp_text import MAX_COUNT, format_base64, parse_count, parse_hash
from ledger.book.merkle import EMPTY_ROOT, HASH_BYTES, check_consistency
from ledger.book.note import NoteSignature, VerifiedSignature, check_note, parse_note, sign_note
from ledger.book.signing import COSIGNATURE_KEY, NOTE_KEY, Signer, Verifier
from ledger.errors import ConsistencyFailed, MalformedCheckpoint, MalformedKey, SignatureRejected

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_FIXED_LINES = 3


@dataclass(frozen=True, slots=True)
class UnverifiedCheckpoint:
    """A checkpoint as read: origin, tree size, 32-byte root, extension lines. Proves nothing yet."""

    origin: str
    tree_size: int
    root_hash: bytes
    extensions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A checkpoint that the log itself signed, with the whole note it came from."""

    origin: str
    tree_size: int
    root_hash: bytes
    extensions: tuple[str, ...]
    note: bytes
    log_signatures: tuple[VerifiedSignature, ...]
    cosignatures: tuple[VerifiedSignature, ...]
    unknown: tuple[NoteSignature, ...]


def format_checkpoint(origin: str, tree_size: int, root_hash: bytes) -> str:
    """Give the note text; raises MalformedCheckpoint for what no checkpoint may say."""
    if not origin or "\n" in origin:
        raise MalformedCheckpoint("origin is not one line", got=origin)
    if not 0 <= tree_size <= MAX_COUNT:
        raise MalformedCheckpoint("tree size is out of range", got=tree_size)
    if len(root_hash) != HASH_BYTES:
        raise MalformedCheckpoint("root has another length", expected=f"{HASH_BYTES} bytes", got=len(root_hash))
    return f"{origin}\n{tree_size}\n{format_base64(root_hash)}\n"


def parse_checkpoint(text: str | bytes) -> UnverifiedCheckpoint:
    """Read a checkpoint from its note text or from the whole signed note, checking no signature.

    Raises MalformedCheckpoint, or MalformedNote for a whole note that is none.
    """
    if isinstance(text, str):
        try:
            raw = text.encode()
        except UnicodeEncodeError as error:
            raise MalformedCheckpoint("checkpoint holds a lone surrogate") from error
    else:
        raw = bytes(text)
    if b"\n\n" in raw:
        return _from_text(parse_note(raw).text)
    try:
        return _from_text(raw.decode())
    except UnicodeDecodeError as error:
        raise MalformedCheckpoint("checkpoint is not UTF-8") from error


def sign_checkpoint(origin: str, tree_size: int, root_hash: bytes, signers: Iterable[Signer]) -> bytes:
    """Give the signed note of a checkpoint.

    Raises MalformedKey unless every signer is a checkpoint key named as the origin: one key, one purpose.
    A log must never sign two roots for one size; that is the caller's promise to keep.
    """
    signing = tuple(signers)
    for signer in signing:
        if signer.purpose != "checkpoint" or signer.name != origin:
            got = f"{signer.purpose} key {signer.name}"
            raise MalformedKey("checkpoint key has another name or purpose", expected=f"checkpoint {origin}", got=got)
    return sign_note(format_checkpoint(origin, tree_size, root_hash), signing)


def check_checkpoint(
    note_bytes: bytes, verifier_keys: Iterable[Verifier | str], origin: str | None = None, *, at_least_size: int = 0
) -> Checkpoint:
    """Check that the log signed this checkpoint: a key with the origin's name must verify.

    ``origin``, when given, must be the checkpoint's. Cosignatures by known witness keys are checked too.
    ``at_least_size`` is a size known from elsewhere: a smaller checkpoint shows a book that was cut short.
    Raises MalformedNote, MalformedCheckpoint, MalformedKey, SignatureRejected,
    or ConsistencyFailed for a size below ``at_least_size`` or an empty tree with another root.
    """
    note = check_note(note_bytes, verifier_keys)
    head = _from_text(note.text)
    if origin is not None and head.origin != origin:
        raise SignatureRejected("checkpoint is of another book", expected=origin, got=head.origin)
    by_log = tuple(
        line for line in note.signatures if line.verifier.kind == NOTE_KEY and line.verifier.name == head.origin
    )
    if not by_log:
        raise SignatureRejected("checkpoint has no signature by the log's own key", expected=head.origin)
    if head.tree_size < at_least_size:
        raise ConsistencyFailed("checkpoint is too small", expected=f"at least {at_least_size}", got=head.tree_size)
    if head.tree_size == 0 and head.root_hash != EMPTY_ROOT:
        raise ConsistencyFailed("empty tree has another root", expected=EMPTY_ROOT.hex(), got=head.root_hash.hex())
    by_witness = tuple(line for line in note.signatures if line.verifier.kind == COSIGNATURE_KEY)
    return Checkpoint(
        head.origin,
        head.tree_size,
        head.root_hash,
        head.extensions,
        note=note_bytes,
        log_signatures=by_log,
        cosignatures=by_witness,
        unknown=note.unknown,
    )


def check_extends(
    old: Checkpoint | UnverifiedCheckpoint, new: Checkpoint | UnverifiedCheckpoint, proof: Sequence[bytes]
) -> None:
    """Check that ``new`` is a later state of the book that ``old`` was a state of.

    Two signed checkpoints for which no proof passes are a split view: keep both notes, they are the evidence.
    Every checkpoint extends one of size 0, with an empty proof. Raises ConsistencyFailed.
    """
    if old.origin != new.origin:
        raise ConsistencyFailed("checkpoints are of two books", expected=old.origin, got=new.origin)
    if old.tree_size == 0:
        if proof:
            raise ConsistencyFailed("proof from size 0 is not empty")
        return
    check_consistency(old.tree_size, old.root_hash, new.tree_size, new.root_hash, proof)


def _from_text(text: str) -> UnverifiedCheckpoint:
    lines = text.split("\n")
    if lines.pop() != "":
        raise MalformedCheckpoint("checkpoint text does not end in a newline")
    if len(lines) < _FIXED_LINES or not all(lines):
        raise MalformedCheckpoint("checkpoint has another shape", expected="three lines or more, none empty")
    if any(char < " " for line in lines for char in line):
        raise MalformedCheckpoint("checkpoint holds a control character")
    origin, size_line, root_line, *extensions = lines
    tree_size = parse_count(size_line, MalformedCheckpoint, where="tree size")
    root_hash = parse_hash(root_line, MalformedCheckpoint, where="root")
    return UnverifiedCheckpoint(origin, tree_size, root_hash, tuple(extensions))
