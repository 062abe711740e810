"""The facts that events are told from: found in entries that are taken one after another, and read again when needed.

Which entries are at hand decides which events there are, for who writes a dossier and for who checks it alike, so both go
through here.  Of each entry only the addresses of its facts are kept, eight bytes each.

A fact may have several bodies: as it was said, and as each correction states it.  A sealed field has its value where the
entry's opening is told; where it is not, nothing is made of it.
"""

from __future__ import annotations

from array import array
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET

from ledger.book.canonical import MAX_INTEGER
from ledger.book.entry import read_entry
from ledger.errors import DossierRejected, LedgerError, MalformedDossier
from ledger.evidence.proved_entry import ProvedEntry
from ledger.line.balls import BallEngraved, BallEngravedAnew, UnitStarted, UnitWorked
from ledger.line.corrections import Correction
from ledger.line.cure_temperatures import TemperatureLogged
from ledger.line.fact import parse_address
from ledger.line.holds import Concession, HoldLifted, HoldPlaced
from ledger.line.inspections import Inspection
from ledger.line.lot_changes import LotChanged, LotRecounted, LotsMerged, LotSplit, LotWorked, PiecesLost
from ledger.line.materials import BatchMixed, MaterialReceived
from ledger.line.moulding import BlocksMoulded, CoresPoured, Pour, ShellsPoured, pour_draws
from ledger.line.record import Record, sealed_places
from ledger.line.releases import Regrade, Release, Rework, Scrap
from ledger.line.shipments import Restocked, Returned, Shipment
from ledger.line.submission import record_type_of

EVENTFUL: frozenset[type[Record]] = frozenset(
    {
        *(MaterialReceived, BatchMixed, BlocksMoulded, CoresPoured, ShellsPoured, LotSplit, LotsMerged),
        *(LotWorked, LotChanged, PiecesLost, LotRecounted, TemperatureLogged),
        *(UnitStarted, UnitWorked, BallEngraved, BallEngravedAnew, Inspection, Release, Regrade, Rework, Scrap),
        *(Shipment, Returned, Restocked, HoldPlaced, HoldLifted, Concession),
    }
)
"""The kinds of record that events are made of."""

_RECORDS = 1024
"""More than an entry has records: an address is kept as ``index * 1024 + position``."""

_KEPT_FACTS = 100
"""Facts whose bodies are kept: the events of one ball ask for each several times."""

_LONGEST = 40
"""Characters of an address; an index is at most 2^53 - 1, so what is kept is less than 2^64."""


class HoldingBreach(NamedTuple):
    """A breach that holds a node; ``hold`` is the id of the hold that it opened."""

    hold: str
    node: str
    code: str


class SaidFact(NamedTuple):
    """One body of a fact. ``where``: the address at which it was said; ``record``: None where it was withdrawn there.

    ``stands``: it is the last one. ``told``: the paths of the record's withheld fields whose values may be told.
    """

    fact: str
    where: str
    record: Any
    stands: bool
    recorded_at: str
    told: frozenset[str]
    breaches: tuple[HoldingBreach, ...]

    def opened(self, path: str, value: Any) -> Any:
        """The value of a withheld field if it may be told, else nothing."""
        return value if path in self.told else UNSET


class ToldEntry(NamedTuple):
    """An entry with its records, of which withheld fields have their values where those are in ``told``, by path."""

    entry: ProvedEntry
    records: Sequence[Record]
    told: frozenset[str]


def told_entry(raw: bytes, openings: Mapping[str, object], where: str = "entry") -> ToldEntry:
    """Read a proved entry; ``openings``: value by path of what is opened. Erasable fields are left out in any case.

    Raises MalformedDossier for records that fit no kind.
    """
    entry = read_entry(raw)
    records, told = [], set()
    for position, body in enumerate(entry.said.records):
        try:
            record_type = record_type_of(body, position)
            for place in list(sealed_places(record_type, body)):
                path = f"{position}/{place.path}"
                if place.sealing == "erasable":
                    del place.holder[place.key]
                    continue
                place.holder[place.key] = openings.get(path, "0")
                if path in openings:
                    told.add(path)
            records.append(msgspec.convert(body, record_type))
        except (LedgerError, msgspec.ValidationError, LookupError, TypeError, AttributeError) as error:
            raise MalformedDossier("record does not fit its kind", got=str(error), where=where) from error
    return ToldEntry(entry, tuple(records), frozenset(told))


