"""What the book holds of the balls of a dossier, some hundred at a time, so that memory does not grow with the balls.

Rows that balls share (lots, models, plans, gauges, traces) are read once and kept: they grow with the lots.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from itertools import chain
from typing import Any, TypeVar

from msgspec import UNSET

from ledger.application.release_policies import policy_in_force
from ledger.errors import NotFound
from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.dossier_format import FactLine
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, Measured
from ledger.line.refold import kind_name
from ledger.line.rows import Approval, Descent, FactRow, Lot, Model, Plan, Row, SerialRow, Told, Unit
from ledger.line.standing_readings import gauges_of
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.tracing.back import Trace, trace_back

BATCH = 250
"""Balls that are read at once."""

_KEPT_TRACES = 10_000

R = TypeVar("R", bound=Row)


class DossierRows:
    """Reads the rows of balls within one look at the store."""

    def __init__(self, reader: Reader) -> None:
        """Nothing is read yet but the release policy."""
        self._reader = reader
        self.policy = policy_in_force(reader)
        self._edges = _KeptEdges(reader)
        self._traces: dict[tuple[str, int | None], Trace] = {}
        self._lots: dict[str, Lot] = {}
        self._models: dict[str, Model] = {}
        self._gauges: dict[str, Gauge] = {}
        self._approvals = _Kept(reader, Approval, "model")
        self._plans = _Kept(reader, Plan, "model")
        self._calibrations = _Kept(reader, Calibration, "gauge")
        self._studies = _Kept(reader, GaugeStudy, "gauge")

    def outlines(self, units: Sequence[str]) -> Iterator[BallRows]:
        """The rows without facts and numbers, enough to know which entries they rest on. Raises NotFound."""
        return chain.from_iterable(self._batch(batch, {}, {}, {}) for batch in _batches(units))

    def balls(self, units: Sequence[str]) -> Iterator[BallRows]:
        """The whole rows of balls, in the order of ``units``. Raises NotFound for one without lot or model."""
        for batch in _batches(units):
            facts = self._reader.rows_of(Told, "node", [f"unit:{unit}" for unit in batch])
            serials = self._reader.rows_of(SerialRow, "unit", batch)
            named: list[Unit] = rows_with(self._reader, Unit, "unit", batch)
            releases = [unit.release for unit in named if unit.release is not None]
            released = {row.address: row.at_ms for row in rows_with(self._reader, FactRow, "address", releases)}
            yield from self._batch(batch, facts, serials, released)

    def _batch(
        self,
        units: Sequence[str],
        facts: Mapping[str, Sequence[Told]],
        serials: Mapping[str, Sequence[SerialRow]],
        released: Mapping[str, int],
    ) -> Iterator[BallRows]:
        named = {row.unit: row for row in _rows(self._reader, Unit, "unit", units)}
        measured = {row.unit: row for row in _rows(self._reader, Measured, "unit", units)}
        self._keep_lots({row.lot for row in named.values()})
        for name in units:
            unit = named.get(name)
            lot = None if unit is None else self._lots.get(unit.lot)
            model = None if lot is None or lot.model is None else self._model(lot.model)
            if unit is None or model is None:
                mend = "define the model of its lot first"
                raise NotFound(f"unit {name} has no lot or model", where="unit", mend=mend)
            trace, readings = self._trace(unit.lot, unit.place), measured.get(name)
            gauges = gauges_of(readings)
            yield BallRows(
                unit=unit,
                serials=serials.get(name, ()),
                measured=readings,
                facts=[_fact_line(told) for told in facts.get(f"unit:{name}", ())],
                trace=trace,
                lots={lot: self._lots[lot] for lot in (unit.lot, *(above.lot for above in trace.ancestors))},
                model=model,
                approvals=self._approvals[model.model],
                plans=self._plans[model.model],
                calibrations={gauge: self._calibrations[gauge] for gauge in gauges},
                gauges={gauge: row for gauge in gauges if (row := self._gauge(gauge)) is not None},
                studies={gauge: self._studies[gauge] for gauge in gauges},
                policy=self.policy,
                released_ms=None if unit.release is None else released.get(unit.release),
            )

    def _keep_lots(self, lots: Collection[str]) -> None:
        missing = [lot for lot in lots if lot not in self._lots]
        self._lots.update((row.lot, row) for row in _rows(self._reader, Lot, "lot", missing))

    def _trace(self, lot: str, place: int | None) -> Trace:
        found = self._traces.get((lot, place))
        if found is None:
            if len(self._traces) >= _KEPT_TRACES:
                self._traces.clear()
            found = self._traces[lot, place] = trace_back(self._edges, lot, place)
            self._keep_lots({one.lot for one in found.ancestors})
        return found

    def _model(self, name: str) -> Model | None:
        return _kept_one(self._models, name, lambda: self._reader.one(Model, name))

    def _gauge(self, name: str) -> Gauge | None:
        return _kept_one(self._gauges, name, lambda: self._reader.one(Gauge, name))


class _Kept(dict[str, list[Any]]):
    """Rows of a view by the value of a column, read when first asked for."""

    def __init__(self, reader: Reader, row: type[Row], column: str) -> None:
        super().__init__()
        self._asked = (reader, row, column)

    def __missing__(self, value: str) -> list[Any]:
        reader, row, column = self._asked
        found = self[value] = rows_with(reader, row, column, [value])
        return found


class _KeptEdges:
    """The edges between lots, read when first walked."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._up: dict[str, list[Descent]] = {}

    def parents(self, lots: Collection[str]) -> Iterable[Descent]:
        """The edges from these lots to what they are made from."""
        missing = [lot for lot in lots if lot not in self._up]
        if missing:
            found: defaultdict[str, list[Descent]] = defaultdict(list)
            for edge in _rows(self._reader, Descent, "child", missing):
                found[edge.child].append(edge)
            self._up.update((lot, found[lot]) for lot in missing)
        return [edge for lot in lots for edge in self._up[lot]]

    def children(self, lots: Collection[str]) -> Iterable[Descent]:
        """The edges to what is made from these lots; not kept."""
        return _rows(self._reader, Descent, "parent", lots)


def _kept_one(kept: dict[str, R], name: str, ask: Callable[[], R | None]) -> R | None:
    if name not in kept:
        found = ask()
        if found is None:
            return None
        kept[name] = found
    return kept[name]


def _rows(reader: Reader, row: type[R], column: str, values: Collection[str]) -> list[R]:
    return rows_with(reader, row, column, values) if values else []


def _batches(units: Sequence[str]) -> Iterator[Sequence[str]]:
    return (units[start : start + BATCH] for start in range(0, len(units), BATCH))


def _fact_line(told: Told) -> FactLine:
    fact = told.fact
    return FactLine(fact=fact.address, kind=kind_name(fact), at=fact.record.at, body=fact.body or UNSET)
