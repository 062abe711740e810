"""The lines of a stretch against the book: each becomes records that may be entered after those before it, or is refused."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from ledger.application.import_columns import Cells, LineFault, check_cells, fault_of, records_of
from ledger.application.import_lines import Raw, Stretch
from ledger.application.import_outcomes import LineOutcome, accepted
from ledger.application.said_shipments import failing_shipment, refused_shipment
from ledger.book.instant import Instant, format_instant
from ledger.conformity.from_rows import day_of
from ledger.errors import LedgerError, StoreError
from ledger.line.claimed_ball import plain_serial
from ledger.line.fact import Breach, Fact
from ledger.line.fold import check_record, check_submission, enter
from ledger.line.imports import LinesImported, RefusedLine, ShipmentImported, Sort
from ledger.line.kind import Setting
from ledger.line.record import Record
from ledger.line.rows import Lot, SerialRow, Unit
from ledger.line.state import Need, NotLoaded, State
from ledger.store.loader import Loader
from ledger.store.reader import Reader
from ledger.store.transaction import Transaction

_AHEAD_MS = 14 * 3_600_000
"""Where on Earth the day has begun already."""

_NAMED = 5
"""Balls that a refusal names."""


class Look(NamedTuple):
    """What a stretch is checked against, and as what: ``entry`` is the index of the one that it would become."""

    transaction: Transaction
    loader: Loader
    author: str
    now_ms: int
    entry: int


class Checked(NamedTuple):
    """A stretch as it may be entered: its records, ``lines-imported`` first, what became of each line, and the overlay."""

    records: tuple[Record, ...]
    outcomes: tuple[LineOutcome, ...]
    state: State


def check_stretch(look: Look, what: Sort, file: str, stretch: Stretch) -> Checked:
    """Accept or refuse each line, in order, each seeing what those before it would have entered."""
    state = State()
    drafts = _without_failing(look, _drafts(look, state, what, stretch), what)
    loaded = (record for draft in drafts if isinstance(draft, tuple) for record in draft)
    look.loader.load_for(look.transaction, state, loaded)
    records: list[Record] = []
    outcomes: list[LineOutcome] = []
    refused: list[RefusedLine] = []
    for raw, draft in zip(stretch.lines, drafts, strict=True):
        # The head of the entry stands at position 0.
        place = len(records) + 1
        try:
            breaches = _entered(look, state, what, _or_raise(draft), place)
        except LineFault as fault:
            outcomes.append(_refusal(raw, fault))
            refused.append(RefusedLine(line=raw.line, code=fault.code, column=fault.column, said=fault.said))
            continue
        records += _or_raise(draft)
        outcomes.append(accepted(raw.line, f"{look.entry}.{place}", breaches))
    head = LinesImported(
        at=format_instant(Instant(look.now_ms, 0)),
        file=file,
        what=what,
        first=stretch.first,
        last=stretch.last,
        accepted=len(outcomes) - len(refused),
        refused=tuple(refused),
    )
    return Checked((head, *records), tuple(outcomes), state)


def _refusal(raw: Raw, fault: LineFault) -> LineOutcome:
    return LineOutcome(
        line=raw.line, outcome="refused", code=fault.code, column=fault.column, reason=fault.said, mend=fault.mend
    )


def _or_raise(draft: tuple[Record, ...] | LineFault) -> tuple[Record, ...]:
    if isinstance(draft, LineFault):
        raise draft
    return draft


def _entered(look: Look, state: State, what: Sort, records: tuple[Record, ...], place: int) -> list[Breach]:
    """Enter a line's records in the overlay; their breaches. Raises LineFault, and then nothing has changed."""
    mark = state.mark()
    found: list[Breach] = []
    try:
        check_submission(records)
        for position, record in enumerate(records, place):
            found += _enter(look, state, record, position)
    except StoreError:
        raise
    except LedgerError as error:
        state.undo_to(mark)
        raise fault_of(error, what) from error
    return found


def _enter(look: Look, state: State, record: Record, position: int) -> tuple[Breach, ...]:
    setting = Setting(look.now_ms, look.author, look.entry, position)
    mark = state.mark()
    try:
        return _put(state, record, setting)
    except NotLoaded:
        # What the lines before it would enter may lead further than what was loaded for all at once.
        state.undo_to(mark)
        look.loader.load_for(look.transaction, state, (record,), thorough=True)
        return _put(state, record, setting)


def _put(state: State, record: Record, setting: Setting) -> tuple[Breach, ...]:
    breaches = tuple(check_record(record, state, setting))
    enter(Fact(setting.index, setting.position, record, setting.author, setting.now_ms, breaches), state)
    return breaches


