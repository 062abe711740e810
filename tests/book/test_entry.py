"""Entry format 1: frozen bytes, strict reading, and a chain that shows every change."""

from __future__ import annotations

import hashlib
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book import canonical
from ledger.book.entry import (
    GENESIS_HASH,
    Entry,
    Said,
    assemble_entry,
    check_chain,
    check_links,
    entry_hash,
    format_entry,
    parse_entry,
    read_entry,
    said_fields,
)
from ledger.book.merkle import leaf_hash, root
from ledger.errors import ChainBroken, CheckFailed, MalformedEntry, MalformedInput, TooLarge
from tests.book.samples import ORIGIN, flipped, sample_entry, small_book, texts, values

# The format is frozen: these bytes and this hash never change.
WORKED = (
    b'{"author":"a7","book":"ledger.example/balls","breaches":[],"index":0,'
    b'"prev":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",'
    b'"recorded_at":"2026-11-25T10:00:00.000+01:00","said":{"book":"ledger.example/balls","key":"k0",'
    b'"records":[{"kind":"ball_engraved","serial":"2345ACDFG","unit":0,"weight_lb":"15.10"}]},"v":1}'
)

filled = st.text(st.characters(exclude_categories=["Cs", "Cn"], max_codepoint=0x17F), min_size=1, max_size=10)
objects = st.dictionaries(st.text(st.characters(max_codepoint=127), max_size=6), values, max_size=3)
records = st.lists(objects.map(lambda members: {**members, "kind": "note"}), min_size=1, max_size=3)


@st.composite
def entries(draw: st.DrawFn) -> Entry:
    """Entries of any content that the format allows."""
    index = draw(st.integers(0, 2**40))
    return Entry(
        book=(book := draw(filled)),
        index=index,
        prev=GENESIS_HASH.hex() if index == 0 else draw(st.binary(min_size=32, max_size=32)).hex(),
        recorded_at="2026-11-25T10:00:00.000+01:00",
        author=draw(filled),
        said=Said(book=book, key=draw(filled), records=draw(records)),
        breaches=draw(st.lists(objects, max_size=2)),
        signature=draw(st.none() | texts.filter(bool)),
    )


def _fields(**changed: Any) -> dict[str, Any]:
    """The worked entry as JSON, with fields changed; a value of ``...`` leaves the field out."""
    fields = {**msgspec.json.decode(WORKED), **changed}
    return {name: value for name, value in fields.items() if value is not ...}


def test_the_worked_entry_is_frozen() -> None:
    """Format 1 gives these bytes and this hash, for ever."""
    assert format_entry(sample_entry(0)) == WORKED
    assert hashlib.sha256(b"\x00" + WORKED).digest() == entry_hash(WORKED)
    assert entry_hash(WORKED).hex() == "91436adf19f688fa60b4945a081888b2bbb4adc74e741d832fd021db75180ab1"


@given(entries())
def test_parse_undoes_format(entry: Entry) -> None:
    """Reading gives back what was written, strictly and by the quick way."""
    raw = format_entry(entry)

    assert entry == parse_entry(raw)
    assert entry == read_entry(raw)


@given(entries())
def test_assembling_gives_the_same_bytes(entry: Entry) -> None:
    """Splicing encoded parts is the same as encoding the whole."""
    assembled = assemble_entry(
        book=entry.book,
        index=entry.index,
        prev=entry.prev,
        recorded_at=entry.recorded_at,
        author=entry.author,
        said_bytes=canonical.encode(said_fields(entry.said)),
        breaches=entry.breaches,
        signature=entry.signature,
    )

    assert format_entry(entry) == assembled


