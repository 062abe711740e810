"""What a release counts as covered though the ball was not measured for it: checked against plan, samples and type tests."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import msgspec

from ledger.errors import RuleStands
from ledger.line.process_plan import INSPECTS, Inspect
from ledger.line.reading_rows import Measured
from ledger.line.rows import Lot, Plan, Unit
from ledger.line.sample_cover import lot_cover
from ledger.line.samples import check_type_test, sample_accepted
from ledger.line.standing_readings import sources_of
from ledger.line.state import State


class Bearer(NamedTuple):
    """A ball with what decides whether a sample or a type test may stand for it."""

    unit: Unit
    lot: Lot | None
    measured: Measured | None
    plan: Plan


def stands_alone(quantity: str, unit: Unit, measured: Measured | None, judged_ms: int | None) -> str:
    """Why no sample or type test stands for a ball in a quantity; empty where one may.

    ``judged_ms``: when the earliest of its samples was judged, none for a type test.  A ball that was read itself, or
    reworked so that the quantity can have changed, stands for itself alone; one that was worked so in its making, like the
    balls of a type test, only where its sample was judged before that.
    """
    return "measured" if quantity in sources_of(measured) else changed_since(quantity, unit, measured, judged_ms)


def changed_since(quantity: str, unit: Unit, measured: Measured | None, judged_ms: int | None) -> str:
    """Why a ball no longer is what its sample or type test showed, whether or not it was read; see `stands_alone`."""
    voided: dict[str, int] = {} if measured is None else msgspec.json.decode(measured.voided)
    if quantity not in voided:
        return ""
    if unit.rework is not None:
        return "reworked"
    return "worked after the sample was judged" if judged_ms is not None and judged_ms < voided[quantity] else ""


def judged_ms_of(item: Inspect, ball: Bearer, state: State) -> int | None:
    """When the earliest of the samples that a ball rests on was judged; none for a type test, or without a sample."""
    if item.every != "sample" or ball.lot is None:
        return None
    return min((row.judged_ms for row in lot_cover(ball.lot.lot, item.quantity, state).judged), default=None)


def check_covered(quantities: Iterable[str], ball: Bearer, state: State, *, where: str) -> None:
    """Each quantity is covered as the plan has it inspected: by an accepted sample of the lot, or type test of the model.

    Raises RuleStands where it is not, and where the ball stands for itself alone.
    """
    items = {item.quantity: item for item in INSPECTS.decode(ball.plan.inspect)}
    for quantity in quantities:
        item = items.get(quantity)
        if ball.lot is None or item is None or item.every == "unit":
            raise RuleStands(
                f"plan {ball.plan.plan} has {quantity} inspected by no sample and no type test",
                expected=", ".join(sorted(name for name, how in items.items() if how.every != "unit")) or "none",
                got=quantity,
                where=where,
                mend=f"measure {quantity}, then judge and release",
            )
        alone = stands_alone(quantity, ball.unit, ball.measured, judged_ms_of(item, ball, state))
        if alone:
            raise RuleStands(
                f"no sample covers {quantity} of a ball that was measured for it itself, or reworked since",
                expected="the ball's own reading",
                got=alone,
                where=where,
                mend=f"measure {quantity}, then judge and release on the reading",
            )
        if item.every == "model":
            check_type_test(quantity, ball.lot, ball.plan, state)
        elif not sample_accepted(ball.lot.lot, item, state):
            raise RuleStands(
                f"the sample of {ball.lot.lot} for {quantity} was not accepted",
                expected="an accepted sample",
                got="a rejected one",
                where=where,
                mend=f"measure {quantity} of each ball, then judge and release",
            )
