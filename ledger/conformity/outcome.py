"""What a verdict says: its outcome, its figures as decimal text, and why. It judges nothing: see ``verdict``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import msgspec
from msgspec import UNSET, UnsetType

from ledger.conformity.requirement import Provenance

Outcome = Literal["conforms", "does_not_conform", "undecided", "not_measured", "barred", "not_applicable"]

OUTCOMES: tuple[Outcome, ...] = (
    "does_not_conform",
    "undecided",
    "not_measured",
    "barred",
    "conforms",
    "not_applicable",
)
"""Every outcome, worst first."""

CAUTION = (
    "the maker's own assessment, not an approval; approval rests with the governing body, "
    "and every limit must be checked against the body's current manual"
)


class HouseVerdict(msgspec.Struct, frozen=True, kw_only=True):
    """How the same figure comes out by the rule of the house, with ``sentence`` to say so.

    ``guard_band``: decimal text in the verdict's unit, rounded up to four digits.  ``acceptance``: the values that the
    rule accepts, empty where they are the limit's own.
    """

    outcome: Outcome
    decision: str
    guard_band: str | None = None
    acceptance: str = ""
    sentence: str


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """One requirement judged for one ball, or for what else ``per`` names.

    ``value`` and ``margin`` are decimal text in ``unit``, the limit's unit, exact to 18 places; ``margin`` is positive
    inside the limit and negative outside it.  ``converted`` tells that the value was measured in another unit.
    ``expanded`` is U = 2u and ``guard_band`` that of the requirement's own rule, in ``unit``, rounded up where they have
    more than four digits; ``acceptance``: the values that this rule accepts, empty where they are the limit's own.
    ``probability``: of conforming, without a prior (JCGM 106:2012, 7.3; from memory), where u is known.
    ``u_from``: where the uncertainty comes from, in words.  ``more_readings``: what further readings would do, where the
    requirement's rule or the house's leaves it undecided.  ``house``: absent where the house has no policy.
    ``fact``: the address of the reading that was judged.
    """

    requirement: str
    quantity: str
    outcome: Outcome
    limit: str
    unit: str
    value: str | None = None
    expanded: str | None = None
    margin: str | None = None
    probability: str | None = None
    guard_band: str | None = None
    acceptance: str = ""
    more_readings: str = ""
    converted: bool = False
    decision: str
    effect: Literal["limit", "bar", "trigger"] = "limit"
    per: Literal["ball", "lot_mean", "component", "model"] = "ball"
    house: HouseVerdict | UnsetType = UNSET
    reasons: tuple[str, ...] = ()
    provenance: Provenance
    body: str = ""
    source: str
    section: str = ""
    fact: str = ""
    u_from: str = ""
    caution: str = CAUTION


def overall(verdicts: Iterable[Verdict]) -> Outcome:
    """The worst outcome; not applicable when there is none."""
    return worst(verdict.outcome for verdict in verdicts)


def house_overall(verdicts: Iterable[Verdict]) -> Outcome | None:
    """The worst outcome by the house's policy; None where no verdict was judged by one."""
    houses = [verdict.house for verdict in verdicts]
    judged = [house.outcome for house in houses if not isinstance(house, UnsetType)]
    return worst(judged) if judged else None


def worst(outcomes: Iterable[Outcome]) -> Outcome:
    """The worst of the outcomes; not applicable when there is none."""
    found = set(outcomes)
    return next((outcome for outcome in OUTCOMES if outcome in found), "not_applicable")
