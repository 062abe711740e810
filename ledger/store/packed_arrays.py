"""Columns of values as PostgreSQL's binary arrays: one parameter a column, whatever the number of rows.

The driver makes an array of a list value by value, in Python; here whole numbers become one `struct` and texts one join.
The form is that of ``array_recv`` (PostgreSQL, src/backend/utils/adt/arrayfuncs.c), all of it in network order: the
number of dimensions, whether an element is null, the type of the elements by its OID, for the one dimension its length
and first index, then of each element its length, -1 for null, and its bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import chain
from struct import Struct, pack
from typing import Any, NamedTuple

from psycopg import Connection
from psycopg.adapt import Dumper
from psycopg.pq import Format

_NULL = b"\xff\xff\xff\xff"
_length = Struct("!i").pack
_number = Struct("!iq").pack


class _Packed(bytes):
    """An array in binary form; each type of element has a class of its own, by which the driver names the type."""

    __slots__ = ()


class _Numbers(_Packed):
    __slots__ = ()


class _Texts(_Packed):
    __slots__ = ()


class _Truths(_Packed):
    __slots__ = ()


class _Octets(_Packed):
    __slots__ = ()


def _numbers(column: Sequence[Any]) -> bytes:
    if None in column:
        return b"".join([_NULL if value is None else _number(8, value) for value in column])
    return pack("!" + "iq" * len(column), *chain.from_iterable([(8, value) for value in column]))


def _texts(column: Sequence[Any]) -> bytes:
    return _octets([None if value is None else value.encode() for value in column])


def _truths(column: Sequence[Any]) -> bytes:
    return _octets([None if value is None else (b"\x01" if value else b"\x00") for value in column])


def _octets(column: Sequence[Any]) -> bytes:
    return b"".join([_NULL if value is None else _length(len(value)) + value for value in column])


class ArrayKind(NamedTuple):
    """One type of element: its name in SQL and its OID, that of its arrays (src/include/catalog/pg_type.dat), and how
    elements are written.
    """

    name: str
    oid: int
    array_oid: int
    packed: type[_Packed]
    elements: Callable[[Sequence[Any]], bytes]


KINDS: dict[type, ArrayKind] = {
    int: ArrayKind("int8", 20, 1016, _Numbers, _numbers),
    str: ArrayKind("text", 25, 1009, _Texts, _texts),
    bool: ArrayKind("bool", 16, 1000, _Truths, _truths),
    bytes: ArrayKind("bytea", 17, 1001, _Octets, _octets),
}
"""By the type of the values in Python: the four that this package's tables are made of."""


def pack_array(kind: ArrayKind, values: Sequence[Any]) -> bytes:
    """The values, None among them, as one parameter. Raises struct.error for a number of more than 64 bits."""
    head = pack("!iiiii", 1, None in values, kind.oid, len(values), 1) if values else pack("!iii", 0, 0, kind.oid)
    return kind.packed(head + kind.elements(values))


def pack_list(values: Sequence[Any]) -> Any:
    """A list of texts or of whole numbers as one parameter."""
    types = set(map(type, values))
    if types == {str}:
        return pack_array(KINDS[str], values)
    if types == {int} and max(map(int.bit_length, values)) < 64:
        return pack_array(KINDS[int], values)
    return list(values)


def register_arrays(connection: Connection[Any]) -> None:
    """Have a connection send packed arrays as what they are."""
    for kind in KINDS.values():
        connection.adapters.register_dumper(kind.packed, _dumper_of(kind))


def _dumper_of(kind: ArrayKind) -> type[Dumper]:
    class Sent(Dumper):
        format = Format.BINARY
        oid = kind.array_oid

        def dump(self, obj: Any) -> Any:
            return obj

    return Sent
