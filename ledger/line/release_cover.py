"""What a release counts as covered though the ball was not measured for it: checked against plan, samples and type tests."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from ledger.errors import RuleStands
from ledger.line.process_plan import INSPECTS
from ledger.line.reading_rows import Measured
from ledger.line.rows import Lot, Plan
from ledger.line.samples import check_type_test, sample_accepted
from ledger.line.standing_readings import sources_of
from ledger.line.state import State


def check_covered(
    quantities: Iterable[str], lot: Lot | None, measured: Measured | None, plan: Plan, state: State, *, where: str
) -> None:
    """Each quantity is covered as the plan has it inspected: by an accepted sample of the lot, or type test of the model.

    Raises RuleStands where it is not, and where the ball was read for it itself or reworked so that it can have changed:
    then it stands for itself alone.
    """
    items = {item.quantity: item.every for item in INSPECTS.decode(plan.inspect)}
    sources = sources_of(measured)
    voided = {} if measured is None else msgspec.json.decode(measured.voided)
    for quantity in quantities:
        every = items.get(quantity, "unit")
        if lot is None or every == "unit":
            raise RuleStands(
                f"plan {plan.plan} has {quantity} inspected by no sample and no type test",
                expected=", ".join(sorted(name for name, how in items.items() if how != "unit")) or "none",
                got=quantity,
                where=where,
                mend=f"measure {quantity}, then judge and release",
            )
        if quantity in sources or quantity in voided:
            raise RuleStands(
                f"no sample covers {quantity} of a ball that was measured for it itself, or reworked since",
                expected="the ball's own reading",
                got="measured" if quantity in sources else "reworked",
                where=where,
                mend=f"measure {quantity}, then judge and release on the reading",
            )
        if every == "model":
            check_type_test(quantity, lot, plan, state)
        elif not sample_accepted(lot.lot, quantity, state):
            raise RuleStands(
                f"the sample of {lot.lot} for {quantity} was not accepted",
                expected="an accepted sample",
                got="a rejected one",
                where=where,
                mend=f"measure {quantity} of each ball, then judge and release",
            )