def _drafts(look: Look, state: State, what: Sort, stretch: Stretch) -> list[tuple[Record, ...] | LineFault]:
    """The records of each line, or what is wrong with it by itself."""
    today = day_of(look.now_ms + _AHEAD_MS).isoformat()
    bearers = _Bearers(look, state, (raw.cells for raw in stretch.lines if raw.cells is not None), what)
    drafts: list[tuple[Record, ...] | LineFault] = []
    for raw in stretch.lines:
        try:
            if raw.cells is None:
                raise raw.fault or LineFault("malformed-line", "", "line cannot be read")
            check_cells(what, raw.cells, today)
            unit = bearers.unit_of(raw.cells) if what == "shipments" else None
            drafts.append(records_of(what, raw.cells, look.now_ms, unit))
        except LineFault as fault:
            drafts.append(fault)
    return drafts


def _without_failing(
    look: Look, drafts: list[tuple[Record, ...] | LineFault], what: Sort
) -> list[tuple[Record, ...] | LineFault]:
    """The same, but for balls that may not be sold by what was read of them since their release (`said_shipments`)."""
    sold = [
        (record.unit, place)
        for place, draft in enumerate(drafts)
        for record in (draft if isinstance(draft, tuple) else ())
        if isinstance(record, ShipmentImported) and record.purpose == "sale"
    ]
    units = list(dict.fromkeys(unit for unit, _ in sold))
    failing = failing_shipment(Reader(look.transaction), units) if units else {}
    for unit, place in sold:
        if unit in failing:
            drafts[place] = fault_of(refused_shipment(failing[unit], "unit"), what)
    return drafts


class _Bearers:
    """The balls that the numbers of a stretch mean: loaded once for all of them."""

    def __init__(self, look: Look, state: State, lines: Iterable[Cells], what: Sort) -> None:
        """Load the bearings of every number, and their balls with their lots."""
        self._state = state
        if what != "shipments":
            return
        wanted = [number for line in lines for number in _numbers(line.cells.get("serial"))]
        load, transaction = look.loader.load, look.transaction
        load(transaction, state, [Need(SerialRow, "serial", number) for number in dict.fromkeys(wanted)])
        units = {row.unit for number in wanted for row in state.where(SerialRow, "serial", number)}
        load(transaction, state, [Need(Unit, "unit", unit) for unit in sorted(units)])
        lots = {row.lot for unit in units if (row := state.one(Unit, unit)) is not None}
        load(transaction, state, [Need(Lot, "lot", lot) for lot in sorted(lots)])

    def unit_of(self, line: Cells) -> str:
        """The one ball of a line. Raises LineFault that names the candidates where there are several, or none."""
        named, serial = line.cells.get("unit"), line.cells.get("serial")
        if serial is None:
            if named is None:
                raise LineFault("missing-value", "serial", "expected a serial or a unit, got neither", "fill one in")
            return named
        units = self._units(serial, line.cells.get("model"))
        if named is not None:
            if named not in {unit.unit for unit in units}:
                said = f"unit {named} does not bear serial {serial}"
                raise LineFault("contradiction", "unit", said, "correct one of them, or leave one out")
            return named
        if not units:
            said = f"no ball of this book bears or bore {serial}"
            raise LineFault(
                "unknown-subject", "serial", said, "import or register the ball first, or correct the number"
            )
        if len(units) > 1:
            said = f"{len(units)} balls bear or bore {serial}: {'; '.join(map(self._told, units[:_NAMED]))}"
            said += "; and more" if len(units) > _NAMED else ""
            raise LineFault("several-balls", "serial", said, "name the unit, or the model where that tells them apart")
        return units[0].unit

    def _units(self, serial: str, model: str | None) -> list[Unit]:
        names = {row.unit for number in _numbers(serial) for row in self._state.where(SerialRow, "serial", number)}
        units = [row for name in sorted(names) if (row := self._state.one(Unit, name)) is not None]
        return [unit for unit in units if model is None or self._model(unit) == model]

    def _model(self, unit: Unit) -> str | None:
        lot = self._state.one(Lot, unit.lot)
        return None if lot is None else lot.model

    def _told(self, unit: Unit) -> str:
        made = day_of(unit.began_ms if unit.engraved_ms is None else unit.engraved_ms).isoformat()
        weight = "weight unknown" if unit.weight_class is None else f"{unit.weight_class} lb"
        return f"{unit.unit} (model {self._model(unit) or 'unknown'}, {weight}, made {made})"


def _numbers(serial: str | None) -> list[str]:
    return [] if serial is None else list(dict.fromkeys((serial, plain_serial(serial))))
