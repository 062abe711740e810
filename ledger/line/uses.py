"""What rests on a model, a plan, a gauge or an approval: such a fact is replaced, but not withdrawn from under its uses.

Looked for where a correction takes the fact away; a replacement that speaks of another model or gauge takes it away too.
So does one by which a gauge would show another quantity or unit: every reading of it was said in the old one, and none is
converted.  A range that is put right takes nothing away: the readings outside it are found by a re-check afterwards.
And so does a plan that comes to leave an adopted rulebook out, or to begin at another instant, where that frees what was
begun under it from the rulebook: a failing ball would be first quality by it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from math import inf
from typing import TypeGuard

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction
from ledger.line.approval_answers import answer_needs, answers_otherwise, refuse_answered
from ledger.line.fact import Fact, parse_address
from ledger.line.gauges import GaugeRegistered
from ledger.line.inspections import Inspection
from ledger.line.models import ApprovalEntered, ModelDefined, PlanSet
from ledger.line.process_plan import plan_at, plan_needs
from ledger.line.reading_rows import GaugeSet, GaugeStudy, GaugeUse, LotReading
from ledger.line.record import Record
from ledger.line.rows import Lot, LotStep, Model, Plan, RulebookRow, Unit
from ledger.line.state import Need, State


def takes_away(old: Record, new: Record | None) -> bool:
    """Whether a model's revision, a plan, a gauge or an approval is no more when ``new`` (None: nothing) is said instead."""
    if isinstance(old, ModelDefined):
        return not isinstance(new, ModelDefined) or new.model != old.model
    if isinstance(old, PlanSet):
        return not (_plans_still(new, old) and _judges_all(old, new))
    if isinstance(old, ApprovalEntered):
        return answers_otherwise(old, new)
    return isinstance(old, GaugeRegistered) and not (isinstance(new, GaugeRegistered) and _shows(new) == _shows(old))


def _shows(record: GaugeRegistered) -> tuple[str, str, str]:
    return record.gauge, record.quantity, record.unit


def _plans_still(new: Record | None, old: PlanSet) -> TypeGuard[PlanSet]:
    """Whether a plan of the same model is said in its place."""
    return isinstance(new, PlanSet) and new.model == old.model


def _judges_all(old: PlanSet, new: PlanSet) -> bool:
    """Whether what the old plan judged is judged by each of its rulebooks under the new one."""
    return set(old.rulebooks) <= set(new.rulebooks) and instant_ms(old.at) == instant_ms(new.at)


def use_needs(old: Record, state: State) -> Iterator[Need]:
    """What `refuse_used` reads for a fact that is taken away.

    Cost: the lots of a model; of a plan also the steps and balls of the shell lots begun before it; the uses of a gauge; of
    an approval the files of its model.
    """
    if isinstance(old, ModelDefined | PlanSet):
        lots = Need(Lot, "model", old.model)
        yield lots
        earlier = _begun_before(old, state) if isinstance(old, PlanSet) and state.has(lots) else []
        for lot in earlier:
            yield Need(LotStep, "lot", lot.lot)
            yield Need(Unit, "lot", lot.lot)
        if isinstance(old, PlanSet):
            yield from plan_needs(old.model)
            others = state.where(Plan, "model", old.model) if all(map(state.has, plan_needs(old.model))) else []
            names = {name for plan in others for name in plan.rulebooks.split(",") if name}
            yield from (Need(RulebookRow, "rulebook", name) for name in sorted(names.union(old.rulebooks)))
    elif isinstance(old, GaugeRegistered):
        sets = Need(GaugeSet, "gauge", old.gauge)
        yield sets
        for row in state.where(GaugeSet, "gauge", old.gauge) if state.has(sets) else []:
            yield Need(GaugeUse, "used", row.used)
        yield Need(LotReading, "gauge", old.gauge)
    elif isinstance(old, ApprovalEntered):
        yield from answer_needs(old, state)