class EventFacts:
    """Takes entries in ascending order, then gives the facts about a node and the bodies of a fact.

    ``is_wanted(unit)``: whether events are made about that ball. ``read(index)`` gives an entry again, with what of it may
    be told. ``uses``: whether it is to know too what each lot went into.
    """

    def __init__(
        self, is_wanted: Callable[[str], bool], read: Callable[[int], ToldEntry], *, uses: bool = False
    ) -> None:
        """Start without entries."""
        self._is_wanted = is_wanted
        self._read = read
        self._with_uses = uses
        self._facts: defaultdict[str, array[int]] = defaultdict(_addresses)
        self._uses: defaultdict[str, array[int]] = defaultdict(_addresses)
        self._corrections: defaultdict[str, list[str]] = defaultdict(list)
        self._holds: dict[str, str] = {}
        self._kept: dict[str, list[SaidFact]] = {}

    def take(self, entry: ProvedEntry, records: Sequence[Record]) -> None:
        """Take the next entry; of its records no sealed field is looked at."""
        self._kept.clear()
        for position, record in enumerate(records):
            address = f"{entry.index}.{position}"
            if isinstance(record, Correction):
                for place, change in enumerate(record.changes):
                    self._corrections[change.fact].append(f"{address}.{place}")
                    if isinstance(change.replacement, Record):
                        self._hear(change.replacement, change.fact)
            else:
                self._hear(record, address)
            for fact, breaches in _breaches(entry, position, record):
                for breach in breaches:
                    self._holds[breach.hold] = breach.node
                    self._note(self._facts, breach.node, fact)

    def _hear(self, record: Record, address: str) -> None:
        if isinstance(record, HoldPlaced) and record.node is not UNSET:
            self._holds[record.hold] = record.node
        for node in self.subjects(record):
            self._note(self._facts, node, address)
        if self._with_uses:
            for lot in lots_used(record):
                self._note(self._uses, f"lot:{lot}", address)

    def _note(self, facts: defaultdict[str, array[int]], node: str, address: str) -> None:
        sort, _, name = node.partition(":")
        # A correction may name any address; one beyond those of any book is of no entry at hand.
        if len(address) > _LONGEST or not (sort == "lot" or (sort == "unit" and self._is_wanted(name))):
            return
        index, position = parse_address(address)
        if index <= MAX_INTEGER:
            facts[node].append(index * _RECORDS + min(position, _RECORDS - 1))

    def subjects(self, record: Record) -> list[str]:
        """The nodes that events of a record are about; none where it makes no event."""
        if type(record) not in EVENTFUL:
            return []
        if isinstance(record, HoldLifted):
            node = self._holds.get(record.hold)
            return [] if node is None else [node]
        return _subjects(record)

    def facts_of(self, node: str) -> list[str]:
        """The addresses of the facts that events about a node are made of, ascending."""
        return _in_order(self._facts.get(node, ()))

    def uses_of(self, lot: str) -> list[str]:
        """The addresses of the facts by which something was made of a lot, ascending."""
        return _in_order(self._uses.get(f"lot:{lot}", ()))

    def bodies(self, fact: str) -> list[SaidFact]:
        """Every body of a fact: as said, then as each correction that is at hand states it.

        Raises DossierRejected for a fact that is in no entry at hand.
        """
        found = self._kept.get(fact)
        if found is None:
            if len(self._kept) >= _KEPT_FACTS:
                self._kept.clear()
            found = self._kept[fact] = self._read_bodies(fact)
        return found

    def is_said_once(self, fact: str) -> bool:
        """Whether a fact has one body: no correction at hand states it otherwise."""
        return fact not in self._corrections

    def _read_bodies(self, fact: str) -> list[SaidFact]:
        index, position = parse_address(fact)
        entry = self._read(index)
        if position >= len(entry.records):
            raise DossierRejected("entry has no such record", got=fact, where=f"entry {index}")
        if fact not in self._corrections and not entry.told and not entry.entry.breaches:
            said, recorded_at = entry.records[position], entry.entry.recorded_at
            return [SaidFact(fact, fact, said, True, recorded_at, entry.told, ())]  # a field of a tuple
        bodies = [_body(fact, fact, entry, entry.records[position], f"{position}/")]
        for where in self._corrections.get(fact, ()):
            correction, record, place = (int(part) for part in where.split("."))
            entry = self._read(correction)
            changes = entry.records[record].changes  # type: ignore[attr-defined]  # taken as a correction
            path = f"{record}/changes/{place}/replacement/"
            bodies.append(_body(fact, where, entry, changes[place].replacement, path))
        return [*bodies[:-1], bodies[-1]._replace(stands=True)]


