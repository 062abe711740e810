"""A population's answer as its page shows it: outcomes side by side, the worst balls, requirements, and one quantity."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from markupsafe import Markup
from msgspec import UnsetType

from api.pages.catalogue import Catalogue
from api.pages.limits.histogram import Marks, draw_histogram
from ledger.application.limits_answer import Band, Bins, Distribution, LimitsAnswer
from ledger.application.process_capability import GroupCapability
from ledger.application.process_risk import RuleRisk
from ledger.conformity.outcome import OUTCOMES
from ledger.conformity.population import Tally, Worst
from ledger.conformity.requirement import Requirement
from ledger.conformity.requirement_words import decision_words, per_words, quantity_words, scope_words
from ledger.line.quantity import UNITS

ALWAYS = ("does_not_conform", "undecided", "conforms")
"""Outcomes that are told even where no ball comes out so."""


COLUMNS = ("conforms", "does_not_conform", "undecided", "not_measured", "barred")
"""Outcomes of the table by requirement that some ball has, besides those that are always told."""


class OutcomeRow(NamedTuple):
    """An outcome and its balls by the body's limits; ``house``: by the rule of the house, None where there is none."""

    outcome: str
    balls: int
    percent: float
    house: int | None
    house_percent: float | None


class RequirementRow(NamedTuple):
    """A requirement in words, and how balls come out by it; ``house`` is None where the house has no rule."""

    requirement: Requirement
    words: str
    scope: str
    per: str
    decision: str
    counts: Mapping[str, int]
    house: Mapping[str, int] | None

    @property
    def judged(self) -> int:
        """The balls to which it applies."""
        return sum(self.counts.values()) - self.counts["not_applicable"]


class WorstRow(NamedTuple):
    """Balls near or past a limit that come out in one way; margins are the book's own text, in ``unit`` as printed."""

    requirement: Requirement
    unit: str
    outcome: str
    balls: tuple[Worst, ...]


class GroupView(NamedTuple):
    """The distribution of a group, with its picture where it has one."""

    group: GroupCapability
    picture: Markup | None
    bands: tuple[Band, ...]
    risks: tuple[RuleRisk, ...]
    places: int


def outcome_rows(tally: Tally) -> list[OutcomeRow]:
    """The outcomes that some ball has, the worst first."""
    house = None if isinstance(tally.house_overall, UnsetType) else tally.house_overall
    rows = []
    for outcome in OUTCOMES:
        balls, by_house = tally.overall[outcome], None if house is None else house[outcome]
        if balls or by_house or outcome in ALWAYS:
            share = None if by_house is None else _percent(by_house, tally.balls)
            rows.append(OutcomeRow(outcome, balls, _percent(balls, tally.balls), by_house, share))
    return rows


def _percent(part: int, whole: int) -> float:
    return 100 * part / whole if whole else 0.0


def requirement_rows(tally: Tally, requirements: Mapping[str, Requirement]) -> list[RequirementRow]:
    """Every requirement, in the order of the rulebook."""
    house = None if isinstance(tally.house_counts, UnsetType) else tally.house_counts
    return [
        RequirementRow(
            requirement=requirements[id],
            words=f"{quantity_words(requirements[id])} {requirements[id].limit_text}",
            scope=scope_words(requirements[id].scope),
            per=per_words(requirements[id]),
            decision=decision_words(requirements[id]),
            counts=counts,
            house=None if house is None else house[id],
        )
        for id, counts in tally.counts.items()
    ]


def worst_rows(tally: Tally, requirements: Mapping[str, Requirement]) -> list[WorstRow]:
    """Of each requirement the balls that do not conform by it, by outcome, or else the one nearest to the limit."""
    rows = []
    for id, worst in tally.worst.items():
        told = [one for one in worst if one.outcome != "conforms"] or worst[:1]
        for outcome in dict.fromkeys(one.outcome for one in told):
            balls = tuple(one for one in told if one.outcome == outcome)
            rows.append(WorstRow(requirements[id], UNITS[requirements[id].unit].printed, outcome, balls))
    return rows


def group_views(distribution: Distribution, words: Catalogue) -> list[GroupView]:
    """Each group with a picture, as far as the answer has its bins."""
    figures = distribution.figures
    unit = UNITS[figures.unit].printed
    views = []
    for number, one in enumerate(figures.groups):
        bins = distribution.bins.get(one.group)
        bands = distribution.bands.get(one.group, ())
        drawn = None
        if bins is not None:
            drawn = draw_histogram(_marks(one, bins, bands), unit, words, number=number)
        risks = () if one.risk is None else one.risk.rules
        views.append(GroupView(one, drawn, bands, risks, 3 if bins is None else places_of(bins) + 1))
    return views


def _marks(one: GroupCapability, bins: Bins, bands: tuple[Band, ...]) -> Marks:
    limits, found = one.limits, one.capability
    low, high = (None, None) if limits is None else limits.ends
    return Marks(
        bins=bins,
        low=None if low is None else float(low),
        high=None if high is None else float(high),
        mean=None if found is None else found.mean,
        tolerance=None if found is None else found.tolerance,
        bands=bands,
        places=places_of(bins),
    )


def places_of(bins: Bins) -> int:
    """Decimals of a reading: those of a bin's width."""
    exponent = Decimal(f"{bins.width:.6f}").normalize().as_tuple().exponent
    return max(0, -int(exponent))


def population_values(
    answer: LimitsAnswer, requirements: Mapping[str, Requirement], words: Catalogue
) -> dict[str, Any]:
    """What the template needs."""
    rows = requirement_rows(answer.conformity.tally, requirements)
    told = [row for row in rows if row.judged]
    distribution = None if isinstance(answer.distribution, UnsetType) else answer.distribution
    return {
        "conformity": answer.conformity,
        "tally": answer.conformity.tally,
        "outcomes": outcome_rows(answer.conformity.tally),
        "has_house": not isinstance(answer.conformity.tally.house_overall, UnsetType),
        "rows": told,
        "columns": [one for one in COLUMNS if one in ALWAYS or any(row.counts[one] for row in told)],
        "requirements": requirements,
        "silent": [row for row in rows if not row.judged],
        "unread": [row.requirement for row in told if row.requirement.provenance != "read"],
        "worst": worst_rows(answer.conformity.tally, requirements),
        "units": answer.units,
        "distribution": distribution,
        "groups": [] if distribution is None else group_views(distribution, words),
        "unit": "" if distribution is None else UNITS[distribution.figures.unit].printed,
        "left_out": answer.left_out,
    }