@pytest.mark.parametrize(
    "changed",
    [
        {"v": 2},
        {"v": True},
        {"v": ...},
        {"extra": 1},
        {"author": ""},
        {"author": 7},
        {"author": ...},
        {"index": -1},
        {"index": True},
        {"index": "0"},
        {"index": 1, "prev": "0" * 63},
        {"index": 1, "prev": "A" * 64},
        {"prev": "0" * 64},
        {"recorded_at": "2026-11-25T10:00:00.000Z"},
        {"book": "other.example/balls"},
        {"breaches": {}},
        {"breaches": ["late"]},
        {"signature": ""},
        {"signature": {}},
        {"said": []},
        {"said": {"book": ORIGIN, "key": "k"}},
        {"said": {"book": ORIGIN, "key": "k", "records": []}},
        {"said": {"book": ORIGIN, "key": "", "records": [{"kind": "note"}]}},
        {"said": {"book": ORIGIN, "key": "k", "records": [{"text": "no kind"}]}},
        {"said": {"book": ORIGIN, "key": "k", "records": [{"kind": 1}]}},
        {"said": {"book": ORIGIN, "key": "k", "records": "note"}},
        {"said": {"book": ORIGIN, "key": "k", "records": [{"kind": "note"}], "more": 1}},
    ],
    ids=str,
)
def test_entries_of_another_form_are_refused(changed: dict[str, Any]) -> None:
    """Unknown, missing and wrong fields are refused, each of them."""
    with pytest.raises(MalformedEntry):
        parse_entry(canonical.encode(_fields(**changed)))


@pytest.mark.parametrize("raw", [b"[]", b"1", b'"entry"'])
def test_other_json_is_no_entry(raw: bytes) -> None:
    """An entry is an object."""
    with pytest.raises(MalformedEntry):
        parse_entry(raw)
    with pytest.raises(MalformedEntry):
        read_entry(raw)


def test_the_quick_reader_knows_formats_too() -> None:
    """An entry of a later format is not read as one of format 1."""
    with pytest.raises(MalformedEntry):
        read_entry(canonical.encode(_fields(v=2)))


def test_what_is_no_entry_is_not_written() -> None:
    """Writing is as strict as reading."""
    with pytest.raises(MalformedEntry):
        format_entry(msgspec.structs.replace(sample_entry(0), author=""))


def test_entries_have_a_greatest_length() -> None:
    """More than 65,535 bytes is too large, by either way of writing."""
    long = "x" * 65_500
    entry = msgspec.structs.replace(sample_entry(0), signature=long)
    with pytest.raises(TooLarge):
        format_entry(entry)
    with pytest.raises(TooLarge):
        assemble_entry(
            book=entry.book,
            index=0,
            prev=entry.prev,
            recorded_at=entry.recorded_at,
            author=entry.author,
            said_bytes=canonical.encode(said_fields(entry.said)),
            breaches=[],
            signature=long,
        )


def test_entries_of_a_book_follow_each_other() -> None:
    """Each entry names the hash of the one before; the first names SHA-256 of nothing."""
    book = small_book(6)
    previous = GENESIS_HASH
    for index, raw in enumerate(book.entries):
        assert check_chain(previous, index, raw) == parse_entry(raw)
        previous = entry_hash(raw)

    assert book.hashes == check_links(GENESIS_HASH, 0, book.entries)
    assert book.hashes[3:] == check_links(book.hashes[2], 3, book.entries[3:])


@pytest.mark.parametrize(
    "order",
    [[1, 0, 2], [0, 2], [0, 1, 1], [1, 2], [0, 0, 1]],
    ids=["swapped", "left out", "twice", "start cut", "again"],
)
def test_a_changed_order_breaks_the_chain(order: list[int]) -> None:
    """Entries moved, left out or repeated do not follow each other."""
    book = small_book(3)

    with pytest.raises(ChainBroken):
        check_links(GENESIS_HASH, 0, [book.entries[index] for index in order])


def test_an_entry_after_another_history_breaks_the_chain() -> None:
    """The right index after the wrong hash is refused, by either check."""
    book = small_book(3)
    with pytest.raises(ChainBroken):
        check_chain(book.hashes[0], 2, book.entries[2])
    with pytest.raises(ChainBroken):
        check_links(book.hashes[0], 2, book.entries[2:])


BOOK = small_book(5)


@given(st.integers(0, 4), st.data())
def test_any_flipped_bit_of_any_entry_is_detected(index: int, draw: st.DataObject) -> None:
    """One changed bit is malformed, breaks the chain, or gives another root than the signed one."""
    damaged = list(BOOK.entries)
    damaged[index] = flipped(damaged[index], draw.draw(st.integers(0, len(damaged[index]) * 8 - 1)))

    try:
        found = root(check_links(GENESIS_HASH, 0, damaged))
    except (MalformedInput, CheckFailed):
        return
    assert found != root(BOOK.hashes)
    assert leaf_hash(damaged[index]) != BOOK.hashes[index]
