"""Which files a dossier holds, in which order: read from their names, before any of them is opened."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from ledger.errors import MalformedDossier
from ledger.evidence.dossier_format import CHECKPOINT, KEYS, MANIFEST, README, SIGNATURE, SUMS

_RULEBOOK = re.compile(r"rulebooks/([0-9a-f]{64})\.toml", re.ASCII)
_ENTRY = re.compile(r"entries/(0|[1-9][0-9]{0,15})\.json", re.ASCII)
_BALL = re.compile(r"balls/([A-Z0-9][A-Z0-9._-]{0,39})\.json", re.ASCII)


@dataclass(frozen=True, slots=True)
class Layout:
    """Digests of the rulebooks, indexes of the entries and ids of the units, each ascending."""

    rulebooks: tuple[str, ...]
    indexes: tuple[int, ...]
    units: tuple[str, ...]


def parse_layout(names: Sequence[str]) -> Layout:
    """The layout that the names have. Raises MalformedDossier naming the first file that is missing or has no place."""
    reader = _Names(names)
    for name in (README, CHECKPOINT, KEYS):
        reader.take(name)
    rulebooks = reader.take_all(_RULEBOOK)
    indexes: list[int] = []
    while (match := reader.matching(_ENTRY)) is not None:
        index = int(match[1])
        if indexes and index <= indexes[-1]:
            raise MalformedDossier("entries are not in ascending order", where=match[0])
        indexes.append(index)
        reader.take(match[0])
        reader.take(f"receipts/{index}.tlog-proof")
        if reader.next_name() == f"openings/{index}.jsonl":
            reader.take(f"openings/{index}.jsonl")
    units = reader.take_all(_BALL)
    for name in (SUMS, MANIFEST, SIGNATURE):
        reader.take(name)
    if reader.next_name():
        raise MalformedDossier("file has no place in a dossier", where=reader.next_name())
    return Layout(rulebooks, tuple(indexes), units)


class _Names:
    """The names in order, and how far they are read."""

    def __init__(self, names: Sequence[str]) -> None:
        self._names = names
        self._at = 0

    def next_name(self) -> str:
        return self._names[self._at] if self._at < len(self._names) else ""

    def take(self, name: str) -> None:
        if self.next_name() != name:
            found = self.next_name() or "the end"
            raise MalformedDossier("files are not those of a dossier", expected=name, got=found, where=found)
        self._at += 1

    def matching(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        return pattern.fullmatch(self.next_name())

    def take_all(self, pattern: re.Pattern[str]) -> tuple[str, ...]:
        found: list[str] = []
        while (match := self.matching(pattern)) is not None:
            if found and match[1] <= found[-1]:
                raise MalformedDossier("files are not in ascending order", where=match[0])
            found.append(match[1])
            self.take(match[0])
        return tuple(found)
