"""Signed notes: a text and the signatures under it. Source: C2SP signed-note v1.0.0.

    <text, ends in a newline>
    <blank line>
    — <key name> <base64(4-byte key id || signature)>      one line or more, U+2014 and single spaces

UTF-8 without control characters other than newline. The last blank line separates text from signatures, so the
text may hold blank lines. The text is signed with its last newline and without the blank line. A key is known by
the pair (name, key id): an unknown pair is ignored, a known pair with a bad signature rejects the whole note, and a
note without any good signature by a known key is rejected. At most 100 signatures and 1,000,000 bytes are read.

What the text means is not decided here: see ``checkpoint``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.book.c2sp_text import format_base64, parse_base64
from ledger.book.cosignature import check_cosignature_bytes
from ledger.book.signing import COSIGNATURE_KEY, KEY_ID_BYTES, NoteSigner, Verifier, is_key_name, parse_verifier
from ledger.errors import MalformedKey, MalformedNote, SignatureRejected

if TYPE_CHECKING:
    from collections.abc import Iterable

MAX_NOTE_BYTES = 1_000_000
MAX_SIGNATURES = 100

_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f]")
_DASH = "\u2014 "


@dataclass(frozen=True, slots=True)
class NoteSignature:
    """One signature line as read: nothing is known of it yet."""

    name: str
    key_id: bytes
    signature: bytes


@dataclass(frozen=True, slots=True)
class VerifiedSignature:
    """A signature that a known key made; ``at_seconds`` is the POSIX time it states, for cosignatures."""

    verifier: Verifier
    signature: bytes
    at_seconds: int | None = None


@dataclass(frozen=True, slots=True)
class UnverifiedNote:
    """A note as read: its text proves nothing yet."""

    text: str
    signatures: tuple[NoteSignature, ...]


@dataclass(frozen=True, slots=True)
class Note:
    """A note with at least one good signature by a known key; ``unknown`` holds those of other keys."""

    text: str
    signatures: tuple[VerifiedSignature, ...]
    unknown: tuple[NoteSignature, ...]


def sign_note(text: str, signers: Iterable[NoteSigner]) -> bytes:
    """Give the note over ``text`` with one line for each signer, in order.

    Raises MalformedNote for a text that no note may hold or when there are no signers.
    """
    _check_text(text)
    message = text.encode()
    lines = [format_signature_line(signer.verifier, signer.sign(message)) for signer in signers]
    if not lines:
        raise MalformedNote("note has no signer")
    return f"{text}\n{''.join(lines)}".encode()


def format_signature_line(verifier: Verifier, signature: bytes) -> str:
    """Give one signature line with its newline."""
    return f"{_DASH}{verifier.name} {format_base64(verifier.key_id + signature)}\n"


def parse_note(raw: bytes) -> UnverifiedNote:
    """Read a note; raises MalformedNote. Checks no signature."""
    if len(raw) > MAX_NOTE_BYTES:
        raise MalformedNote("note is too long", expected=f"at most {MAX_NOTE_BYTES} bytes", got=len(raw))
    try:
        whole = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise MalformedNote("note is not UTF-8") from error
    text, blank, block = whole.rpartition("\n\n")
    if not blank:
        raise MalformedNote("note has no blank line between text and signatures")
    text += "\n"
    _check_text(text)
    if not block.endswith("\n"):
        raise MalformedNote("last signature line has no newline")
    lines = block[:-1].split("\n")
    if len(lines) > MAX_SIGNATURES:
        raise MalformedNote("note has too many signatures", expected=f"at most {MAX_SIGNATURES}", got=len(lines))
    return UnverifiedNote(text, tuple(parse_signature_line(line) for line in lines))


def parse_signature_line(line: str) -> NoteSignature:
    """Read one signature line without its newline; raises MalformedNote."""
    if not line.startswith(_DASH):
        raise MalformedNote("signature line does not start with an em dash and a space", got=line)
    name, space, encoded = line[len(_DASH) :].partition(" ")
    if not space or not is_key_name(name):
        raise MalformedNote("signature line has another form", expected="— name base64", got=line)
    raw = parse_base64(encoded, MalformedNote, where=f"signature by {name}")
    if len(raw) <= KEY_ID_BYTES:
        raise MalformedNote("signature is too short", expected="over 4 bytes", got=len(raw), where=name)
    return NoteSignature(name, raw[:KEY_ID_BYTES], raw[KEY_ID_BYTES:])


def check_note(note_bytes: bytes, verifier_keys: Iterable[Verifier | str]) -> Note:
    """Read a note and check its signatures by the known keys (Verifier or verifier key line).

    Raises MalformedNote, MalformedKey, or SignatureRejected when a known key's signature is bad or none is there.
    """
    known = _by_pair(verifier_keys)
    note = parse_note(note_bytes)
    verified: list[VerifiedSignature] = []
    unknown: list[NoteSignature] = []
    for line in note.signatures:
        verifier = known.get((line.name, line.key_id))
        if verifier is None:
            unknown.append(line)
        else:
            checked = _check_line(note.text, verifier, line)
            if checked not in verified:
                verified.append(checked)
    if not verified:
        raise SignatureRejected("note has no signature by a known key", got=f"{len(unknown)} by unknown keys")
    return Note(note.text, tuple(verified), tuple(unknown))


def _check_line(text: str, verifier: Verifier, line: NoteSignature) -> VerifiedSignature:
    if verifier.kind == COSIGNATURE_KEY:
        at_seconds = check_cosignature_bytes(text, verifier, line.signature)
        return VerifiedSignature(verifier, line.signature, at_seconds)
    verifier.check(text.encode(), line.signature)
    return VerifiedSignature(verifier, line.signature)


def _by_pair(verifier_keys: Iterable[Verifier | str]) -> dict[tuple[str, bytes], Verifier]:
    known: dict[tuple[str, bytes], Verifier] = {}
    for key in verifier_keys:
        verifier = parse_verifier(key) if isinstance(key, str) else key
        # Key ids are 4 bytes, so two keys can meet; guessing between them would be a trust decision.
        if known.setdefault((verifier.name, verifier.key_id), verifier) != verifier:
            raise MalformedKey("two verifier keys have one name and key id", where=verifier.name)
    return known


def _check_text(text: str) -> None:
    if not text.endswith("\n"):
        raise MalformedNote("note text does not end in a newline")
    if _CONTROL.search(text):
        raise MalformedNote("note text holds a control character")
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise MalformedNote("note text holds a lone surrogate") from error
