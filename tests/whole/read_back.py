"""A book read back from its entries alone: standing facts as the independent fold of the line's tests wants them."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, NamedTuple

import msgspec

from ledger.book.instant import instant_ms
from ledger.line.balls import BallEngraved, UnitStarted
from ledger.line.fact import Breach, Fact
from ledger.line.record import Record
from ledger.line.submission import open_records
from ledger.store.reader import Reader
from ledger.store.selections import every_row
from ledger.store.view_tables import VIEW_TABLES


class Tables(NamedTuple):
    """The live view rows, by row class and a running number."""

    rows: dict[type[Any], dict[int, Any]]


class ReadBack:
    """What the entries of a store say, with corrections applied, beside the live view rows of the same head."""

    def __init__(self, reader: Reader) -> None:
        """Read everything."""
        self.tables = Tables({row: dict(enumerate(every_row(reader.transaction, row))) for row in VIEW_TABLES})
        self.keys: list[tuple[str, str]] = []
        self._facts: dict[tuple[int, int], Fact] = {}
        openings = _withheld(reader)
        for entry in reader.entries(0, reader.head().size):
            self._read(entry.index, msgspec.json.decode(entry.bytes), openings[entry.index])

    def facts(self) -> list[Fact]:
        """Every standing fact in address order; but a ball is made before anything else is said of it.

        A correction may make an earlier fact speak of a ball that was made after it.
        """
        by_address = [self._facts[place] for place in sorted(self._facts)]
        makers: dict[str, Fact] = {}
        for fact in by_address:
            if isinstance(fact.record, UnitStarted | BallEngraved):
                makers.setdefault(fact.record.unit, fact)
        ordered: dict[str, Fact] = {}
        for fact in by_address:
            named: Any = fact.record
            for unit in (getattr(named, "unit", None), *getattr(named, "units", ())):
                if unit in makers:
                    ordered.setdefault(makers[unit].address, makers[unit])
            ordered.setdefault(fact.address, fact)
        return list(ordered.values())

    def _read(self, index: int, entry: Any, openings: dict[str, object]) -> None:
        self.keys.append((entry["author"], entry["said"]["key"]))
        recorded_ms = instant_ms(entry["recorded_at"])
        for position, record in enumerate(open_records(entry["said"], openings)):
            own = [breach for breach in entry["breaches"] if breach["record"] == position]
            changes: Any = getattr(record, "changes", ())
            if not changes:
                self._facts[index, position] = Fact(
                    index, position, record, entry["author"], recorded_ms, _breaches(own), ""
                )
                continue
            # The correction speaks too: what it breaks without being of one change is a breach of its own.
            self._facts[index, position] = Fact(
                index, position, record, entry["author"], recorded_ms, _breaches(own), ""
            )
            for number, change in enumerate(changes):
                place: Any = tuple(map(int, change.fact.split(".")))
                old = self._facts.pop(place)
                if isinstance(change.replacement, Record):
                    of_change = _breaches([breach for breach in own if breach.get("change") == number])
                    body = f"{index}.{position}.{number}"
                    self._facts[place] = msgspec.structs.replace(
                        old, record=change.replacement, breaches=of_change, body=body
                    )


def _withheld(reader: Reader) -> defaultdict[int, dict[str, object]]:
    found: defaultdict[int, dict[str, object]] = defaultdict(dict)
    for index, path, value in reader.transaction.rows(
        'SELECT "index", "path", "value" FROM "opening" WHERE "sealing" = \'withheld\''
    ):
        found[index][path] = msgspec.json.decode(value)
    return found


def _breaches(found: list[dict[str, Any]]) -> tuple[Breach, ...]:
    return tuple(
        msgspec.convert({name: value for name, value in breach.items() if name != "record"}, Breach) for breach in found
    )
