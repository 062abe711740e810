"""What a decision rule costs over the production that a group's readings show: global consumer's and producer's risk.

The production is normal about the readings' mean; its standard deviation is that of the readings, less what repeating a
reading adds to it, where that is known.  A reading is normal about the true value with the largest standard uncertainty of
the group's gauges.  Rules: simple acceptance, and the rule of the house where the release policy states one.
Source: JCGM 106:2012, 9.5 (clause from memory); `ledger.conformity.risk`.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import msgspec

from ledger.application.process_doubt import GroupDoubt
from ledger.application.process_limits import LimitsSeen
from ledger.application.release_policies import policy_in_force
from ledger.conformity.house import Rule
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.moments import Moments
from ledger.conformity.probability import THREE_WAY_FACTOR, guard_band
from ledger.conformity.risk import GlobalRisk, Production, Tolerance, global_risk
from ledger.conformity.uncertainty import in_figures
from ledger.line.quantity import UNITS
from ledger.store.reader import Reader

Side = Literal["lower", "upper", "both"]

ASSUMED = (
    "the risks take the true values for one normal distribution and the production for stable; "
    "they are of the whole production, not of one ball with its reading known"
)


class RuleRisk(msgspec.Struct, frozen=True, kw_only=True):
    """Shares of the production (0 to 1) under one limit, or both, by one rule.

    ``w``: guard band, in the unit.  ``consumer``: accepted though they do not conform, RC; ``producer``: not accepted
    though they conform, RP: what a rule leaves undecided counts with what it rejects.  ``says`` has both in words.
    """

    limit: Side
    by: Literal["simple", "house"]
    rule: str
    w: float
    consumer: float
    producer: float
    conforming: float
    accepted: float
    says: str


class RiskSeen(msgspec.Struct, frozen=True, kw_only=True):
    """The global risks of a group. ``mean`` and ``sd``: of the true values; ``um``: standard uncertainty of a reading.

    All in the unit of the figure.  ``gauge``: whose um it is.  ``says``: what they rest on, then each risk, in words.
    """

    mean: float
    sd: float
    um: float
    gauge: str
    rules: tuple[RuleRisk, ...]
    says: tuple[str, ...]


class HouseRule(NamedTuple):
    """The rule of the house for a quantity, and the fact of the policy that states it."""

    rule: Rule
    policy: str


def house_rule(reader: Reader, quantity: str) -> HouseRule | None:
    """The rule of the house for a quantity; None where no policy is in force."""
    row = policy_in_force(reader)
    house = house_policy(row)
    if row is None or house is None:
        return None
    return HouseRule(house.quantities.get(quantity) or Rule(house.decision, house.guard_r), row.address)


def risk_of(
    moments: Moments, limits: LimitsSeen, doubt: GroupDoubt, unit: str, house: HouseRule | None
) -> RiskSeen | str:
    """The global risks of a group of 2 readings or more, or the sentence that says why there are none. About 6 ms."""
    worst = doubt.worst
    if worst is None or worst.u is None:
        whose = ", ".join(f"{gauge} ({count} readings)" for gauge, count in sorted(doubt.unknown.items()))
        return f"no global risk: the uncertainty of {whose} is not known; state U with its calibration"
    printed, mean, s = UNITS[unit].printed, float(moments.mean), moments.s
    scatter = doubt.scatter
    sd = s if scatter is None else math.sqrt(max(0.0, s * s - scatter * scatter))
    rules = tuple(_rules(Production(mean, sd), worst.u, limits, printed, house))
    taken = _sd_says(s, scatter, sd, printed)
    production = (
        f"global risk: true values about {in_figures(mean, 6)} {printed} with standard deviation {in_figures(sd, 3)} "
        f"{printed}, from {moments.count} readings{taken}"
    )
    grounds = (
        production,
        f"um = {in_figures(worst.u, 3)} {printed} of {worst.gauge}{_others(doubt)}: {worst.said}",
        "the house has no rule of its own" if house is None else f"rule of the house: policy, fact {house.policy}",
    )
    return RiskSeen(
        mean=mean,
        sd=sd,
        um=worst.u,
        gauge=worst.gauge,
        rules=rules,
        says=(*grounds, *(one.says for one in rules), ASSUMED),
    )


def _sd_says(s: float, scatter: float | None, sd: float, printed: str) -> str:
    if scatter is None:
        return "; what repeating adds is not known and not taken off"
    if sd == 0:
        return "; the readings scatter no more than one ball's would, so all true values are taken as one"
    return f"; s = {in_figures(s, 3)} {printed}, less {in_figures(scatter, 3)} {printed} that repeating adds"


def _others(doubt: GroupDoubt) -> str:
    if len(doubt.largest) == 1:
        return ""
    return f", the largest of {len(doubt.largest)} gauges ({', '.join(sorted(doubt.largest))})"


def _rules(
    production: Production, um: float, limits: LimitsSeen, printed: str, house: HouseRule | None
) -> list[RuleRisk]:
    low, high = (None if end is None else float(end) for end in limits.ends)
    sides: list[tuple[Side, Tolerance]] = []
    sides += [("lower", Tolerance(low=low))] if low is not None else []
    sides += [("upper", Tolerance(high=high))] if high is not None else []
    sides += [("both", Tolerance(low, high))] if low is not None and high is not None else []
    asked: list[tuple[Literal["simple", "house"], Rule]] = [("simple", Rule("simple"))]
    asked += [("house", house.rule)] if house is not None else []
    return [
        _rule_risk(side, by, rule, global_risk(production, um, tolerance, band_of(rule, um)), (um, printed, limits))
        for side, tolerance in sides
        for by, rule in asked
    ]


def band_of(rule: Rule, um: float) -> float:
    """The guard band of a rule, in the unit of the standard uncertainty ``um`` of a reading."""
    if rule.decision == "simple":
        return 0.0
    return guard_band(float(rule.guard_r), um) if rule.decision == "guarded" else float(THREE_WAY_FACTOR) * um


def _rule_risk(
    side: Side,
    by: Literal["simple", "house"],
    rule: Rule,
    risk: GlobalRisk,
    shown_with: tuple[float, str, LimitsSeen],
) -> RuleRisk:
    um, printed, limits = shown_with
    band = band_of(rule, um)
    what = {"lower": f"lower limit {limits.low}", "upper": f"upper limit {limits.high}", "both": "both limits"}[side]
    named = f"{what} {printed}" if side != "both" else what
    guard = f" (w = {in_figures(band, 3)} {printed})" if band else ""
    whose = "rule of the house, " if by == "house" else ""
    undecided = " (undecided ones among them)" if band else ""
    return RuleRisk(
        limit=side,
        by=by,
        rule=rule.words,
        w=band,
        consumer=risk.consumer,
        producer=risk.producer,
        conforming=risk.conforming,
        accepted=risk.accepted,
        says=(
            f"{named}, {whose}{rule.words}{guard}: RC {percent(risk.consumer)} of all balls accepted though they do not "
            f"conform, RP {percent(risk.producer)} not accepted though they conform{undecided}"
        ),
    )


def percent(share: float) -> str:
    """A share as per cent, three digits; what is smaller than one in a million balls says so."""
    return "below 0.0001 %" if share < 1e-6 else f"{in_figures(100 * share, 3)} %"
