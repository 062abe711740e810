"""Judged samples: of a lot, and of a model (a type test); and which of them cover a ball that was not measured itself.

A judgement is a decision, so its place in the book is the place at which it was made.  A lot is covered by the newest
judgement of its own; without one, by that of the lots that it goes on from:

- A lot that was split off is covered by what the lot it left was covered by *before* it left: that sample was of the same
  pieces.  A sample judged after the split may have been drawn from what stayed, so it says nothing of what went.
- A merged lot is covered when each of its sources was, in the same sense, before they became one; it is accepted when
  all were, and rejected when any was.

A lot poured from others is a new thing: no sample of cores covers shells.

A type test covers the balls of its revision of the model, the newest one alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Annotated, NamedTuple

from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, RuleStands
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import HEIRS
from ledger.line.lots import known_lot
from ledger.line.models import Revision, known_model, model_needs
from ledger.line.process_plan import INSPECTS, Inspect, plan_at, plan_needs
from ledger.line.record import Digest, Id, Record, Slug
from ledger.line.rows import Descent, Lot, Model, ModelJudged, Plan, SampleJudged
from ledger.line.state import Need, State

Looked = Annotated[int, Meta(ge=1, le=10_000)]
Nonconforming = Annotated[int, Meta(ge=0, le=10_000)]


class SampleVerdict(Record, frozen=True, kw_only=True, tag="sample-judged"):
    """A lot's sample for one quantity: how many were looked at, how many did not conform, and whether the lot passes."""

    lot: Id
    quantity: Slug
    n: Looked
    nonconforming: Nonconforming
    accepted: bool
    rests_on: Digest


class ModelVerdict(Record, frozen=True, kw_only=True, tag="model-judged"):
    """A type test of a model for a quantity that its plan asks once per model: how many balls, and whether it passes.

    Without ``revision`` it is of the construction that stands when it is said; a later revision takes a test of its own.
    """

    model: Id
    quantity: Slug
    n: Looked
    nonconforming: Nonconforming
    accepted: bool
    rests_on: Digest
    revision: Revision | UnsetType = UNSET


class Cover(NamedTuple):
    """The judgements of samples for one quantity that a lot rests on; and what has none: the lot, or sources merged in it."""

    judged: tuple[SampleJudged, ...]
    missing: tuple[str, ...]

    @property
    def accepted(self) -> bool:
        """Whether every piece is covered by an accepted sample."""
        return not self.missing and all(row.accepted for row in self.judged)

    @property
    def rejected(self) -> bool:
        """Whether some piece is of a rejected sample: then each ball is measured."""
        return any(not row.accepted for row in self.judged)


SamplesOf = Callable[[str], Iterable[SampleJudged]]
ParentsOf = Callable[[str], Iterable[Descent]]


def sample_cover(lot: str, quantity: str, samples: SamplesOf, parents: ParentsOf) -> Cover:
    """How samples cover a lot for a quantity (see above), from the judgements of each lot and the edges to its parents."""
    judged: dict[str, SampleJudged] = {}
    missing: dict[str, None] = {}
    waiting: list[tuple[str, tuple[int, int] | None, str]] = [(lot, None, lot)]
    seen = set(waiting)
    while waiting:
        name, before, whose = waiting.pop()
        rows = [row for row in samples(name) if row.quantity == quantity and _earlier(row.sample, before)]
        edges = [] if rows else [edge for edge in parents(name) if edge.part in HEIRS]
        if rows:
            newest = max(rows, key=lambda row: parse_address(row.sample))
            judged[newest.sample] = newest
        elif not edges:
            missing[whose] = None
        for edge in edges:
            left = parse_address(edge.descent.rpartition(".")[0])
            earliest = left if before is None else min(left, before)
            source = (edge.parent, earliest, whose if edge.part == "split" else edge.parent)
            if source not in seen:
                seen.add(source)
                waiting.append(source)
    return Cover(tuple(judged.values()), tuple(missing))


def _earlier(address: str, before: tuple[int, int] | None) -> bool:
    return before is None or parse_address(address) < before


def goes_on_from(lot: str, parents: ParentsOf) -> list[str]:
    """The lot and every lot that it goes on from, nearest first."""
    found, at = [lot], 0
    while at < len(found):
        found += dict.fromkeys(
            edge.parent for edge in parents(found[at]) if edge.part in HEIRS and edge.parent not in found
        )
        at += 1
    return found


def cover_needs(lot: str, state: State) -> Iterator[Need]:
    """What `lot_cover` reads, as far as the lots above are loaded; ask until nothing new comes."""

    def known(name: str) -> Iterable[Descent]:
        return state.where(Descent, "child", name) if state.has(Need(Descent, "child", name)) else ()

    for name in goes_on_from(lot, known):
        yield Need(Descent, "child", name)
        yield Need(SampleJudged, "lot", name)


def lot_cover(lot: str, quantity: str, state: State) -> Cover:
    """`sample_cover` of what is loaded."""
    return sample_cover(
        lot,
        quantity,
        lambda name: state.where(SampleJudged, "lot", name),
        lambda name: state.where(Descent, "child", name),
    )


def sample_accepted(lot: str, quantity: str, state: State) -> bool:
    """Whether the lot passes by its sample, or is screened ball by ball. Raises RuleStands where that is not judged."""
    cover = lot_cover(lot, quantity, state)
    if cover.rejected or cover.accepted:
        return cover.accepted
    whose = (
        "the lot's sample" if cover.missing == (lot,) else f"a sample of {cover.missing[0]}, of which {lot} is made,"
    )
    raise RuleStands(
        f"{whose} for {quantity} is not judged",
        expected="an accepted sample, or a reading of this ball after a rejected one",
        got=f"no judgement of {', '.join(cover.missing)}, nor of a lot that it left before it left",
        where="unit",
        mend=f"judge a sample of {lot} (sample-judged) first",
    )


