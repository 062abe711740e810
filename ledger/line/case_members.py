"""Whether a suspect touches one ball, by the rows above it: for the checks of what is said of single balls.

For all the balls of a suspect at once, see `ledger.store.suspects`; the tests hold the two against each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import UNSET

from ledger.line.balls import unit_needs
from ledger.line.lineage import HEIRS, is_lineage_loaded, lots_over
from ledger.line.making_rows import Made, UnitStep
from ledger.line.makings import makings_of
from ledger.line.reading_rows import GaugeSet, GaugeUse, LotReading
from ledger.line.rows import Descent, Lot, LotStep, Row, SerialRow, Unit
from ledger.line.state import Need, State
from ledger.line.suspects import STAGE_OF, Span, Suspect, span_of


def member_needs(suspect: Suspect, unit: str, state: State) -> Iterator[Need]:
    """What `touches` reads."""
    if suspect.sort == "serials":
        yield Need(SerialRow, "unit", unit)
        return
    yield from unit_needs(unit, state)
    row = state.one(Unit, unit) if state.has(Need(Unit, "unit", unit)) else None
    if row is None or not is_lineage_loaded(state, row.lot):
        return
    for lot in lots_over(state, row):
        yield from (Need(rows, "lot", lot) for rows in _OF_LOTS.get(suspect.sort, ()))
    if suspect.sort == "station":
        yield Need(UnitStep, "unit", unit)
    if suspect.sort == "gauge":
        yield Need(GaugeUse, "unit", unit)
        yield Need(GaugeSet, "gauge", str(suspect.name))


_OF_LOTS: dict[str, tuple[type[Row], ...]] = {"mould": (Made,), "station": (Made, LotStep), "gauge": (LotReading,)}
"""The rows of each lot above a ball that tell of a suspect."""


def touches(suspect: Suspect, unit: str, state: State) -> bool:
    """Whether the ball is, or may be, below the suspect."""
    if suspect.sort == "serials":
        return any(fits_serial(suspect, row) for row in state.where(SerialRow, "unit", unit))
    row = state.one(Unit, unit)
    if row is None:
        return False
    lots = lots_over(state, row)
    if suspect.sort in STAGE_OF:
        return suspect.name in lots
    if suspect.sort == "week":
        return any(_poured_in(span_of(suspect), lot, state) for lot in lots)
    if suspect.sort == "gauge":
        return _read(suspect, unit, lots, state)
    if any(_poured(suspect, row, lot, state) for lot in lots):
        return True
    span = span_of(suspect)
    at_station = suspect.sort == "station"
    return at_station and (
        any(_passed(suspect, span, lot, state) for lot in lots) or _worked(suspect, span, row, state)
    )


def fits_serial(suspect: Suspect, row: SerialRow) -> bool:
    """Whether a number that a ball bears or bore is one of those suspected, engraved within the span."""
    span = span_of(suspect)
    if not span.touches(row.since_ms, row.since_ms):
        return False
    if suspect.serial_prefix is not UNSET:
        return row.serial.startswith(suspect.serial_prefix)
    first, last = str(suspect.first_serial), str(suspect.last_serial)
    return len(row.serial) == len(first) and first <= row.serial <= last


def _poured_in(span: Span, lot: str, state: State) -> bool:
    """Whether a lot is of shells whose pour began in a span; what goes on from others was poured in these."""
    row = state.one(Lot, lot)
    if row is None or row.stage != "shell" or not span.touches(row.began_ms, row.began_ms):
        return False
    return all(edge.part not in HEIRS for edge in state.where(Descent, "child", lot))


def _read(suspect: Suspect, unit: str, lots: Iterable[str], state: State) -> bool:
    """Whether the gauge read the ball in the span, whatever stands of it now, or some pieces of a lot above it."""
    sets = {row.used for row in state.where(GaugeSet, "gauge", str(suspect.name))}
    instants = [row.at_ms for row in state.where(GaugeUse, "unit", unit) if row.used in sets]
    for lot in lots:
        instants += [row.at_ms for row in state.where(LotReading, "lot", lot) if row.gauge == suspect.name]
    return any(span_of(suspect).touches(at_ms, at_ms) for at_ms in instants)


def _poured(suspect: Suspect, unit: Unit, lot: str, state: State) -> bool:
    """Whether the ball's piece of a lot may have been poured with the suspect, in a pour that its span touches."""
    makings = makings_of(state.where(Made, "lot", lot))
    place = unit.place if lot == unit.lot else None
    span = span_of(suspect)
    return any(
        making.is_with(suspect) and span.touches(making.from_ms, making.to_ms) and (place is None or making.has(place))
        for making in makings
    )


def _passed(suspect: Suspect, span: Span, lot: str, state: State) -> bool:
    steps = (step for step in state.where(LotStep, "lot", lot) if step.station == suspect.name)
    return any(span.touches(step.began_ms, step.ended_ms) for step in steps)


def _worked(suspect: Suspect, span: Span, unit: Unit, state: State) -> bool:
    engraved = unit.engraved_ms
    if unit.engraved_by == suspect.name and engraved is not None and span.touches(engraved, engraved):
        return True
    steps = (step for step in state.where(UnitStep, "unit", unit.unit) if step.station == suspect.name)
    return any(span.touches(step.at_ms, step.at_ms) for step in steps)
