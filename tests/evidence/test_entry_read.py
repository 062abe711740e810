"""An entry that is read at once with its records is read as the general way reads it, or left to that."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.book.entry import format_entry, parse_entry, read_entry
from ledger.errors import LedgerError
from ledger.evidence.entry_facts import read_records
from ledger.evidence.entry_read import PlainEntry, plain_entry, proved_entry
from tests.evidence.small_dossier import book

RAWS = book().raws
PLAIN = [raw for raw in RAWS if plain_entry(raw) is not None]
HOSTILE: list[Any] = [
    "", "é", "e\u0301", "\x7f", 'a"b\\', "\u2028", 0, -1, 2**53, 1.5, None, True, [], {}, [None], {"sealed": "0" * 64},
    "2026-02-30T00:00:00.000+00:00", "2026-01-02T03:04:05.678-00:00", "A" * 70_000,
]  # fmt: skip


def same(plain: PlainEntry, raw: bytes) -> bool:
    """Whether the entry says what the general way reads of the bytes."""
    entry = parse_entry(raw)
    names = ("author", "book", "breaches", "index", "prev", "recorded_at", "v")
    signature = None if plain.signature is UNSET else plain.signature
    return (
        all(getattr(plain, name) == getattr(entry, name) for name in names)
        and (plain.said.book, plain.said.key, signature) == (entry.said.book, entry.said.key, entry.signature)
        and plain.records == read_records(entry.said.records, "entry")
    )


def places(value: Any) -> list[tuple[Any, Any]]:
    """Every holder and key in a JSON value."""
    members = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [place for key, member in members for place in ((value, key), *places(member))]


def test_most_entries_are_plain() -> None:
    """All but those in which something is sealed, or might be, as in a correction's replacement."""
    told_alone = (b'"sealed"', b'"kind":"correction"')
    assert [raw for raw in RAWS if not any(word in raw for word in told_alone)] == PLAIN
    assert all(same(plain, raw) for raw in PLAIN if (plain := plain_entry(raw)) is not None)


@given(st.data())
def test_a_changed_entry_is_read_alike_or_not_at_all(data: st.DataObject) -> None:
    """Another value, a field more or less, whatever is written in its one form."""
    fields = msgspec.json.decode(data.draw(st.sampled_from(RAWS)))
    holder, key = data.draw(st.sampled_from(places(fields)))
    how = data.draw(st.sampled_from(["other", "gone", "more"]))
    if how == "other":
        holder[key] = data.draw(st.sampled_from(HOSTILE))
    elif how == "gone":
        del holder[key]
    elif isinstance(holder, dict):
        holder[data.draw(st.sampled_from(["note", "unit", "signature", "zz"]))] = data.draw(st.sampled_from(HOSTILE))
    raw = msgspec.json.encode(fields, order="deterministic")
    plain = plain_entry(raw)
    assert plain is None or same(plain, raw)


@given(st.sampled_from(PLAIN), st.data())
def test_another_form_of_the_same_entry_is_not_plain(raw: bytes, data: st.DataObject) -> None:
    """A byte more, less or otherwise."""
    place = data.draw(st.integers(0, len(raw) - 1))
    put = data.draw(st.sampled_from([b"", b" ", b"\n", b"0", b"a", b'"', b"\\u0041", b"\xc3\xa9", b"}"]))
    changed = raw[:place] + put + raw[place + data.draw(st.integers(0, 1)) :]
    plain = plain_entry(changed)
    assert plain is None or same(plain, changed)


def test_fields_in_another_order_or_twice_are_not_plain() -> None:
    """Though the decoder takes them."""
    raw = PLAIN[-1]
    author = raw[1 : raw.index(b',"book"')]
    assert plain_entry(b"{" + raw[len(author) + 2 : -1] + b"," + author + b"}") is None
    assert plain_entry(b"{" + author + b"," + raw[1:]) is None


@pytest.mark.parametrize("raw", RAWS)
def test_a_proved_entry_is_read_with_its_records(raw: bytes) -> None:
    """Plain or not."""
    found = proved_entry(raw, "entry")
    entry = read_entry(raw)
    assert (entry.index, entry.author, entry.recorded_at) == (
        found.entry.index,
        found.entry.author,
        found.entry.recorded_at,
    )
    assert read_records(entry.said.records, "entry") == tuple(found.records)


def test_an_entry_of_no_book_is_not_plain() -> None:
    """What is said is for the book that it stands in, and the first entry follows none."""
    entry = parse_entry(PLAIN[-1])
    said = msgspec.structs.replace(entry.said, book="another.example")
    with pytest.raises(LedgerError):
        format_entry(msgspec.structs.replace(entry, said=said))
    assert plain_entry(PLAIN[-1].replace(b'"said":{"book":"books', b'"said":{"book":"brooks')) is None
    assert plain_entry(PLAIN[-1].replace(b'"index":%d,' % entry.index, b'"index":0,')) is None
