"""Judged samples: of a lot, and of a model (a type test); and what a ball's plan asks of them. See also `sample_cover`.

A type test covers the balls of its revision of the model, the newest one alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated

from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, RuleStands
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.kind import Kind, Setting
from ledger.line.lots import known_lot
from ledger.line.models import Revision, known_model, model_needs
from ledger.line.process_plan import INSPECTS, Inspect, plan_at, plan_needs
from ledger.line.record import Digest, Id, Record, Slug
from ledger.line.rows import Lot, Model, ModelJudged, Plan, SampleJudged
from ledger.line.sample_cover import Cover, cover_needs, lot_cover
from ledger.line.state import Need, State

SAMPLE_TAKEN_BACK = "sample-taken-back"
"""The breach by which a correction of an accepted sample holds its lot."""

SAMPLE_REJECTED = "sample-rejected"
"""The breach by which a rejected sample holds a lot that an accepted one covered: balls may be released on that."""

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


def short_of_plan(row: SampleJudged | ModelJudged, item: Inspect) -> str:
    """What an accepted judgement lacks of the numbers that a ball's plan asks for, which another one may have asked less."""
    if item.n is not UNSET and row.n < item.n:
        return f"{row.n} were looked at, and the plan asks for {item.n}"
    if item.accept is not UNSET and row.nonconforming > item.accept:
        return f"{row.nonconforming} did not conform, and the plan accepts {item.accept}"
    return ""


def sample_accepted(lot: str, item: Inspect, state: State) -> bool:
    """Whether the lot passes by its sample, or is screened ball by ball.

    Raises RuleStands where that is not judged, or not as the plan's item asks, or the lot was worked since.
    """
    quantity = item.quantity
    cover = lot_cover(lot, quantity, state)
    if cover.rejected:
        return False
    if cover.accepted:
        _check_as_asked(cover, item)
        return True
    if cover.outdated:
        raise RuleStands(
            f"{cover.outdated[0].lot} was worked after its sample for {quantity} was judged, which can have changed it",
            expected="a sample of the pieces as they are",
            got=f"the sample of fact {cover.outdated[0].sample}",
            where="unit",
            mend=f"judge a sample of {lot} (sample-judged) anew",
        )
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


def _check_as_asked(cover: Cover, item: Inspect) -> None:
    for row in cover.judged:
        short = short_of_plan(row, item)
        if short:
            raise RuleStands(
                f"the sample of {row.lot} for {item.quantity} is not what the ball's plan asks for: {short}",
                expected="a sample by the numbers of the plan",
                got=f"the sample of fact {row.sample}",
                where="unit",
                mend=f"judge a sample of {row.lot} (sample-judged) by that plan",
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
    short = short_of_plan(row, _asked(plan, "model")[quantity])
    if short:
        raise RuleStands(
            f"the type test of {of} for {quantity} is not what the ball's plan asks for: {short}",
            expected="a type test by the numbers of the plan",
            got=f"the test of fact {row.model_test}",
            where="unit",
            mend=f"test more balls and judge it (model-judged, {quantity}), or release the ball as prototype",
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
    if not record.accepted:
        yield from cover_needs(record.lot, state)


def _sample_check(record: SampleVerdict, state: State, _setting: Setting) -> list[Breach]:
    lot = known_lot(state, record.lot, where="lot")
    _check_counts(record)
    item = _asked(plan_at(state, lot.model, instant_ms(record.at)), "sample").get(record.quantity)
    if item is not None:
        _check_numbers(record, item, "lot", "and screen it ball by ball")
    return [] if record.accepted else _contradicted(record, state)


def _contradicted(record: SampleVerdict, state: State) -> list[Breach]:
    """A rejected sample of a lot that an accepted one covered: what was released on that is held with the lot."""
    cover = lot_cover(record.lot, record.quantity, state)
    if not cover.accepted:
        return []
    earlier = max((row.sample for row in cover.judged), key=parse_address)
    said = (
        f"{record.lot} was rejected for {record.quantity} after it was covered by the accepted sample of fact {earlier}"
    )
    mend = "measure the balls that were released on it, or give them another grade; then lift the hold"
    return [Breach(code=SAMPLE_REJECTED, node=f"lot:{record.lot}", said=said, fact=earlier, mend=mend)]


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
            judged_ms=fact.at_ms,
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