def _addresses() -> array[int]:
    return array("Q")


def _in_order(packed: Iterable[int]) -> list[str]:
    return [f"{one // _RECORDS}.{one % _RECORDS}" for one in sorted(set(packed))]


def _subjects(record: Any) -> list[str]:
    if isinstance(record, HoldPlaced | Concession):
        return [] if record.node is UNSET else [record.node]
    if isinstance(record, Shipment):
        return [f"unit:{unit}" for unit in record.units]
    if isinstance(record, BatchMixed):
        return [f"lot:{record.batch}"]
    if isinstance(record, LotSplit | LotsMerged):
        return [f"lot:{record.into}"]
    unit = getattr(record, "unit", UNSET)
    return [f"lot:{record.lot}"] if unit is UNSET else [f"unit:{unit}"]


def lots_used(record: Record) -> list[str]:
    """The lots that a record took something from to make another lot, or a ball."""
    if isinstance(record, Pour):
        return [draw.parent for draw in pour_draws(record)]
    if isinstance(record, BatchMixed):
        return [draw.lot for draw in record.draws]
    if isinstance(record, MaterialReceived):
        return [] if record.from_lots is UNSET else [own.lot for own in record.from_lots]
    if isinstance(record, LotsMerged):
        return [part.lot for part in record.lots]
    return [record.lot] if isinstance(record, LotSplit | BallEngraved) else []


def _breaches(entry: ProvedEntry, position: int, record: Record) -> Iterator[tuple[str, tuple[HoldingBreach, ...]]]:
    """The breaches that hold something, of one record of an entry, by the fact that they belong to."""
    if not entry.breaches:
        return
    address = f"{entry.index}.{position}"
    yield address, holding_breaches(entry, position)
    for place, change in enumerate(record.changes if isinstance(record, Correction) else ()):
        yield change.fact, holding_breaches(entry, position, place)


def holding_breaches(entry: ProvedEntry, position: int, change: int | None = None) -> tuple[HoldingBreach, ...]:
    """The breaches of a record, or of a change in a correction, that hold something, as the book names their holds."""
    where = f"{entry.index}.{position}" + ("" if change is None else f".{change}")
    own = [one for one in entry.breaches if one.get("record") == position and one.get("change") == change]
    return tuple(
        HoldingBreach(f"B{where}.{number}", str(one.get("node")), str(one.get("code")))
        for number, one in enumerate(own)
        if one.get("holds", True)
    )


def _body(fact: str, where: str, entry: ToldEntry, record: object, path: str) -> SaidFact:
    _, position, *change = (int(part) for part in where.split("."))
    return SaidFact(
        fact=fact,
        where=where,
        record=record if isinstance(record, Record) else None,
        stands=False,
        recorded_at=entry.entry.recorded_at,
        told=frozenset(one.removeprefix(path) for one in entry.told if one.startswith(path)),
        breaches=holding_breaches(entry.entry, position, change[0] if change else None),
    )
