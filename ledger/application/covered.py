"""What covers a quantity that a ball was not measured for: a sample of its lot, or a type test of its model."""

from __future__ import annotations

from collections.abc import Callable, Collection

import msgspec

from ledger.line.process_plan import INSPECTS
from ledger.line.rows import Descent, Lot, ModelJudged, Plan, SampleJudged
from ledger.line.samples import goes_on_from, sample_cover, type_test
from ledger.line.standing_readings import manner_of
from ledger.store.reader import Reader
from ledger.store.selections import Selected


class BySample(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A quantity that was measured on a sample of the lot, or of a lot that it goes on from: not on the ball itself.

    A merged lot has one from each of its sources.
    """

    quantity: str
    lot: str
    n: int
    nonconforming: int
    accepted: bool
    fact: str


class ByModelTest(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A quantity that was measured in a type test of the ball's model at its revision: not on the ball itself."""

    quantity: str
    revision: int
    n: int
    nonconforming: int
    accepted: bool
    fact: str


def by_sample(reader: Reader, lot: str, leave_out: Collection[str] = ()) -> tuple[BySample, ...]:
    """The judgements of samples that cover a lot, quantity by quantity, but for some."""
    samples, parents = _samples(reader, lot)
    quantities = {row.quantity for rows in samples.values() for row in rows} - set(leave_out)
    return tuple(
        BySample(
            quantity=quantity,
            lot=row.lot,
            n=row.n,
            nonconforming=row.nonconforming,
            accepted=row.accepted,
            fact=row.sample,
        )
        for quantity in sorted(quantities)
        for row in sample_cover(lot, quantity, samples.__getitem__, parents).judged
    )


def by_model_test(reader: Reader, lot: Lot, leave_out: Collection[str] = ()) -> tuple[ByModelTest, ...]:
    """The newest type test of a lot's model and revision, quantity by quantity, but for some."""
    rows: list[ModelJudged] = [] if lot.model is None else reader.rows(ModelJudged, "model", lot.model)
    quantities = {row.quantity for row in rows} - set(leave_out)
    return tuple(
        ByModelTest(
            quantity=quantity,
            revision=row.revision,
            n=row.n,
            nonconforming=row.nonconforming,
            accepted=row.accepted,
            fact=row.model_test,
        )
        for quantity in sorted(quantities)
        if (row := type_test(quantity, lot.revision, rows)) is not None
    )


def covered_by(reader: Reader, one: Selected, plan: Plan, unread: Collection[str]) -> dict[str, str]:
    """Of quantities that a ball has no verdict on, those that an accepted sample or type test covers, with what says so.

    As the plan has them inspected. A ball that was ever read for a quantity, even by a gauge that may not be used, or was
    reworked so that it can have changed, stands for itself alone.
    """
    voided = {} if one.measured is None else msgspec.json.decode(one.measured.voided)
    own = {*manner_of(one.measured), *voided}
    asked = {
        item.quantity: item.every
        for item in INSPECTS.decode(plan.inspect)
        if item.every != "unit" and item.quantity in unread and item.quantity not in own
    }
    found: dict[str, str] = {}
    if "sample" in asked.values():
        samples, parents = _samples(reader, one.lot.lot)
        for quantity in (quantity for quantity, every in asked.items() if every == "sample"):
            cover = sample_cover(one.lot.lot, quantity, samples.__getitem__, parents)
            if cover.accepted:
                found[quantity] = "by lot sample: " + "; ".join(map(_sample_words, cover.judged))
    if "model" in asked.values():
        tests = {test.quantity: test for test in by_model_test(reader, one.lot) if test.accepted}
        for quantity in (quantity for quantity, every in asked.items() if every == "model" and quantity in tests):
            test = tests[quantity]
            found[quantity] = f"by model test of revision {test.revision}: {_counts(test)} (fact {test.fact})"
    return found


def _samples(reader: Reader, lot: str) -> tuple[dict[str, list[SampleJudged]], Callable[[str], list[Descent]]]:
    """The judgements of samples of a lot and of those that it goes on from, and the edges between lots."""
    parents: Callable[[str], list[Descent]] = lambda name: reader.rows(Descent, "child", name)  # noqa: E731  # asked twice
    return {name: reader.rows(SampleJudged, "lot", name) for name in goes_on_from(lot, parents)}, parents


def _sample_words(row: SampleJudged) -> str:
    return f"{row.lot}, {_counts(row)} (fact {row.sample})"


def _counts(row: SampleJudged | ByModelTest) -> str:
    return f"{row.nonconforming} of {row.n} did not conform, accepted"
