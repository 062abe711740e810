"""What a check reads of entries: their places, and which of them may hold something sealed."""

from __future__ import annotations

import pytest

from ledger.book.canonical import encode
from ledger.errors import MalformedEntry
from ledger.store.outlines import places_to_look_at, read_outlines

PLAIN: dict[str, object] = {"kind": "inspection", "at": "2025-01-01T00:00:00.000+00:00", "readings": [{"gauge": "G-1"}]}
NOTED: dict[str, object] = {**PLAIN, "note": {"sealed": "00" * 32}}
ERASING: dict[str, object] = {"kind": "erasure", "entry": 1}


def _raw(index: int, *records: dict[str, object]) -> bytes:
    said = {"book": "book.example", "key": f"k-{index}", "records": list(records)}
    fields = {"author": "a-1", "book": "book.example", "breaches": [], "index": index, "prev": "00" * 32}
    return encode({**fields, "recorded_at": "2025-01-01T00:00:00.000+00:00", "said": said, "v": 1})


def test_an_outline_says_what_the_entry_says() -> None:
    """Place, author, key and kinds."""
    (found,) = read_outlines(7, [_raw(7, PLAIN, NOTED)])
    assert (7, "00" * 32, "a-1", "k-7") == (found.index, found.prev, found.author, found.said.key)
    assert ["inspection", "inspection"] == [record.kind for record in found.said.records]


def test_entries_with_a_field_that_is_sealed_are_looked_at() -> None:
    """Wherever the record stands in its entry, and whatever the entry before was like."""
    raws = [_raw(n, *records) for n, records in enumerate([(PLAIN,), (PLAIN,), (PLAIN, NOTED), (PLAIN,), (NOTED,)])]
    assert [2, 4] == list(places_to_look_at(list(read_outlines(0, raws)), ()))


def test_entries_with_a_kind_that_is_asked_for_are_looked_at() -> None:
    """Also where nothing in them is sealed."""
    outlines = list(read_outlines(0, [_raw(0, PLAIN), _raw(1, ERASING), _raw(2, PLAIN)]))
    assert ([1], []) == (list(places_to_look_at(outlines, {"erasure"})), list(places_to_look_at(outlines, ())))


@pytest.mark.parametrize("damaged", [b"", b"[]", b"{}", b'{"index":1}', _raw(1, PLAIN)[:-1], b"\xff" + _raw(1, PLAIN)])
def test_an_entry_that_cannot_be_read_is_named(damaged: bytes) -> None:
    """By its index."""
    with pytest.raises(MalformedEntry) as caught:
        list(read_outlines(4, [_raw(4, PLAIN), damaged]))
    assert "entry 5" == caught.value.where
