"""Entry format 1: one submission to the book, once it stands.

An entry is the canonical JSON (see ``canonical``) of

    {author, book, breaches, index, prev, recorded_at, said, signature?, v}

with ``v`` = 1, ``book`` the origin of the book, ``index`` counted from 0, ``prev`` the hash of the entry before
as 64 lower-case hex digits (SHA-256("") before entry 0), ``recorded_at`` an instant of the service's clock,
``author`` an account id, ``said`` = ``{book, key, records}`` as submitted, ``breaches`` what the writer found,
and ``signature`` the DSSE envelope of a station over the canonical bytes of ``said``, verbatim.

The hash of an entry is the RFC 9162 leaf hash of its bytes: one hash makes both chain and tree.
What records and breaches mean is not decided here. The format is frozen; a later one has another ``v``.
"""

from __future__ import annotations

import re
from hashlib import sha256
from typing import TYPE_CHECKING, Protocol

import msgspec

from ledger.book import canonical
from ledger.book.instant import parse_instant
from ledger.book.merkle import EMPTY_ROOT, leaf_hash
from ledger.errors import ChainBroken, MalformedEntry, MalformedInput, TooLarge

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

FORMAT = 1
GENESIS_HASH = EMPTY_ROOT

_HASH_HEX = re.compile(r"[0-9a-f]{64}", re.ASCII)
_REQUIRED = frozenset({"author", "book", "breaches", "index", "prev", "recorded_at", "said", "v"})


