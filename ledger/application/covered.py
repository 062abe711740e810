"""What covers a quantity that a ball was not measured for: a sample of its lot, or a type test of its model."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import NamedTuple

import msgspec

from ledger.application.editions_then import EditionsThen
from ledger.conformity.rulebook import RulebookFile
from ledger.line.process_plan import INSPECTS, Inspect
from ledger.line.release_cover import stands_alone
from ledger.line.rows import Descent, Lot, LotStep, ModelJudged, Plan, SampleJudged
from ledger.line.sample_cover import Cover, goes_on_from, sample_cover
from ledger.line.samples import short_of_plan, type_test
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
    lots = _Lots(reader, lot)
    quantities = lots.quantities - set(leave_out)
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
        for row in lots.cover(quantity).judged
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


class Covered(NamedTuple):
    """By quantity, in words: what covers it; and why what was accepted does not."""

    by: dict[str, str]
    not_by: dict[str, str]


def covered_by(reader: Reader, one: Selected, plan: Plan, unread: Collection[str], edition: RulebookFile) -> Covered:
    """Of quantities that a ball has no verdict on under an edition, those that an accepted sample or type test covers.

    As the plan has them inspected, by its numbers, and judged while an edition was in force that limits the quantity alike.
    A ball that was ever read for a quantity, even by a gauge that may not be used, or was reworked so that it can have
    changed, stands for itself alone.
    """
    asked = [item for item in INSPECTS.decode(plan.inspect) if item.every != "unit" and item.quantity in unread]
    found = Covered({}, {})
    lots = _Lots(reader, one.lot.lot) if any(item.every == "sample" for item in asked) else None
    models = [] if one.lot.model is None or not asked else reader.rows(ModelJudged, "model", one.lot.model)
    editions = EditionsThen(reader, edition)
    for item in asked:
        judged: Sequence[SampleJudged | ModelJudged] = ()
        if item.every == "sample" and lots is not None:
            cover = lots.cover(item.quantity)
            judged = cover.judged if cover.accepted else ()
        elif (test := type_test(item.quantity, one.lot.revision, models)) is not None and test.accepted:
            judged = (test,)
        if judged:
            why_not = _why_not(judged, item, one, editions)
            kind = "lot sample" if item.every == "sample" else "model test"
            said = "; ".join(map(_words, judged))
            if why_not:
                found.not_by[item.quantity] = f"not by {kind}: {said}; {why_not}"
            else:
                found.by[item.quantity] = f"by {kind}: {said}" if item.every == "sample" else f"by {kind} {said}"
    return found


def _why_not(judged: Sequence[SampleJudged | ModelJudged], item: Inspect, one: Selected, editions: EditionsThen) -> str:
    """Why accepted judgements do not cover a ball's quantity; empty where they do."""
    judged_ms = min((row.judged_ms for row in judged if isinstance(row, SampleJudged)), default=None)
    alone = stands_alone(item.quantity, one.unit, one.measured, judged_ms)
    if alone:
        return f"the ball was {alone}, and stands for itself alone"
    for row in judged:
        why_not = short_of_plan(row, item) or editions.changed_since(_fact(row), item.quantity)
        if why_not:
            return why_not
    return ""


class _Lots:
    """The judgements of samples of a lot and of those that it goes on from, their steps, and the edges between them."""

    def __init__(self, reader: Reader, lot: str) -> None:
        self._lot = lot
        self._parents: Callable[[str], list[Descent]] = lambda name: reader.rows(Descent, "child", name)
        names = goes_on_from(lot, self._parents)
        self._samples: dict[str, list[SampleJudged]] = {name: reader.rows(SampleJudged, "lot", name) for name in names}
        self._steps: dict[str, list[LotStep]] = {name: reader.rows(LotStep, "lot", name) for name in names}

    @property
    def quantities(self) -> set[str]:
        """What any of them was judged for."""
        return {row.quantity for rows in self._samples.values() for row in rows}

    def cover(self, quantity: str) -> Cover:
        """How samples cover the lot for a quantity."""
        return sample_cover(
            self._lot, quantity, self._samples.__getitem__, self._parents, steps=self._steps.__getitem__
        )


def _fact(row: SampleJudged | ModelJudged) -> str:
    return row.sample if isinstance(row, SampleJudged) else row.model_test


def _words(row: SampleJudged | ModelJudged) -> str:
    whose = f"{row.lot}," if isinstance(row, SampleJudged) else f"of revision {row.revision}:"
    return f"{whose} {_counts(row)} (fact {_fact(row)})"


def _counts(row: SampleJudged | ModelJudged) -> str:
    return f"{row.nonconforming} of {row.n} did not conform, accepted"
