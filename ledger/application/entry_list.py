"""The entries of the book as a list, newest first, a page at a time; all, or those of a kind, about a lot or a ball."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

import msgspec

from ledger.application.numbers import serial_rows
from ledger.line.refold import ONCE
from ledger.store.entry_search import RARE, indexes_about, indexes_of_rare_kind, names_of, newest_entries, these_entries
from ledger.store.reader import Reader

PAGE = 50
"""Entries on a page."""

LOOKED_THROUGH = 2_000
"""Entries looked through at most for a page of a frequent kind."""

Stored = tuple[int, bytes, int]


class Wanted(NamedTuple):
    """Which entries: of a kind, about a lot, about a ball (its unit id or a number of it); empty text asks nothing.

    ``below``: only entries before this index; None from the newest on.
    """

    kind: str = ""
    lot: str = ""
    ball: str = ""
    below: int | None = None


class EntryLine(msgspec.Struct, frozen=True, kw_only=True):
    """One entry. ``name`` is its author's, None once erased; ``kinds`` what was said, with how often; breaches counted."""

    index: int
    recorded_ms: int
    author: str
    name: str | None
    kinds: tuple[tuple[str, int], ...]
    breaches: int


class EntryPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page. ``size`` is that of the book; ``older`` the index to ask below for the next page, None at the end.

    ``through``: of a frequent kind, the first entry that was looked through; what is older was not.
    """

    size: int
    lines: tuple[EntryLine, ...]
    older: int | None
    through: int | None = None


class _Kind(msgspec.Struct, frozen=True):
    kind: str


class _Said(msgspec.Struct, frozen=True):
    records: tuple[_Kind, ...]


class _Outline(msgspec.Struct, frozen=True):
    author: str
    said: _Said
    breaches: tuple[Any, ...]


_outline = msgspec.json.Decoder(_Outline).decode


def entry_page(reader: Reader, wanted: Wanted, *, rare: int = RARE, looked: int = LOOKED_THROUGH) -> EntryPage:
    """A page of entries. A few queries by index, whatever the size of the book.

    ``rare`` and ``looked`` bound what is read for a kind: facts by the index of kinds, else the newest entries.
    """
    size = reader.head().size
    below = size if wanted.below is None else min(wanted.below, size)
    nodes = _nodes(reader, wanted)
    if nodes is not None:
        indexes = indexes_about(reader.transaction, nodes, below, PAGE + 1, kind=wanted.kind)
        return _page(reader, size, these_entries(reader.transaction, indexes))
    if not wanted.kind:
        return _page(reader, size, newest_entries(reader.transaction, below, PAGE + 1))
    of_kind = indexes_of_rare_kind(reader.transaction, wanted.kind, rare)
    if of_kind is not None:
        indexes = [index for index in of_kind if index < below][: PAGE + 1]
        return _page(reader, size, these_entries(reader.transaction, indexes))
    return _looked_through(reader, size, wanted._replace(below=below), looked)


def _nodes(reader: Reader, wanted: Wanted) -> list[str] | None:
    """The nodes asked about, None for no question; what was about one before a correction is found too."""
    named = [f"lot:{wanted.lot}"] if wanted.lot else []
    if wanted.ball:
        units = {row.unit for row in serial_rows(reader, wanted.ball)} or {wanted.ball}
        named += [f"unit:{unit}" for unit in sorted(units)]
    return [*named, *(f"{ONCE}{node}" for node in named)] if named else None


def _looked_through(reader: Reader, size: int, wanted: Wanted, looked: int) -> EntryPage:
    """The entries of a frequent kind among the newest, as far as is looked."""
    newest = newest_entries(reader.transaction, wanted.below or 0, looked)
    found = [entry for entry in newest if _says(entry[1], wanted.kind)]
    if len(found) > PAGE or len(newest) < looked:
        return _page(reader, size, found[: PAGE + 1])
    first = newest[-1][0]
    return EntryPage(size=size, lines=tuple(_lines(reader, found)), older=first, through=first)


def _says(raw: bytes, kind: str) -> bool:
    return f'"kind":"{kind}"'.encode() in raw and any(record.kind == kind for record in _outline(raw).said.records)


def _page(reader: Reader, size: int, found: list[Stored]) -> EntryPage:
    """The first page of what was found, one more than a page where there are older ones."""
    shown = found[:PAGE]
    older = shown[-1][0] if len(found) > PAGE else None
    return EntryPage(size=size, lines=tuple(_lines(reader, shown)), older=older)


def _lines(reader: Reader, entries: Iterable[Stored]) -> Iterator[EntryLine]:
    outlines = [(index, recorded_ms, _outline(raw)) for index, raw, recorded_ms in entries]
    names = names_of(reader.transaction, {outline.author for _, _, outline in outlines})
    for index, recorded_ms, outline in outlines:
        kinds = Counter(record.kind for record in outline.said.records)
        yield EntryLine(
            index=index,
            recorded_ms=recorded_ms,
            author=outline.author,
            name=names.get(outline.author, outline.author),
            kinds=tuple(kinds.items()),
            breaches=len(outline.breaches),
        )