class Said(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one author said together: the book it is for, the idempotency key, the records in order."""

    book: str
    key: str
    records: list[dict[str, object]]


class Entry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One entry of the book, read from its bytes. ``prev`` is 64 lower-case hex digits."""

    book: str
    index: int
    prev: str
    recorded_at: str
    author: str
    said: Said
    breaches: list[dict[str, object]]
    signature: str | None = None
    v: int = FORMAT


class Link(Protocol):
    """What an entry says of its place."""

    index: int
    prev: str


class _Link(msgspec.Struct, gc=False):
    """The two fields that place an entry; the decoder skips the others."""

    index: int
    prev: str


_decode_entry = msgspec.json.Decoder(Entry).decode
_decode_link = msgspec.json.Decoder(_Link).decode
_text = msgspec.json.Encoder().encode


def entry_hash(raw: bytes) -> bytes:
    """Hash of an entry: the RFC 9162 leaf hash of its bytes, 32 bytes."""
    return leaf_hash(raw)


def said_fields(said: Said) -> dict[str, object]:
    """Give ``said`` as the JSON object that is signed and entered."""
    return {"book": said.book, "key": said.key, "records": said.records}


def format_entry(entry: Entry) -> bytes:
    """Give the bytes of an entry; raises MalformedEntry, MalformedCanonical or TooLarge for what is none."""
    fields: dict[str, object] = {
        "author": entry.author,
        "book": entry.book,
        "breaches": entry.breaches,
        "index": entry.index,
        "prev": entry.prev,
        "recorded_at": entry.recorded_at,
        "said": said_fields(entry.said),
        "v": entry.v,
    }
    if entry.signature is not None:
        fields["signature"] = entry.signature
    _entry_from(fields)
    return canonical.encode(fields)


def assemble_entry(
    *,
    book: str,
    index: int,
    prev: str,
    recorded_at: str,
    author: str,
    said_bytes: bytes,
    breaches: list[dict[str, object]],
    signature: str | None = None,
) -> bytes:
    """Give the same bytes as ``format_entry``, with ``said`` spliced in as its canonical bytes.

    For the writer, which has those bytes already and has checked every part: it does not check them again.
    Raises MalformedCanonical for breaches outside the profile, TooLarge for an entry above 65,535 bytes.
    """
    found = canonical.encode(breaches) if breaches else b"[]"
    signed = b"" if signature is None else b',"signature":' + _text(signature)
    raw = b'{"author":%b,"book":%b,"breaches":%b,"index":%d,"prev":"%b","recorded_at":"%b","said":%b%b,"v":%d}' % (
        _text(author),
        _text(book),
        found,
        index,
        prev.encode(),
        recorded_at.encode(),
        said_bytes,
        signed,
        FORMAT,
    )
    if len(raw) > canonical.MAX_ENTRY_BYTES:
        limit = canonical.MAX_ENTRY_BYTES
        raise TooLarge("entry is too long", expected=f"at most {limit} bytes", got=len(raw), where=f"entry {index}")
    return raw


def parse_entry(raw: bytes) -> Entry:
    """Read an entry strictly: canonical bytes, known fields only, each of its form.

    Raises MalformedEntry (or MalformedCanonical) for anything else. Says nothing about the chain.
    """
    fields = canonical.decode(raw)
    if not isinstance(fields, dict):
        raise MalformedEntry("entry is not a JSON object")
    return _entry_from(fields)


def read_entry(raw: bytes) -> Entry:
    """Read an entry whose bytes are proved already (by the chain, the root or a receipt), at a fifth of the cost.

    Raises MalformedEntry when it cannot be read; forms, canonical order and the chain are not looked at again.
    """
    try:
        entry = _decode_entry(raw)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise MalformedEntry("entry cannot be read") from error
    if entry.v != FORMAT:
        raise MalformedEntry("entry has another format", expected=FORMAT, got=entry.v)
    return entry


def check_chain(previous_hash: bytes, index: int, raw: bytes) -> Entry:
    """Read the entry at ``index`` and check that it follows the entry with ``previous_hash``.

    For entry 0, ``previous_hash`` is GENESIS_HASH. Raises MalformedEntry, MalformedCanonical or ChainBroken.
    """
    entry = parse_entry(raw)
    _check_place(entry.index, entry.prev, index, previous_hash)
    return entry


def check_links(
    previous_hash: bytes, first_index: int, raws: Sequence[bytes], links: Iterable[Link] | None = None
) -> list[bytes]:
    """Check that ``raws`` follow ``previous_hash`` one after another; give their hashes.

    Reads index and prev only, so it is fast enough for whole books; the bytes themselves are proved by the root
    that the hashes give, which the caller compares with a signed one. Raises MalformedEntry or ChainBroken.
    ``links``: what each of them says of its place, where the caller has decoded it from these bytes already.
    """
    hashes: list[bytes] = []
    index, previous = first_index, previous_hash.hex()
    for raw, link in zip(raws, _read_links(first_index, raws) if links is None else links, strict=True):
        if link.index != index or link.prev != previous:
            _check_place(link.index, link.prev, index, bytes.fromhex(previous))
        digest = sha256(b"\x00" + raw).digest()  # `leaf_hash`, without a call for each entry of a book
        previous = digest.hex()
        hashes.append(digest)
        index += 1
    return hashes


def _read_links(first_index: int, raws: Sequence[bytes]) -> Iterator[Link]:
    for index, raw in enumerate(raws, first_index):
        try:
            yield _decode_link(raw)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise MalformedEntry("entry cannot be read", where=f"entry {index}") from error


def _check_place(index: int, prev: str, expected_index: int, previous_hash: bytes) -> None:
    where = f"entry {expected_index}"
    if index != expected_index:
        raise ChainBroken("entry stands at another index", expected=expected_index, got=index, where=where)
    if prev != previous_hash.hex():
        raise ChainBroken("previous hash", expected=previous_hash.hex(), got=prev, where=where)


def _entry_from(fields: dict[str, object]) -> Entry:
    missing_or_unknown = (fields.keys() ^ _REQUIRED) - {"signature"}
    if missing_or_unknown:
        raise MalformedEntry("entry has other fields", got=", ".join(sorted(missing_or_unknown)))
    if type(fields["v"]) is not int or fields["v"] != FORMAT:
        raise MalformedEntry("entry has another format", expected=FORMAT, got=fields["v"])
    index = fields["index"]
    if type(index) is not int or index < 0:
        raise MalformedEntry("index is no count", got=index)
    where = f"entry {index}"
    entry = Entry(
        book=_text_field(fields, "book", where),
        index=index,
        prev=_text_field(fields, "prev", where),
        recorded_at=_text_field(fields, "recorded_at", where),
        author=_text_field(fields, "author", where),
        said=_said_from(fields["said"], where),
        breaches=_objects(fields["breaches"], "breaches", "", where),
        signature=_text_field(fields, "signature", where) if "signature" in fields else None,
    )
    _check_forms(entry, where)
    return entry


def _check_forms(entry: Entry, where: str) -> None:
    if _HASH_HEX.fullmatch(entry.prev) is None:
        raise MalformedEntry("prev is not 64 lower-case hex digits", got=entry.prev, where=where)
    if entry.index == 0 and entry.prev != GENESIS_HASH.hex():
        raise MalformedEntry("entry 0 has a previous entry", got=entry.prev, where=where)
    if entry.said.book != entry.book:
        raise MalformedEntry("said is for another book", expected=entry.book, got=entry.said.book, where=where)
    try:
        parse_instant(entry.recorded_at)
    except MalformedInput as error:
        raise MalformedEntry("recorded_at is not an instant", got=entry.recorded_at, where=where) from error


def _said_from(said: object, where: str) -> Said:
    if not isinstance(said, dict) or said.keys() != {"book", "key", "records"}:
        raise MalformedEntry("said has other fields", expected="book, key, records", where=where)
    records = _objects(said["records"], "records", "kind", where)
    if not records:
        raise MalformedEntry("said has no records", where=where)
    return Said(book=_text_field(said, "book", where), key=_text_field(said, "key", where), records=records)


def _text_field(fields: dict[str, object], name: str, where: str) -> str:
    value = fields[name]
    if type(value) is not str or not value:
        raise MalformedEntry(f"{name} is not a text of at least one character", where=where)
    return value


def _objects(members: object, name: str, text_key: str, where: str) -> list[dict[str, object]]:
    """Give ``members`` as a list of objects, each with a text under ``text_key`` if one is named."""
    if not isinstance(members, list):
        raise MalformedEntry(f"{name} is not a list", where=where)
    for position, member in enumerate(members):
        if not isinstance(member, dict) or (text_key and not isinstance(member.get(text_key), str)):
            expected = f"an object with {text_key}" if text_key else "an object"
            raise MalformedEntry(f"{name} holds another thing", expected=expected, where=f"{where}.{position}")
    return members
