"""A submission to the book: a list of records said together by one author, and its sealing into ``said``.

``said = {book, key, records[]}`` in canonical bytes.  Sealed fields are replaced by their commitments before anything is
signed or hashed; a station that signs does this itself and sends the openings along.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Annotated, Any, NamedTuple

import msgspec
from msgspec import Meta

from ledger.book.canonical import MAX_ENTRY_BYTES, decode, encode, encode_typed
from ledger.book.sealed_field import Opening, check_opening, seal
from ledger.errors import MalformedRecord, TooLarge
from ledger.line.record import Record, has_sealed, sealed_fields, sealed_places
from ledger.line.vocabulary import RECORD_OF, AnyRecord

MAX_RECORDS = 500

KeyText = Annotated[str, Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9._:-]{0,99}\Z", description="idempotency key")]


class Submission(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What an author says at once, under an idempotency key."""

    key: KeyText
    records: Annotated[tuple[AnyRecord, ...], Meta(min_length=1, max_length=MAX_RECORDS)]
    signed: Signed | None = None


class Signed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a signing station said: the canonical bytes of ``said``, its DSSE envelope, and the openings."""

    said: bytes
    envelope: str
    openings: tuple[Opening, ...] = ()


class Sealed(NamedTuple):
    """A submission as it will stand. ``records`` are what checks and views see: erasable fields are taken out."""

    said: bytes
    records: tuple[Record, ...]
    openings: tuple[Opening, ...]
    sealings: tuple[str, ...]


_SUBMISSION = msgspec.json.Decoder(Submission)
_RECORD = msgspec.json.Decoder(AnyRecord)


# A service speaks to one book.
@lru_cache(maxsize=16)
def _text(text: str) -> bytes:
    return encode(text)


def request_bytes(submission: Submission) -> bytes:
    """Canonical bytes of the clear request: what an idempotency key is compared by. Raises MalformedCanonical."""
    if submission.signed is not None:
        return submission.signed.said
    return encode(msgspec.to_builtins(submission.records))


def said_kinds(submission: Submission) -> list[str]:
    """The kinds of what will stand: of the signed bytes where a station signed, not of the records sent beside them.

    Raises MalformedCanonical or MalformedRecord for signed bytes that cannot be read.
    """
    if submission.signed is None:
        return [str(type(record).__struct_config__.tag) for record in submission.records]
    said = decode(submission.signed.said)
    bodies = said.get("records") if isinstance(said, dict) else None
    if not isinstance(bodies, list):
        raise MalformedRecord("the signed bytes hold no records", where="signed.said")
    return [str(record_type_of(body, place).__struct_config__.tag) for place, body in enumerate(bodies)]


def said_records(submission: Submission) -> tuple[Record, ...]:
    """The records that will stand: those of the signed bytes where a station signed. Erasable fields may be left out.

    Raises MalformedCanonical or MalformedRecord for signed bytes that cannot be read.
    """
    if submission.signed is None:
        return submission.records
    said = decode(submission.signed.said)
    if not isinstance(said, dict) or not isinstance(said.get("records"), list):
        raise MalformedRecord("the signed bytes hold no records", where="signed.said")
    return open_records(said, {opening.path: opening.value for opening in submission.signed.openings})


def seal_submission(book: str, submission: Submission, salts: Callable[[int], Sequence[bytes]]) -> Sealed:
    """Seal a submission; ``salts(n)`` gives n fresh salts of 32 bytes. Raises MalformedCanonical or MalformedRecord."""
    if submission.signed is not None:
        return _check_signed(book, submission)
    if not any(has_sealed(record) for record in submission.records):
        return Sealed(_said(book, submission.key, encode_typed(submission.records)), submission.records, (), ())
    bodies: list[Any] = msgspec.to_builtins(submission.records)
    records: list[Record] = list(submission.records)
    openings: list[Opening] = []
    sealings: list[str] = []
    for position, body in enumerate(bodies):
        record_type = type(submission.records[position])
        if not sealed_fields(record_type):
            continue
        places = list(sealed_places(record_type, body))
        if any(place.sealing == "erasable" for place in places):
            records[position] = _without_erasable(record_type, submission.records[position])
        for place, salt in zip(places, salts(len(places)), strict=True):
            path = f"{position}/{place.path}"
            value = place.holder[place.key]
            openings.append(Opening(path=path, salt=salt, value=value))
            sealings.append(place.sealing)
            place.holder[place.key] = {"sealed": seal(path, value, salt)}
    said = _said(book, submission.key, encode(bodies))
    return Sealed(said, tuple(records), tuple(openings), tuple(sealings))


def _said(book: str, key: str, records: bytes) -> bytes:
    """The canonical bytes of ``said``, its records given as theirs."""
    said = b'{"book":%b,"key":%b,"records":%b}' % (_text(book), encode(key), records)
    if len(said) > MAX_ENTRY_BYTES:
        raise TooLarge("canonical bytes are too many", expected=f"at most {MAX_ENTRY_BYTES}", got=len(said))
    return said


def _without_erasable(record_type: type[Record], record: Record) -> Record:
    body = msgspec.to_builtins(record)
    for place in list(sealed_places(record_type, body)):
        if place.sealing == "erasable":
            del place.holder[place.key]
    return msgspec.convert(body, record_type)


def _check_signed(book: str, submission: Submission) -> Sealed:
    signed = submission.signed
    if signed is None:
        raise MalformedRecord("the submission is not signed", where="signed")
    said = decode(signed.said)
    if not isinstance(said, dict) or (said.get("book"), said.get("key")) != (book, submission.key):
        raise MalformedRecord(
            "the signed bytes name another book or key",
            expected=f"book {book}, key {submission.key}",
            where="signed.said",
            mend="sign the canonical bytes of {book, key, records} for this book",
        )
    bodies = said.get("records")
    if set(said) != {"book", "key", "records"} or not isinstance(bodies, list) or not 0 < len(bodies) <= MAX_RECORDS:
        raise MalformedRecord(
            "the signed bytes say something else than records",
            expected=f"book, key and 1 to {MAX_RECORDS} records",
            where="signed.said",
            mend="sign the canonical bytes of {book, key, records}",
        )
    values = {opening.path: opening.value for opening in signed.openings}
    sealings = []
    commitments = dict(_commitments(bodies))
    for opening in signed.openings:
        if opening.path not in commitments:
            raise MalformedRecord("an opening of nothing", got=opening.path, where="signed.openings")
        sealing, commitment = commitments[opening.path]
        check_opening(opening, commitment)
        sealings.append(sealing)
    missing = sorted(set(commitments) - set(values))
    if missing:
        raise MalformedRecord("a sealed field without its opening", got=missing[0], where="signed.openings")
    records = open_records(said, values)
    # The erasable values are left out above; they too must be what their kind takes.
    open_records(decode(signed.said), values, erasable=True)
    return Sealed(signed.said, records, signed.openings, tuple(sealings))


def _commitments(bodies: Sequence[Mapping[str, Any]]) -> list[tuple[str, tuple[str, str]]]:
    found = []
    for position, body in enumerate(bodies):
        record_type = record_type_of(body, position)
        for place in sealed_places(record_type, body):
            commitment = place.holder[place.key]
            if not isinstance(commitment, dict) or set(commitment) != {"sealed"}:
                raise MalformedRecord("a field that must be sealed is not", where=f"records[{position}].{place.path}")
            found.append((f"{position}/{place.path}", (place.sealing, commitment["sealed"])))
    return found


def record_type_of(body: Mapping[str, Any], position: int) -> type[Record]:
    """The record type of a JSON object by its kind. Raises MalformedRecord for an unknown one."""
    kind = body.get("kind") if isinstance(body, dict) else None
    record_type = RECORD_OF.get(kind) if isinstance(kind, str) else None
    if record_type is None:
        raise MalformedRecord(
            "no such kind of record",
            expected="one of " + ", ".join(RECORD_OF),
            got=body.get("kind") if isinstance(body, dict) else body,
            where=f"records[{position}].kind",
            mend="use one of the kinds listed",
        )
    return record_type


def open_records(said: Any, openings: Mapping[str, object], *, erasable: bool = False) -> tuple[Record, ...]:
    """The records of an entry's ``said``, with withheld fields opened and erasable ones taken out (or opened, if asked).

    ``openings`` maps path (record position first) to value. Raises MalformedRecord when a withheld field has none.
    """
    records = []
    for position, body in enumerate(said["records"]):
        record_type = record_type_of(body, position)
        for place in list(sealed_places(record_type, body)):
            if place.sealing == "erasable" and not erasable:
                del place.holder[place.key]
                continue
            path = f"{position}/{place.path}"
            if path not in openings:
                raise MalformedRecord(
                    "a withheld field has no opening", where=path, mend="restore the store's openings"
                )
            place.holder[place.key] = openings[path]
        try:
            records.append(msgspec.convert(body, record_type))
        except msgspec.ValidationError as error:
            raise MalformedRecord(
                "a stored record does not fit its kind", got=str(error), where=str(position)
            ) from error
    return tuple(records)