def type_test(quantity: str, revision: int | None, rows: Iterable[ModelJudged]) -> ModelJudged | None:
    """The type test that counts for a quantity of a model at a revision: the newest; of any, where it is not known."""
    fitting = [row for row in rows if row.quantity == quantity and revision in {None, row.revision}]
    return max(fitting, key=lambda row: parse_address(row.model_test), default=None)


def check_type_test(quantity: str, lot: Lot, plan: Plan, state: State) -> None:
    """Check that an accepted type test covers the balls of a lot. Raises RuleStands naming what stands in the way."""
    of = f"{lot.model} revision {lot.revision}"
    row = type_test(quantity, lot.revision, state.where(ModelJudged, "model", lot.model or ""))
    if row is None:
        raise RuleStands(
            f"plan {plan.plan} asks for {quantity} once per model, and no test of {of} is judged",
            expected="an accepted type test",
            where="unit",
            mend=f"test the model and judge it (model-judged, {quantity}), or release the ball as prototype",
        )
    if not row.accepted:
        raise RuleStands(
            f"the type test of {of} for {quantity} was not accepted, by fact {row.model_test}",
            expected="an accepted type test",
            got=f"{row.nonconforming} of {row.n} did not conform",
            where="unit",
            mend=f"test the model again and judge it (model-judged, {quantity}), or release the ball as prototype",
        )


def _asked(plan: Plan | None, every: str) -> dict[str, Inspect]:
    items = [] if plan is None else INSPECTS.decode(plan.inspect)
    return {item.quantity: item for item in items if item.every == every}


def _check_counts(record: SampleVerdict | ModelVerdict) -> None:
    if record.nonconforming > record.n:
        raise Contradiction(
            "more did not conform than were looked at",
            expected=f"at most {record.n}",
            got=record.nonconforming,
            where="nonconforming",
            mend="correct the two counts",
        )


def _check_numbers(record: SampleVerdict | ModelVerdict, item: Inspect, of: str, instead: str) -> None:
    """Check the counts against the numbers of the plan. Raises RuleStands."""
    if item.n is not UNSET and record.n < item.n:
        raise RuleStands(
            "the sample is smaller than the plan asks for",
            expected=f"at least {item.n}",
            got=record.n,
            where="n",
            mend=f"look at more pieces of the {of}, then judge",
        )
    if item.accept is not UNSET and record.accepted and record.nonconforming > item.accept:
        raise RuleStands(
            f"too many of the sample did not conform for the {of} to be accepted",
            expected=f"at most {item.accept}",
            got=record.nonconforming,
            where="accepted",
            mend=f"reject the {of}, {instead}",
        )


def _sample_needs(record: SampleVerdict, state: State) -> Iterator[Need]:
    yield Need(Lot, "lot", record.lot)
    if state.has(Need(Lot, "lot", record.lot)):
        lot = state.one(Lot, record.lot)
        yield from plan_needs(None if lot is None else lot.model)


def _sample_check(record: SampleVerdict, state: State, _setting: Setting) -> list[Breach]:
    lot = known_lot(state, record.lot, where="lot")
    _check_counts(record)
    item = _asked(plan_at(state, lot.model, instant_ms(record.at)), "sample").get(record.quantity)
    if item is not None:
        _check_numbers(record, item, "lot", "and screen it ball by ball")
    return []


def _sample_effects(fact: Fact, state: State) -> None:
    record: SampleVerdict = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        SampleJudged(
            sample=fact.address,
            lot=record.lot,
            quantity=record.quantity,
            n=record.n,
            nonconforming=record.nonconforming,
            accepted=record.accepted,
        )
    )


def _model_check(record: ModelVerdict, state: State, _setting: Setting) -> list[Breach]:
    model = known_model(state, record.model, where="model")
    if record.revision is not UNSET and record.revision > model.revision:
        raise Contradiction(
            f"model {record.model} stands at revision {model.revision}, by fact {model.address}",
            expected=f"at most {model.revision}",
            got=record.revision,
            where="revision",
            mend="define the revision first (model-defined), or correct the number",
        )
    _check_counts(record)
    plan = plan_at(state, record.model, instant_ms(record.at))
    asked = _asked(plan, "model")
    if record.quantity not in asked:
        named = "no plan" if plan is None else f"plan {plan.plan}"
        raise RuleStands(
            f"{named} of {record.model} asks for {record.quantity} once per model",
            expected=", ".join(asked) or "a quantity that the plan asks once per model",
            got=record.quantity,
            where="quantity",
            mend="correct the quantity, or set a plan that asks for it once per model (plan-set)",
        )
    _check_numbers(record, asked[record.quantity], "model", "and change its construction or test it again")
    return []


def _model_effects(fact: Fact, state: State) -> None:
    record: ModelVerdict = fact.record  # type: ignore[assignment]  # the kind table pairs them
    model = state.held(Model, record.model)
    if model is None:
        return
    state.put(
        ModelJudged(
            model_test=fact.address,
            model=record.model,
            revision=model.revision if record.revision is UNSET else record.revision,
            quantity=record.quantity,
            n=record.n,
            nonconforming=record.nonconforming,
            accepted=record.accepted,
        )
    )


KINDS = (
    Kind(
        SampleVerdict,
        "decision",
        _sample_needs,
        _sample_check,
        _sample_effects,
        lambda record: [f"lot:{record.lot}"],
    ),
    Kind(
        ModelVerdict,
        "decision",
        lambda record, _state: [*model_needs(record.model), *plan_needs(record.model)],
        _model_check,
        _model_effects,
        lambda record: [f"model:{record.model}"],
    ),
)
