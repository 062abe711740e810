"""The witness's part: cosign a checkpoint that extends the last one seen, and no other.

Sources: C2SP tlog-cosignature v1.0.0 and tlog-witness v1.0.0. An add-checkpoint request is

    old <size>
    <base64 hash>                   the consistency proof, 0 to 63 lines
    <blank line>
    <checkpoint, verbatim>

``witness_step`` is the pure decision. The caller must store ``Accepted.note`` by compare-and-swap on the stored
size before it answers, or two requests can roll the witness back; and it stores the whole note, since without the
log's signature a fork cannot be shown to others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.book.c2sp_text import format_base64, parse_count, parse_hash
from ledger.book.checkpoint import Checkpoint, check_checkpoint, check_extends, parse_checkpoint
from ledger.book.cosignature import sign_cosignature
from ledger.book.merkle import HASH_BYTES
from ledger.book.note import MAX_NOTE_BYTES, check_note, format_signature_line, parse_note, parse_signature_line
from ledger.errors import ConsistencyFailed, MalformedInput, MalformedProof, SignatureRejected, WitnessRefused

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from ledger.book.signing import Signer, Verifier

MAX_REQUEST_HASHES = 63
SIZE_TYPE = "text/x.tlog.size"
"""The media type of a 409 that states the stored size, in decimal with a newline."""


@dataclass(frozen=True, slots=True)
class AddCheckpoint:
    """An add-checkpoint request as read: nothing in it is checked yet."""

    old_size: int
    proof: tuple[bytes, ...]
    note: bytes


@dataclass(frozen=True, slots=True)
class Accepted:
    """A checkpoint that may be stored and then cosigned, and the size that must still be the stored one."""

    checkpoint: Checkpoint
    old_size: int

    @property
    def note(self) -> bytes:
        """The signed note as the log sent it."""
        return self.checkpoint.note


def cosign(note_bytes: bytes, signer: Signer, at_seconds: int) -> bytes:
    """Give the cosignature line (with newline) over a checkpoint's note at ``at_seconds`` (POSIX seconds).

    Raises MalformedNote, MalformedCheckpoint, or MalformedKey for a key that is no witness key.
    Checks nothing about the checkpoint: that is ``witness_step``.
    """
    text = parse_note(note_bytes).text
    parse_checkpoint(text)
    return format_signature_line(signer.verifier, sign_cosignature(text, signer, at_seconds)).encode()


def note_by_log(checkpoint: Checkpoint) -> bytes:
    """Give the checkpoint's note with the log's own verified lines alone: what a stranger added is not passed on."""
    lines = [format_signature_line(line.verifier, line.signature) for line in checkpoint.log_signatures]
    return f"{parse_note(checkpoint.note).text}\n{''.join(lines)}".encode()


def add_cosignatures(note_bytes: bytes, lines: bytes) -> bytes:
    """Give the note with the cosignature lines of a witness after its own; raises MalformedNote."""
    text = lines.decode("utf-8", "replace")
    for line in text.removesuffix("\n").split("\n"):
        parse_signature_line(line)
    joined = note_bytes + text.removesuffix("\n").encode() + b"\n"
    parse_note(joined)
    return joined


def check_cosignature(note_bytes: bytes, verifier: Verifier | str) -> int:
    """Check the cosignature by ``verifier`` in a note; gives its POSIX seconds, the latest if there are more.

    Raises MalformedNote, MalformedKey or SignatureRejected.
    """
    times = [line.at_seconds for line in check_note(note_bytes, [verifier]).signatures if line.at_seconds is not None]
    if not times:
        raise SignatureRejected("signature is no cosignature")
    return max(times)


def format_add_checkpoint(old_size: int, proof: Sequence[bytes], note_bytes: bytes) -> bytes:
    """Give the body of an add-checkpoint request; raises MalformedProof for a proof that it cannot carry."""
    if old_size < 0 or len(proof) > MAX_REQUEST_HASHES or any(len(digest) != HASH_BYTES for digest in proof):
        raise MalformedProof("proof has another shape", expected=f"at most {MAX_REQUEST_HASHES} hashes of 32 bytes")
    lines = [f"old {old_size}", *(format_base64(digest) for digest in proof)]
    return ("\n".join(lines) + "\n\n").encode() + note_bytes


def parse_add_checkpoint(raw: bytes) -> AddCheckpoint:
    """Read the body of an add-checkpoint request; raises MalformedProof or MalformedNote."""
    if len(raw) > MAX_NOTE_BYTES:
        raise MalformedProof("request is too long", expected=f"at most {MAX_NOTE_BYTES} bytes", got=len(raw))
    head, blank, note = raw.partition(b"\n\n")
    try:
        lines = head.decode("ascii").split("\n")
    except UnicodeDecodeError as error:
        raise MalformedProof("request does not start with ASCII lines") from error
    first = lines.pop(0)
    if not blank or not first.startswith("old "):
        raise MalformedProof("request has another shape", expected="old <size>, hashes, blank line, checkpoint")
    old_size = parse_count(first.removeprefix("old "), MalformedProof, where="old size")
    if len(lines) > MAX_REQUEST_HASHES:
        raise MalformedProof("proof is too long", expected=f"at most {MAX_REQUEST_HASHES} hashes", got=len(lines))
    proof = tuple(parse_hash(line, MalformedProof, where="proof") for line in lines)
    parse_note(note)
    return AddCheckpoint(old_size, proof, note)


def witness_step(
    stored: tuple[int, bytes] | None, request: bytes, log_keys: Mapping[str, Iterable[Verifier | str]]
) -> Accepted:
    """Decide on an add-checkpoint request, given the stored (size, note) of its origin and the keys by origin.

    Raises WitnessRefused with the status of C2SP tlog-witness: 400 malformed or old size above the new one,
    404 unknown origin, 403 no good signature by the log, 409 old size is not the stored one,
    422 the proof does not show that the new tree extends the stored one.
    """
    try:
        asked = parse_add_checkpoint(request)
        head = parse_checkpoint(asked.note)
    except MalformedInput as error:
        raise WitnessRefused(str(error), status=400) from error
    if head.origin not in log_keys:
        raise WitnessRefused("origin is not known", status=404)
    try:
        checkpoint = check_checkpoint(asked.note, log_keys[head.origin], head.origin)
    except SignatureRejected as error:
        raise WitnessRefused(str(error), status=403) from error
    except ConsistencyFailed as error:
        raise WitnessRefused(str(error), status=422) from error
    if asked.old_size > checkpoint.tree_size:
        raise WitnessRefused("old size is above the checkpoint's", status=400)
    stored_size = 0 if stored is None else stored[0]
    if asked.old_size != stored_size:
        raise WitnessRefused(
            f"old size is not the stored one: expected {stored_size}", status=409, stored_size=stored_size
        )
    try:
        _check_extends(stored, asked, checkpoint)
    except ConsistencyFailed as error:
        raise WitnessRefused(str(error), status=422) from error
    return Accepted(checkpoint, stored_size)


def _check_extends(stored: tuple[int, bytes] | None, asked: AddCheckpoint, checkpoint: Checkpoint) -> None:
    if stored is not None:
        check_extends(parse_checkpoint(stored[1]), checkpoint, asked.proof)
    elif asked.proof:
        raise ConsistencyFailed("proof from size 0 is not empty")
