"""What rests on a model, a process plan or a gauge: such a fact is replaced, but not withdrawn from under its uses.

Looked for where a correction takes the fact away; a replacement that speaks of another model or gauge takes it away too.
So does one by which a gauge would show another quantity or unit: every reading of it was said in the old one, and none is
converted.  A range that is put right takes nothing away: the readings outside it are found by a re-check afterwards.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from math import inf

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction
from ledger.line.fact import Fact, parse_address
from ledger.line.gauges import GaugeRegistered
from ledger.line.inspections import Inspection
from ledger.line.models import ModelDefined, PlanSet
from ledger.line.reading_rows import GaugeSet, GaugeStudy
from ledger.line.record import Record
from ledger.line.rows import About, Lot, LotStep, Model, Plan, Unit
from ledger.line.state import Need, State


def takes_away(old: Record, new: Record | None) -> bool:
    """Whether a model's revision, a plan or a gauge is no more when ``new`` (None: nothing) is said in its place."""
    if isinstance(old, ModelDefined | PlanSet):
        return type(new) is not type(old) or new.model != old.model
    return isinstance(old, GaugeRegistered) and not (isinstance(new, GaugeRegistered) and _shows(new) == _shows(old))


def _shows(record: GaugeRegistered) -> tuple[str, str, str]:
    return record.gauge, record.quantity, record.unit


def use_needs(old: Record, state: State) -> Iterator[Need]:
    """What `refuse_used` reads for a fact that is taken away.

    Cost: the lots of a model; of a plan also the steps and balls of the shell lots begun before it; the uses of a gauge.
    """
    if isinstance(old, ModelDefined | PlanSet):
        lots = Need(Lot, "model", old.model)
        yield lots
        earlier = _begun_before(old, state) if isinstance(old, PlanSet) and state.has(lots) else []
        for lot in earlier:
            yield Need(LotStep, "lot", lot.lot)
            yield Need(Unit, "lot", lot.lot)
    elif isinstance(old, GaugeRegistered):
        sets = Need(GaugeSet, "gauge", old.gauge)
        yield sets
        for row in state.where(GaugeSet, "gauge", old.gauge) if state.has(sets) else []:
            yield Need(About, "node", row.node)


def refuse_used(old: Fact, bodies: Mapping[str, Fact | None], state: State, *, where: str) -> None:
    """Refuse to take away a fact that a lot, ball or inspection rests on. Raises Contradiction naming the first use.

    ``bodies`` is what the correction makes of the facts that it changes; the state shows lots and balls as they are then.
    """
    record = old.record
    mend = "replace the fact by what should have been said, or correct what rests on it in the same correction"
    if isinstance(record, ModelDefined):
        what, first = f"model {record.model} revision {record.revision}", _model_use(record, state)
    elif isinstance(record, PlanSet):
        what, first = f"plan {old.address} of {record.model}", _plan_use(old, record, state)
    elif isinstance(record, GaugeRegistered):
        what, first = f"gauge {record.gauge}", _gauge_use(record.gauge, bodies, state)
        if _stays(record.gauge, bodies[old.address]):
            what, first = f"{record.unit} as the unit of {record.quantity} of {what}", _unit_use(old, bodies, state)
            mend = "correct what was said in it in the same correction, or register the gauge under another id"
    else:
        return
    if first is not None:
        raise Contradiction(
            f"{what} would be gone, and {first}",
            where=where,
            mend=mend,
        )


def _model_use(record: ModelDefined, state: State) -> str | None:
    gone = state.held(Model, record.model) is None
    lots = [lot for lot in state.where(Lot, "model", record.model) if gone or lot.revision == record.revision]
    first = min(lots, key=lambda lot: parse_address(lot.address), default=None)
    return None if first is None else f"lot {first.lot}, made by fact {first.address}, is of it"


def _begun_before(record: PlanSet, state: State) -> list[Lot]:
    from_ms = instant_ms(record.at)
    return [lot for lot in state.where(Lot, "model", record.model) if lot.stage == "shell" and lot.began_ms < from_ms]


def _plan_use(old: Fact, record: PlanSet, state: State) -> str | None:
    """The first thing that was begun while the plan was in force: it was judged by it."""
    from_ms, until_ms = old.at_ms, _until(old, record, state)
    uses: list[tuple[int, str]] = [
        (lot.began_ms, f"lot {lot.lot}, made by fact {lot.address}, was begun under it")
        for lot in state.where(Lot, "model", record.model)
    ]
    for lot in _begun_before(record, state):
        if not state.has(Need(Unit, "lot", lot.lot)):
            continue  # the correction itself gives the lot to this model: the plan did not judge its balls
        steps, units = state.where(LotStep, "lot", lot.lot), state.where(Unit, "lot", lot.lot)
        uses += [(step.began_ms, f"lot {lot.lot} was {step.step} under it, by fact {step.address}") for step in steps]
        uses += [(unit.began_ms, f"unit {unit.unit} was begun under it") for unit in units]
        engraved = [(unit.engraved_ms, unit.unit) for unit in units if unit.engraved_ms is not None]
        uses += [(at_ms, f"unit {unit} was engraved under it") for at_ms, unit in engraved]
    within = [use for use in uses if from_ms <= use[0] < until_ms]
    return min(within)[1] if within else None


def _until(old: Fact, record: PlanSet, state: State) -> float:
    """When the next of the plans that stand after the correction takes over."""
    place = old.index, old.position
    rows: Iterable[Plan] = state.where(Plan, "model", record.model)
    later = [
        row.from_ms
        for row in rows
        if row.plan != old.address and (row.from_ms, parse_address(row.plan)) > (old.at_ms, place)
    ]
    return min(later, default=inf)


def _gauge_use(gauge: str, bodies: Mapping[str, Fact | None], state: State) -> str | None:
    return _first_read(
        about
        for about in _readings(gauge, state)
        if about.address not in bodies or _reads_with(bodies[about.address], gauge)
    )


def _stays(gauge: str, body: Fact | None) -> bool:
    """Whether the gauge is registered still, so that it only shows something else than was said."""
    return body is not None and isinstance(body.record, GaugeRegistered) and body.record.gauge == gauge


def _unit_use(old: Fact, bodies: Mapping[str, Fact | None], state: State) -> str | None:
    """The first reading or study that the correction leaves as it is; what it replaces was judged by the new unit."""
    gauge: str = old.record.gauge  # type: ignore[attr-defined]  # the caller looked
    first = _first_read(about for about in _readings(gauge, state) if about.address not in bodies)
    left = [row.study for row in state.where(GaugeStudy, "gauge", gauge) if row.study not in bodies]
    return first or (f"fact {min(left, key=parse_address)} studied it" if left else None)


def _readings(gauge: str, state: State) -> Iterator[About]:
    for row in state.where(GaugeSet, "gauge", gauge):
        yield from state.where(About, "node", row.node)


def _first_read(uses: Iterable[About]) -> str | None:
    places = [(about.index, about.position) for about in uses]
    return "fact {}.{} read with it".format(*min(places)) if places else None


def _reads_with(body: Fact | None, gauge: str) -> bool:
    return (
        body is not None
        and isinstance(body.record, Inspection)
        and gauge in {reading.gauge for reading in body.record.readings}
    )
