"""Submissions passed from one service process to another on the same machine, and their answers, as bytes.

A message is its length (4 bytes, big-endian) and MessagePack; see `ledger.store.pen` for who passes what to whom.  Nothing
of it is kept: both ends are the same release, and what is left unanswered is entered by whoever passed it on.
"""

from __future__ import annotations

import copyreg
import struct
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import msgspec

from ledger import errors
from ledger.book.canonical import decode
from ledger.book.sealed_field import Opening
from ledger.errors import LedgerError, MalformedInput, StoreError
from ledger.line.record import Record
from ledger.line.submission import Sealed, open_records
from ledger.line.vocabulary import AnyRecord
from ledger.store.answer import Entered
from ledger.store.group import Asked

MOST_BYTES = 1 << 28
"""A longer message is none: 256 answers, each with an entry of 64 KiB, are less."""

_LENGTH = struct.Struct(">I")


class Passed(NamedTuple):
    """A submission by the number that its sender gave it."""

    number: int
    asked: Asked


class Answer(NamedTuple):
    """What became of it: its entry, its refusal, or None where it is left to whoever passed it on."""

    number: int
    given: Entered | LedgerError | None


class _Passed(msgspec.Struct, frozen=True, array_like=True):
    """One submission, sealed by the process that was asked."""

    number: int
    key: str
    author: str
    said: bytes
    openings: tuple[Opening, ...]
    sealings: tuple[str, ...]
    digest: bytes
    signature: str | None
    judged: dict[str, str]


class _Refusal(msgspec.Struct, frozen=True, array_like=True):
    """An error of the tree, by the name of its class."""

    name: str
    text: str
    parts: dict[str, Any]


class _Answers(msgspec.Struct, frozen=True, array_like=True):
    """What a group gave for the submissions of one sender, and the newest checkpoint."""

    entered: list[tuple[int, Entered]]
    refused: list[tuple[int, _Refusal]]
    left: list[int]
    checkpoint: bytes


class _Said(msgspec.Struct, frozen=True):
    """``said`` where nothing in it is sealed."""

    records: tuple[AnyRecord, ...]


_encode = msgspec.msgpack.Encoder().encode
_PASSED = msgspec.msgpack.Decoder(_Passed)
_ANSWERS = msgspec.msgpack.Decoder(_Answers)
_SAID = msgspec.json.Decoder(_Said)


def format_passed(number: int, asked: Asked) -> bytes:
    """A submission as a message; `parse_passed` reads it back, but for its future."""
    sealed = asked.sealed
    return _message(
        _Passed(
            number, asked.key, asked.author, sealed.said, sealed.openings, sealed.sealings, asked.digest, asked.signature,
            dict(asked.judged),
        )
    )  # fmt: skip


def parse_passed(raw: bytes, future: Any) -> Passed:
    """A submission as it was sealed; its records are read from what was said. Raises MalformedInput."""
    try:
        one = _PASSED.decode(raw)
        sealed = Sealed(one.said, _records(one), one.openings, one.sealings)
    except msgspec.MsgspecError as error:
        raise MalformedInput("passed submission cannot be read", got=str(error)) from error
    asked = Asked(one.key, one.author, sealed, one.digest, future, signature=one.signature, judged=one.judged)
    return Passed(one.number, asked)


def _records(passed: _Passed) -> tuple[Record, ...]:
    if not passed.openings and passed.signature is None:
        return _SAID.decode(passed.said).records
    return open_records(decode(passed.said), {opening.path: opening.value for opening in passed.openings})


def format_answers(answers: Sequence[tuple[int, Entered | BaseException | None]], checkpoint: bytes) -> bytes:
    """Answers as a message. An error that says nothing of the submission itself leaves it to whoever passed it on."""
    entered, refused, left = [], [], []
    for number, given in answers:
        if isinstance(given, Entered):
            entered.append((number, given))
        elif isinstance(given, LedgerError) and not isinstance(given, StoreError):
            refused.append((number, _format_refusal(given)))
        else:
            left.append(number)
    return _message(_Answers(entered, refused, left, checkpoint))


def parse_answers(raw: bytes) -> tuple[list[Answer], bytes]:
    """The answers, and the checkpoint that the holder knows. Raises MalformedInput."""
    try:
        answers = _ANSWERS.decode(raw)
    except msgspec.MsgspecError as error:
        raise MalformedInput("answers of the pen's holder cannot be read", got=str(error)) from error
    found = [Answer(number, entered) for number, entered in answers.entered]
    found += [Answer(number, _parse_refusal(refusal)) for number, refusal in answers.refused]
    return found + [Answer(number, None) for number in answers.left], answers.checkpoint


def _format_refusal(error: LedgerError) -> _Refusal:
    _, _, parts = error.__reduce__()
    return _Refusal(type(error).__name__, str(error), parts)  # type: ignore[arg-type]  # as `LedgerError` gives it


def _parse_refusal(refusal: _Refusal) -> LedgerError:
    kind = getattr(errors, refusal.name, None)
    if not (isinstance(kind, type) and issubclass(kind, LedgerError)):
        raise MalformedInput("no such error", got=refusal.name)
    error: LedgerError = copyreg.__newobj__(kind, refusal.text)  # type: ignore[attr-defined]  # typeshed leaves it out
    vars(error).update(refusal.parts)
    return error


def _message(value: Any) -> bytes:
    raw = _encode(value)
    return _LENGTH.pack(len(raw)) + raw


def taken_messages(buffer: bytearray) -> Iterator[bytes]:
    """The whole messages at the beginning of a buffer, taken out of it. Raises MalformedInput for a length that is none."""
    start = 0
    try:
        while len(buffer) - start >= _LENGTH.size:
            (length,) = _LENGTH.unpack_from(buffer, start)
            if not 0 < length <= MOST_BYTES:
                raise MalformedInput("message of another length", expected=f"1 to {MOST_BYTES} bytes", got=length)
            end = start + _LENGTH.size + length
            if len(buffer) < end:
                return
            raw = bytes(memoryview(buffer)[start + _LENGTH.size : end])
            start = end
            yield raw
    finally:
        del buffer[:start]
