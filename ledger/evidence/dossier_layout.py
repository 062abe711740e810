"""Which files a dossier holds, in which order: read from their names, before any of them is opened."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ledger.errors import MalformedDossier
from ledger.evidence.dossier_format import (
    APPROVAL,
    CHECKPOINT,
    DID,
    KEYS,
    MANIFEST,
    README,
    REPORT,
    SIGNATURE,
    SUMS,
    VERDICTS,
    VERIFY_PAGE,
    VERIFY_TEXT,
    Counts,
)

_ID = "[A-Z0-9][A-Z0-9._-]{0,39}"
_TOKEN = re.compile(r"tokens/([a-z0-9][a-z0-9-]{0,39})\.tsr", re.ASCII)
_RULEBOOK = re.compile(r"rulebooks/([0-9a-f]{64})\.toml", re.ASCII)
_CHECKLIST = re.compile(r"checklists/([0-9a-f]{64})\.toml", re.ASCII)
_ENTRY = re.compile(r"entries/(0|[1-9][0-9]{0,15})\.json", re.ASCII)
_LOT = re.compile(rf"lots/({_ID})\.json", re.ASCII)
_BALL = re.compile(rf"balls/({_ID})\.json", re.ASCII)
_EVENTS = re.compile(rf"events/({_ID})\.jsonld", re.ASCII)
_CREDENTIAL = re.compile(rf"credentials/({_ID})\.json", re.ASCII)
_DOCUMENT = re.compile(r"documents/([0-9a-f]{64})", re.ASCII)


@dataclass(frozen=True, slots=True)
class Layout:
    """What the names say: names of tokens, digests, indexes of entries, ids of lots and units, each ascending.

    ``events`` and ``credentials`` are the units that have such a file.
    """

    tokens: tuple[str, ...]
    did: bool
    rulebooks: tuple[str, ...]
    checklists: tuple[str, ...]
    indexes: tuple[int, ...]
    lots: tuple[str, ...]
    units: tuple[str, ...]
    events: tuple[str, ...]
    credentials: tuple[str, ...]
    approval: bool
    documents: tuple[str, ...]
    verdicts: bool
    report: bool

    def counts(self, outcomes: Mapping[str, int]) -> Counts:
        """What the manifest must count, given how many sealed fields are opened, withheld and erased."""
        counter = LayoutCounter()
        for sort in ("tokens", "rulebooks", "checklists", "lots", "events", "credentials", "documents"):
            counter.add(sort, len(getattr(self, sort)))
        for sort in ("did", "approval", "verdicts", "report"):
            counter.add(sort, int(getattr(self, sort)))
        counter.add("entries", len(self.indexes))
        counter.add("balls", len(self.units))
        for outcome, number in outcomes.items():
            counter.add(outcome, number)
        return counter.counts()


class LayoutCounter:
    """Counts files and sealed fields by the names of `Counts`."""

    def __init__(self) -> None:
        """Start at nothing."""
        self._numbers = dict.fromkeys(Counts.__struct_fields__, 0)

    def add(self, sort: str, number: int = 1) -> None:
        """Count one more, or ``number`` more."""
        self._numbers[sort] += number

    def counts(self) -> Counts:
        """What was counted."""
        return Counts(**self._numbers)


def parse_layout(names: Sequence[str]) -> Layout:
    """The layout that the names have. Raises MalformedDossier naming the first file that is missing or has no place."""
    reader = _Names(names)
    for name in (README, VERIFY_TEXT, VERIFY_PAGE, CHECKPOINT):
        reader.take(name)
    tokens = reader.take_all(_TOKEN)
    reader.take(KEYS)
    layout = Layout(
        tokens=tokens,
        did=reader.take_if(DID),
        rulebooks=reader.take_all(_RULEBOOK),
        checklists=reader.take_all(_CHECKLIST),
        indexes=_take_entries(reader),
        lots=reader.take_all(_LOT),
        units=(units := reader.take_all(_BALL)),
        events=_once(units, reader.take_all(_EVENTS)),
        credentials=_once(units, reader.take_all(_CREDENTIAL)),
        approval=reader.take_if(APPROVAL),
        documents=reader.take_all(_DOCUMENT),
        verdicts=reader.take_if(VERDICTS),
        report=reader.take_if(REPORT),
    )
    for name in (SUMS, MANIFEST, SIGNATURE):
        reader.take(name)
    if reader.next_name():
        raise MalformedDossier("file has no place in a dossier", where=reader.next_name())
    return layout


def _once(units: tuple[str, ...], others: tuple[str, ...]) -> tuple[str, ...]:
    """The other names; as the one tuple of the balls where they are the same, since a dossier may have very many."""
    return units if others == units else others


def _take_entries(reader: _Names) -> tuple[int, ...]:
    indexes: list[int] = []
    while (match := reader.matching(_ENTRY)) is not None:
        index = int(match[1])
        if indexes and index <= indexes[-1]:
            raise MalformedDossier("entries are not in ascending order", where=match[0])
        indexes.append(index)
        reader.take(match[0])
        reader.take(f"receipts/{index}.tlog-proof")
        reader.take_if(f"openings/{index}.jsonl")
    return tuple(indexes)


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

    def take_if(self, name: str) -> bool:
        """Whether that file comes next; it is taken then."""
        if self.next_name() != name:
            return False
        self._at += 1
        return True

    def matching(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        return pattern.fullmatch(self.next_name())

    def take_all(self, pattern: re.Pattern[str]) -> tuple[str, ...]:
        found: list[str] = []
        while (match := self.matching(pattern)) is not None:
            if found and match[1] <= found[-1]:
                raise MalformedDossier("files are not in ascending order", where=match[0])
            found.append(match[1])
            self._at += 1
        return tuple(found)
