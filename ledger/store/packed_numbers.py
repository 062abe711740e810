"""The whole numbers of a row in one value: what costs in reading many rows is the number of cells, each an object.

Little-endian 64-bit integers: first a mask, whose bit *i* says that the row has the *i*-th of its numbers, then those that
it has, in their order.  Rows of one mask are read as columns at once.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import lru_cache
from operator import itemgetter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

    Whole = np.ndarray[Any, np.dtype[np.int64]]

EMPTY = -(2**62)
"""Stands in a column where a row holds nothing."""

_MOST = 63
"""Numbers that a row may have: the mask is a signed integer itself."""


class _Shape:
    """How rows are packed that have the same numbers."""

    __slots__ = ("form", "mask", "missing", "pick")

    def __init__(self, places: Sequence[int], of: int) -> None:
        self.mask = sum(1 << place for place in places)
        self.missing = of - len(places)
        self.form = struct.Struct(f"<{1 + len(places)}q")
        self.pick: Callable[[Sequence[Any]], tuple[Any, ...]] = (
            itemgetter(*places) if len(places) > 1 else lambda numbers: tuple(numbers[place] for place in places)
        )


class NumberPacking:
    """How rows with some numbers, each of which may be missing, are packed."""

    def __init__(self, names: Sequence[str]) -> None:
        """``names`` in the order of the bits; to change it is to change every row."""
        if len(names) > _MOST:
            message = f"unreachable: {len(names)} numbers in one value"
            raise ValueError(message)
        self.names = tuple(names)
        self._shape = _Shape((), len(names))
        self._named = lru_cache(maxsize=4096)(self._names_of)

    def pack(self, numbers: Sequence[int | None]) -> bytes:
        """One value of a row's numbers, in the order of the names."""
        shape = self._shape
        picked = shape.pick(numbers)
        # A station reads the same quantities all day: the last row's shape mostly fits.
        if numbers.count(None) != shape.missing or None in picked:
            places = [place for place, number in enumerate(numbers) if number is not None]
            shape = self._shape = _Shape(places, len(numbers))
            picked = shape.pick(numbers)
        return shape.form.pack(shape.mask, *picked)

    def unpack(self, packed: bytes) -> dict[str, int]:
        """The numbers that a row has, by name."""
        mask, *numbers = struct.unpack(f"<{len(packed) // 8}q", packed)
        return dict(zip(self._named(mask), numbers, strict=True))

    def columns(self, packed: Sequence[bytes], wanted: Collection[str]) -> Mapping[str, Whole]:
        """The wanted numbers of many rows, as columns with ``EMPTY`` in them; one that no row has is left out."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        cells = np.frombuffer(b"".join(packed), dtype="<i8")
        if len(set(map(len, packed))) == 1:
            table = cells.reshape(len(packed), -1)
            mask = int(table[0, 0])
            if (table[:, 0] == mask).all():
                # Column by column: a large array is new memory each time, which costs more than its numbers.
                return {name: table[:, at].copy() for at, name in enumerate(self._named(mask), 1) if name in wanted}
        return self._mixed(cells, packed, wanted)

    def _mixed(self, cells: Whole, packed: Sequence[bytes], wanted: Collection[str]) -> Mapping[str, Whole]:
        """`columns` of rows of several masks."""
        import numpy as np  # noqa: PLC0415  # see `columns`

        lengths = np.fromiter(map(len, packed), np.int64, len(packed)) // 8
        starts = np.cumsum(lengths) - lengths
        masks = cells[starts]
        found: dict[str, Whole] = {}
        for mask in np.unique(masks).tolist():
            rows = np.nonzero(masks == mask)[0]
            for place, name in enumerate(self._named(mask), 1):
                if name in wanted:
                    column = found.get(name)
                    if column is None:
                        column = found[name] = np.full(len(packed), EMPTY, dtype=np.int64)
                    column[rows] = cells[starts[rows] + place]
        return found

    def _names_of(self, mask: int) -> tuple[str, ...]:
        return tuple(name for place, name in enumerate(self.names) if mask >> place & 1)
