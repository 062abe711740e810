"""Whole numbers of a row in one value: read back one by one and by columns, whichever of them are missing."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.store.packed_numbers import EMPTY, NumberPacking

NAMES = ("alpha", "beta", "gamma", "delta")

whole = st.one_of(st.none(), st.integers(-(2**62) + 1, 2**63 - 1))
rows = st.lists(st.tuples(*[whole] * len(NAMES)), min_size=1, max_size=12)


@given(rows)
def test_a_row_is_read_back(found: list[tuple[int | None, ...]]) -> None:
    """Each number under its name, and no other; one row after another of whatever shape."""
    packing = NumberPacking(NAMES)
    for row in found:
        said = {name: number for name, number in zip(NAMES, row, strict=True) if number is not None}
        assert said == packing.unpack(packing.pack(row))


@given(found=rows, wanted=st.sets(st.sampled_from(NAMES)), alike=st.booleans())
def test_rows_are_read_as_columns(*, found: list[tuple[int | None, ...]], wanted: set[str], alike: bool) -> None:
    """The wanted columns that some row has, with a mark where a row has none: of one shape as of several."""
    rows = [found[0]] * len(found) if alike else found
    packing = NumberPacking(NAMES)
    read = packing.columns([packing.pack(row) for row in rows], wanted)
    expected = {
        name: [EMPTY if number is None else number for number in column]
        for name, column in zip(NAMES, zip(*rows, strict=True), strict=True)
        if name in wanted and column.count(None) < len(column)
    }
    assert expected == {name: column.tolist() for name, column in read.items()}


def test_equal_rows_have_equal_bytes() -> None:
    """Little-endian 64-bit integers, the mask first, whatever was packed before."""
    packing = NumberPacking(NAMES)
    expected = struct.pack("<3q", 0b1001, 7, -1)
    assert expected == packing.pack((7, None, None, -1))
    assert struct.pack("<q", 0) == packing.pack((None,) * 4)
    assert struct.pack("<2q", 2, 5) == packing.pack((None, 5, None, None))
    assert expected == packing.pack([7, None, None, -1])


def test_one_mask_has_no_room_for_more() -> None:
    """It is a signed 64-bit integer itself."""
    most = [f"n{number}" for number in range(63)]
    packing = NumberPacking(most)
    assert dict.fromkeys(most, 1) == packing.unpack(packing.pack([1] * 63))
    with pytest.raises(ValueError, match="64 numbers"):
        NumberPacking([*most, "one"])