def refuse_used(old: Fact, bodies: Mapping[str, Fact | None], state: State, *, where: str) -> None:
    """Refuse to take away a fact that a lot, ball or inspection rests on. Raises Contradiction naming the first use.

    Raises RuleStands for an approval that a file names as its answer.
    ``bodies`` is what the correction makes of the facts that it changes; the state shows lots and balls as they are then.
    """
    record = old.record
    mend = "replace the fact by what should have been said, or correct what rests on it in the same correction"
    if isinstance(record, ModelDefined):
        what, first = f"model {record.model} revision {record.revision}", _model_use(record, state)
    elif isinstance(record, PlanSet):
        what, first = f"plan {old.address} of {record.model}", _plan_use(old, record, state)
        body = bodies[old.address]
        new = None if body is None else body.record
        if _plans_still(new, record):
            freed, first = _freed(old, record, new, state)
            what = f"rulebook {freed} of {what}"
            mend = "let the plan name it, and begin as it did; say a plan from now on for what is begun from now on"
    elif isinstance(record, GaugeRegistered):
        what, first = f"gauge {record.gauge}", _gauge_use(record.gauge, bodies, state)
        if _stays(record.gauge, bodies[old.address]):
            what, first = f"{record.unit} as the unit of {record.quantity} of {what}", _unit_use(old, bodies, state)
            mend = "correct what was said in it in the same correction, or register the gauge under another id"
    else:
        if isinstance(record, ApprovalEntered):
            refuse_answered(old, record, state, where=where)
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


def _freed(old: Fact, was: PlanSet, new: PlanSet, state: State) -> tuple[str, str | None]:
    """A rulebook that no longer judges what was begun, and the first thing that it judged; none where nothing is freed."""
    new_ms, dropped = instant_ms(new.at), [name for name in was.rulebooks if name not in new.rulebooks]
    freed = [(name, max(old.at_ms, new_ms), inf) for name in dropped]
    if new_ms > old.at_ms:
        # Another takes over what it judged in between, or none, and then any that is said for that time could.
        now = plan_at(state, was.model, old.at_ms)
        kept = [] if now is None else now.rulebooks.split(",")
        freed += [(name, old.at_ms, new_ms) for name in was.rulebooks if name not in kept]
    elif new_ms < old.at_ms:
        # It takes over what another judged.
        others = [
            row for row in state.where(Plan, "model", was.model) if row.plan != old.address and row.from_ms <= new_ms
        ]
        before = max(others, key=lambda row: (row.from_ms, parse_address(row.plan)), default=None)
        names = [] if before is None else [name for name in before.rulebooks.split(",") if name]
        freed += [(name, new_ms, old.at_ms) for name in names if name not in new.rulebooks]
    for name, from_ms, until_ms in freed:
        first = _first_begun(was, state, from_ms, min(until_ms, _until(old, was, state)))
        if first is not None and state.where(RulebookRow, "rulebook", name):
            return name, first
    return "", None


def _plan_use(old: Fact, record: PlanSet, state: State) -> str | None:
    """The first thing that was begun while the plan was in force: it was judged by it."""
    return _first_begun(record, state, old.at_ms, _until(old, record, state))


def _first_begun(record: PlanSet, state: State, from_ms: int, until_ms: float) -> str | None:
    """The first thing of the plan's model that was begun from an instant on and before another."""
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
        address for address in _readings(gauge, state) if address not in bodies or _reads_with(bodies[address], gauge)
    )


def _stays(gauge: str, body: Fact | None) -> bool:
    """Whether the gauge is registered still, so that it only shows something else than was said."""
    return body is not None and isinstance(body.record, GaugeRegistered) and body.record.gauge == gauge


def _unit_use(old: Fact, bodies: Mapping[str, Fact | None], state: State) -> str | None:
    """The first reading or study that the correction leaves as it is; what it replaces was judged by the new unit."""
    gauge: str = old.record.gauge  # type: ignore[attr-defined]  # the caller looked
    first = _first_read(address for address in _readings(gauge, state) if address not in bodies)
    left = [row.study for row in state.where(GaugeStudy, "gauge", gauge) if row.study not in bodies]
    return first or (f"fact {min(left, key=parse_address)} studied it" if left else None)


def _readings(gauge: str, state: State) -> Iterator[str]:
    """The addresses of the inspections that used a gauge; of lots those whose readings stand."""
    for row in state.where(GaugeSet, "gauge", gauge):
        yield from (use.address for use in state.where(GaugeUse, "used", row.used))
    yield from (reading.address for reading in state.where(LotReading, "gauge", gauge))


def _first_read(addresses: Iterable[str]) -> str | None:
    first = min(addresses, key=parse_address, default=None)
    return None if first is None else f"fact {first} read with it"


def _reads_with(body: Fact | None, gauge: str) -> bool:
    return (
        body is not None
        and isinstance(body.record, Inspection)
        and gauge in {reading.gauge for reading in body.record.readings}
    )
