"""The rows of balls as the entries of a dossier give them: folded from the facts about each, beside what balls share."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import chain

from msgspec import UNSET

from ledger.errors import DossierRejected
from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.dossier_format import FactLine
from ledger.evidence.entry_facts import EntryFacts, fact_kind, fold_facts
from ledger.line.fact import Fact
from ledger.line.reading_rows import Measured
from ledger.line.rows import Model, SerialRow, Unit
from ledger.line.state import State
from ledger.tracing.back import Trace, trace_back

_KEPT_TRACES = 10_000


class BallFold:
    """Folds balls beside the lots, models and gauges of settled ``facts``."""

    def __init__(self, facts: EntryFacts) -> None:
        """Nothing is folded yet."""
        self._facts = facts
        self._traces: dict[tuple[str, int | None], Trace] = {}

    def rows(self, facts: Mapping[str, Sequence[Fact]]) -> dict[str, BallRows]:
        """The rows of balls from the standing facts about each, folded together. Raises what a fold of one raises."""
        every = {fact.address: fact for fact in chain.from_iterable(facts.values())}
        state = fold_facts(every.values(), [f"unit:{unit}" for unit in facts])
        serials: defaultdict[str, list[SerialRow]] = defaultdict(list)
        for row in state.all_of(SerialRow):
            serials[row.unit].append(row)
        return {unit: self._rows(unit, said, state, serials[unit]) for unit, said in facts.items()}

    def rows_of(self, unit: str, facts: Sequence[Fact], name: str) -> BallRows:
        """The rows of one ball. Raises DossierRejected, naming its file, for one that the entries do not make."""
        state = fold_facts(facts, [f"unit:{unit}"])
        return self._rows(unit, facts, state, state.all_of(SerialRow), name)

    def _rows(
        self, unit: str, facts: Sequence[Fact], state: State, serials: Sequence[SerialRow], name: str = ""
    ) -> BallRows:
        shared = self._facts
        row, lots = state.held(Unit, unit), shared.lots()
        if row is None:
            raise DossierRejected("no entry here makes the ball", got=unit, where=name)
        trace = self._trace(row.lot, row.place)
        missing = next((lot for lot in (row.lot, *(one.lot for one in trace.ancestors)) if lot not in lots), None)
        if missing is not None:
            raise DossierRejected("no entry here makes a lot above the ball", got=missing, where=name)
        model = shared.rows.held(Model, lots[row.lot].model or "")
        if model is None:
            raise DossierRejected("no entry here defines the model", got=lots[row.lot].model, where=name)
        return BallRows(
            unit=row,
            serials=serials,
            measured=state.held(Measured, unit),
            facts=[fact_line(fact) for fact in facts],
            trace=trace,
            lots=lots,
            model=model,
            approvals=shared.approvals(model.model),
            plans=shared.plans(model.model),
            calibrations=shared.calibrations(),
            gauges=shared.gauges(),
            studies=shared.studies(),
            policy=shared.policy(),
            released_ms=next((fact.at_ms for fact in facts if fact.address == row.release), None),
        )

    def _trace(self, lot: str, place: int | None) -> Trace:
        trace = self._traces.get((lot, place))
        if trace is None:
            if len(self._traces) >= _KEPT_TRACES:
                self._traces.clear()
            trace = self._traces[lot, place] = trace_back(self._facts.edges, lot, place)
        return trace


def fact_line(fact: Fact) -> FactLine:
    """The line of a fact on a sheet."""
    return FactLine(fact=fact.address, kind=fact_kind(fact), at=fact.record.at, body=fact.body or UNSET)
