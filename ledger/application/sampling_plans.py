"""The sampling plan of a lot as it is answered: what to take, when to reject, and what the plan lets through."""

from __future__ import annotations

import msgspec

from ledger.conformity.sampling import LEVEL, MASTER, failing_at, find_plan, operating_curve, plan_line
from ledger.errors import MalformedInput

AQLS = tuple(MASTER)
"""The acceptable quality levels that the table has, in per cent failing."""

SOURCE = "MIL-STD-105E, Tables I and II-A: single sampling, normal inspection; switching rules are not applied"

_SHARES = (0.1, 0.25, 0.5, 0.65, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.5, 8.0, 10.0, 15.0, 20.0, 30.0)
"""Per cent failing at which the curve is given."""


class CurvePoint(msgspec.Struct, frozen=True, kw_only=True):
    """A share failing, in per cent, and the chance (0 to 1) that a lot from such a process is accepted."""

    failing_percent: float
    accepted: float


class SamplingPlan(msgspec.Struct, frozen=True, kw_only=True):
    """Take ``n``; accept the lot with at most ``Ac`` failing, reject it with ``Re`` or more.

    ``lot_letter``: what the lot's size gives; ``letter``: the row that is used, after the arrows of the table.
    ``whole``: the sample is the lot.  ``curve``: the operating characteristic.  ``producer_percent``: the share failing
    that is accepted 95 times of 100; ``consumer_percent``: the share that is accepted 10 times of 100.
    """

    lot_size: int
    aql: str
    level: str
    lot_letter: str
    letter: str
    n: int
    Ac: int
    Re: int
    whole: bool
    provenance: str
    source: str
    producer_percent: float
    consumer_percent: float
    curve: tuple[CurvePoint, ...]
    says: tuple[str, ...]


def sampling_plan(lot_size: int, aql: str) -> SamplingPlan:
    """The plan of a lot. Raises MalformedInput for an AQL that the table does not have, MalformedQuantity for a lot of one."""
    if aql not in MASTER:
        raise MalformedInput(
            "AQL has no column in the table",
            expected=" or ".join(AQLS),
            got=aql,
            where="aql",
            mend="name one of those, with the digits as they are printed",
        )
    plan = find_plan(lot_size, aql)
    producer, consumer = (100 * failing_at(plan.sample, plan.accept, chance) for chance in (0.95, 0.10))
    curve = operating_curve(plan.sample, plan.accept, [share / 100 for share in _SHARES])
    return SamplingPlan(
        lot_size=plan.lot,
        aql=plan.aql,
        level=LEVEL,
        lot_letter=plan.lot_letter,
        letter=plan.letter,
        n=plan.sample,
        Ac=plan.accept,
        Re=plan.reject,
        whole=plan.whole,
        provenance=plan.provenance,
        source=SOURCE,
        producer_percent=producer,
        consumer_percent=consumer,
        curve=tuple(
            CurvePoint(failing_percent=percent, accepted=chance)
            for percent, (_, chance) in zip(_SHARES, curve, strict=True)
        ),
        says=(plan_line(plan), *_curve_says(producer, consumer, whole=plan.whole)),
    )


def _curve_says(producer: float, consumer: float, *, whole: bool) -> tuple[str, ...]:
    said = (
        f"a process with {producer:.2g} % failing has its lots accepted 95 times of 100, "
        f"one with {consumer:.2g} % failing 10 times of 100 (binomial: lots of a steady process)"
    )
    return (said, "every ball is inspected, so what is accepted holds no failing ball unseen") if whole else (said,)
