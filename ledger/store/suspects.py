"""What a suspect touched at first hand, and the balls of many lots: set queries over the standing views."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ledger.line.lineage import HEIRS
from ledger.line.making_rows import Made
from ledger.line.reading_rows import GaugeSet
from ledger.line.rows import Descent, LotStep
from ledger.line.suspects import Span, Suspect, span_of
from ledger.store.dialect import quoted
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.store.whereabouts import Whereabouts

_LOTS = 50
"""Lots in one question for whole balls."""

_LISTED = 5_000
"""Balls in one question by list."""

_LAST = "\U0010ffff"
"""After every character of a serial, in the order of their bytes."""


class SuspectUnit(NamedTuple):
    """A ball that may be suspected: where it is, and whether it was engraved at the suspect station within its span."""

    unit: str
    lot: str
    place: int | None
    serial: str | None
    where: Whereabouts
    weight_class: int | None = None
    engraved_there: bool = False


class EngravedLot(NamedTuple):
    """How many balls of a lot there are, and how many of them were engraved at a station within a span."""

    lot: str
    balls: int
    there: int


def poured_with(reader: Reader, suspect: Suspect) -> dict[str, list[Made]]:
    """Every row of each lot of which some piece may have been poured in a mould set, or on a line or mixer."""
    name = str(suspect.name)
    columns = ("mould_set",) if suspect.sort == "mould" else ("line", "mixer")
    lots = {row.lot for column in columns for row in reader.rows(Made, column, name)}
    found: dict[str, list[Made]] = {}
    for row in rows_with(reader, Made, "lot", sorted(lots)):
        found.setdefault(row.lot, []).append(row)
    return found


def worked_at(reader: Reader, station: str) -> list[LotStep]:
    """Every step on a whole lot at a station."""
    return reader.rows(LotStep, "station", station)


def engraved_lots(reader: Reader, station: str, span: Span) -> list[EngravedLot]:
    """The lots some of whose balls were engraved at a station within a span. One pass over the balls."""
    there, values = _engraved(station, span)
    rows = reader.transaction.rows(
        f'SELECT "lot", sum(CASE WHEN {there} THEN 1 ELSE 0 END), count(*) FROM "unit" GROUP BY "lot" '
        f"HAVING sum(CASE WHEN {there} THEN 1 ELSE 0 END) > 0 ORDER BY 1",
        (*values, *values),
    )
    return [EngravedLot(lot, int(balls), int(hit)) for lot, hit, balls in rows]


def count_named(reader: Reader, suspect: Suspect) -> dict[str, int]:
    """Of each lot, how many balls a suspect names one by one: by serials, readings of a gauge, or steps at a station.

    Cost: a row or two for each of them; of a gauge an index entry for each use of a set that it was in.
    """
    if suspect.sort == "gauge":
        return _count_read_with(reader, suspect)
    named = _named(suspect)
    if named is None:
        return {}
    text = f'SELECT "lot", count(*) FROM "unit" WHERE "unit" IN ({named[0]}) GROUP BY "lot"'
    return {lot: int(balls) for lot, balls in reader.transaction.rows(text, named[1])}


def _count_read_with(reader: Reader, suspect: Suspect) -> dict[str, int]:
    """Of each lot, how many balls were inspected with a gauge within the span, each once.

    A set is counted in the order of its index; where balls of a lot were read with several sets of the gauge, over all.
    """
    inside, values = _inside("at_ms", span_of(suspect))
    counted = 'SELECT "lot", count(DISTINCT "unit") FROM "gauge_use" WHERE '
    found = Counter[str]()
    twice: set[str] = set()
    for row in reader.rows(GaugeSet, "gauge", str(suspect.name)):
        text = f'{counted} "used" = ? AND {inside} GROUP BY "lot"'
        for lot, balls in reader.transaction.rows(text, (row.used, *values)):
            twice.update({lot} & found.keys())
            found[lot] = int(balls)
    if twice:
        sets, fits = _read_with(suspect)
        dialect = reader.transaction.dialect
        text = f'SELECT "lot", count(DISTINCT "unit") {sets} AND {dialect.any_of(quoted("lot"))} GROUP BY "lot"'
        found.update(dict.fromkeys(twice, 0))
        rows = reader.transaction.rows(text, (*fits, dialect.list_value(sorted(twice))))
        found |= Counter({lot: int(balls) for lot, balls in rows})
    return dict(found)


def named_units(reader: Reader, suspect: Suspect, lots: Sequence[str]) -> set[str]:
    """The balls of some lots that a suspect names one by one. Cost as above."""
    named = _named(suspect)
    if named is None or not lots:
        return set()
    dialect = reader.transaction.dialect
    text = f'SELECT "unit" FROM "unit" WHERE "unit" IN ({named[0]}) AND {dialect.any_of(quoted("lot"))}'
    return {unit for (unit,) in reader.transaction.rows(text, (*named[1], dialect.list_value(lots)))}


def lots_read_with(reader: Reader, suspect: Suspect) -> set[str]:
    """The lots with readings of their own by a gauge within the span. One pass over the readings of lots."""
    inside, values = _inside("at_ms", span_of(suspect))
    rows = reader.transaction.rows(
        f'SELECT DISTINCT "lot" FROM "lot_reading" WHERE "gauge" = ? AND {inside}', (suspect.name, *values)
    )
    return {lot for (lot,) in rows}


def poured_in(reader: Reader, span: Span) -> set[str]:
    """The shell lots whose pour began within a span. What goes on from others, split off or merged, was not poured."""
    inside, values = _inside("began_ms", span)
    rows = reader.transaction.rows(f'SELECT "lot" FROM "lot" WHERE "stage" = \'shell\' AND {inside}', values)
    lots = {lot for (lot,) in rows}
    return lots - {edge.child for edge in rows_with(reader, Descent, "child", sorted(lots)) if edge.part in HEIRS}


def count_by_place(reader: Reader, lots: Sequence[str]) -> Counter[Whereabouts]:
    """How many balls of some lots there are in each state and shipment: answered from one index alone, in its order."""
    of_lots = reader.transaction.dialect.any_of(quoted("lot"))
    found = Counter[Whereabouts]()
    text = f'SELECT "lot", "state", "away", count(*) FROM "unit" WHERE {of_lots} GROUP BY 1, 2, 3'
    for _, state, away, count in reader.transaction.rows_of(text, list(lots)):
        found[state, away] += int(count)
    return found


def balls_per_lot(reader: Reader, lots: Sequence[str]) -> dict[str, int]:
    """How many balls of each of some lots there are."""
    text = f'SELECT "lot", count(*) FROM "unit" WHERE {reader.transaction.dialect.any_of(quoted("lot"))} GROUP BY 1'
    return {lot: int(n) for lot, n in reader.transaction.rows_of(text, list(lots))}


def units_in(reader: Reader, lots: Sequence[str], engraving: tuple[str, Span] | None = None) -> Iterator[SuspectUnit]:
    """Every ball of some lots, in the order of lots and units; ``engraving``: the station and span that are suspected."""
    dialect = reader.transaction.dialect
    there, values = ("1 = 0", ()) if engraving is None else _engraved(*engraving)
    text = (
        f'SELECT "unit", "lot", "place", "serial", "state", "away", "weight_class", '
        f'CASE WHEN {there} THEN 1 ELSE 0 END FROM "unit" '
        f'WHERE {dialect.any_of(quoted("lot"))} ORDER BY "lot", "unit"'
    )
    for start in range(0, len(lots), _LOTS):
        chunk = dialect.list_value(lots[start : start + _LOTS])
        for unit, lot, place, serial, state, away, weight, hit in reader.transaction.rows(text, (*values, chunk)):
            yield SuspectUnit(unit, lot, place, serial, (state, away), weight, bool(hit))


def sent_to(reader: Reader, shipments: Sequence[str]) -> dict[str, tuple[int, str | None]]:
    """Of each shipment when it left, and the registered consignee that it went to, if it is one."""
    text = (
        'SELECT "shipment", min("at_ms"), min("consignee") FROM "shipped" '
        f'WHERE {reader.transaction.dialect.any_of(quoted("shipment"))} GROUP BY "shipment"'
    )
    return {
        shipment: (at_ms, consignee)
        for start in range(0, len(shipments), _LISTED)
        for shipment, at_ms, consignee in reader.transaction.rows_of(text, shipments[start : start + _LISTED])
    }


class AwayBall(NamedTuple):
    """A ball that is away with a consignee, since when, in which shipment."""

    unit: str
    serial: str | None
    lot: str
    shipment: str
    at_ms: int
    purpose: str


_AWAY = (
    'FROM "shipped" s JOIN "unit" u ON u."unit" = s."unit" AND u."away" = s."shipment" '
    'AND u."state" = \'shipped\' WHERE s."back_ms" IS NULL AND s."consignee" '
)


def balls_away(reader: Reader) -> dict[str, int]:
    """How many balls are away with each registered consignee. One pass over what was shipped to them."""
    rows = reader.transaction.rows(f'SELECT s."consignee", count(*) {_AWAY} IS NOT NULL GROUP BY 1')
    return {consignee: int(n) for consignee, n in rows}


def away_with(reader: Reader, consignee: str, limit: int) -> list[AwayBall]:
    """The balls that are away with a consignee, by shipment and unit."""
    columns = 's."unit", u."serial", u."lot", s."shipment", s."at_ms", s."purpose"'
    order = f'ORDER BY s."shipment", s."unit" LIMIT {limit:d}'
    return [AwayBall(*row) for row in reader.transaction.rows(f"SELECT {columns} {_AWAY} = ? {order}", (consignee,))]


def _named(suspect: Suspect) -> tuple[str, tuple[object, ...]] | None:
    """The question for every ball that a suspect names one by one, and its values; None where it names none so."""
    span = span_of(suspect)
    if suspect.sort == "serials":
        return _by_serial(suspect, span)
    if suspect.sort == "gauge":
        text, values = _read_with(suspect)
        return f'SELECT "unit" {text}', values
    if suspect.sort == "station":
        inside, values = _inside("at_ms", span)
        return f'SELECT "unit" FROM "unit_step" WHERE "station" = ? AND {inside}', (suspect.name, *values)
    return None


def _by_serial(suspect: Suspect, span: Span) -> tuple[str, tuple[object, ...]]:
    inside, values = _inside("since_ms", span)
    if isinstance(suspect.serial_prefix, str):
        condition, ends = '"serial" >= ? AND "serial" < ?', (suspect.serial_prefix, suspect.serial_prefix + _LAST)
    else:
        condition = f'"serial" >= ? AND "serial" <= ? AND length("serial") = {len(str(suspect.first_serial))}'
        ends = (str(suspect.first_serial), str(suspect.last_serial))
    return f'SELECT "unit" FROM "serial" WHERE {condition} AND {inside}', (*ends, *values)


def _read_with(suspect: Suspect) -> tuple[str, tuple[object, ...]]:
    """From every standing inspection that used the gauge within the span, whatever stands of its readings now.

    A reading that rework or a later one took the place of counts: by it the ball was let go on, or worked.
    """
    inside, values = _inside("at_ms", span_of(suspect))
    sets = 'SELECT "used" FROM "gauge_set" WHERE "gauge" = ?'
    return f'FROM "gauge_use" WHERE "used" IN ({sets}) AND {inside}', (suspect.name, *values)


def _engraved(station: str, span: Span) -> tuple[str, tuple[object, ...]]:
    inside, values = _inside("engraved_ms", span)
    return f'("engraved_by" = ? AND {inside})', (station, *values)


def _inside(column: str, span: Span) -> tuple[str, tuple[int, ...]]:
    """The condition that an instant lies in a span, both ends inclusive."""
    ends = [(f"{quoted(column)} >= ?", span.from_ms), (f"{quoted(column)} <= ?", span.to_ms)]
    given = [(condition, value) for condition, value in ends if value is not None]
    return " AND ".join(["1 = 1", *(condition for condition, _ in given)]), tuple(value for _, value in given)
