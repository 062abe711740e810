"""ledger.conformity.scope: which balls a requirement is about, and on which date."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from ledger.conformity.facts import BallFacts
from ledger.conformity.requirement import Scope
from ledger.conformity.scope import Applies, standing
from tests.conformity.balls import ball, reading, requirement

CLASS = {"min_class_lb": "13", "class_basis": "weighed", "class_edge": "13 lb is in"}


@pytest.mark.parametrize(
    ("weight", "applies"),
    [("12.999999", Applies.NO), ("13", Applies.YES), ("15.19", Applies.YES)],
)
def test_the_weighed_value_decides_at_the_edge(weight: str, applies: Applies) -> None:
    """Exactly 13 lb is in, a millionth less is out, whatever the nominal class says."""
    facts = ball({"mass": reading(weight, "lb", "mass")}, weight_class=13)
    assert applies is standing(requirement(scope=Scope(**CLASS)), facts).applies  # type: ignore[arg-type]


def test_a_weight_in_kilograms_is_held_against_pounds_exactly() -> None:
    """5.896700 kg is just under 13 lb (5.89670081 kg), 5.896701 kg just over."""
    under, over = (ball({"mass": reading(kg, "kg", "mass")}) for kg in ("5.896700", "5.896701"))
    limit = requirement(scope=Scope(**CLASS))  # type: ignore[arg-type]
    assert [standing(limit, facts).applies for facts in (under, over)] == [Applies.NO, Applies.YES]


def test_the_nominal_class_stands_in_and_says_so() -> None:
    """Without a usable weight the nominal class is taken, and without that it is unknown."""
    limit = requirement(scope=Scope(**CLASS))  # type: ignore[arg-type]
    overdue = reading("10", "lb", "mass", usable=False, why_unusable="the scale was overdue")
    answer = standing(limit, ball({"mass": overdue}))
    assert (answer.applies, "nominal class stands in" in answer.reasons[0]) == (Applies.YES, True)
    assert Applies.NO is standing(limit, ball(weight_class=12)).applies
    assert Applies.UNKNOWN is standing(limit, ball(weight_class=None)).applies


def test_a_nominal_basis_ignores_the_weighed_value() -> None:
    """A requirement that goes by the nominal class does not look at the scale."""
    limit = requirement(scope=Scope(min_class_lb="13", class_basis="nominal", class_edge="13 is in"))
    facts = ball({"mass": reading("12.9", "lb", "mass")}, weight_class=13)
    assert Applies.YES is standing(limit, facts).applies


@pytest.mark.parametrize(
    ("bounds", "weights"),
    [
        ({"min_class_lb": "8", "max_class_lb": "10"}, "8 9 10"),
        ({"min_class_lb": "8", "min_class_strict": True, "max_class_lb": "10"}, "9 10"),
        ({"min_class_lb": "8", "max_class_lb": "10", "max_class_strict": True}, "8 9"),
        ({"max_class_lb": "10"}, "7 8 9 10"),
        ({"max_class_lb": "10", "max_class_strict": True}, "7 8 9"),
        ({"min_class_lb": "10", "min_class_strict": True}, "11"),
    ],
)
def test_both_ends_of_a_class_hold_as_they_are_stated(bounds: dict[str, Any], weights: str) -> None:
    """An end is in unless it is strict; outside, the edge rule is quoted."""
    limit = requirement(scope=Scope(**bounds, class_basis="nominal", class_edge="as stated"))
    answers = {name: standing(limit, ball(weight_class=name)) for name in (7, 8, 9, 10, 11)}
    assert [int(name) for name in weights.split()] == [
        name for name, answer in answers.items() if answer.applies is Applies.YES
    ]
    assert all("(as stated)" in answer.reasons[0] for answer in answers.values() if answer.applies is Applies.NO)


@pytest.mark.parametrize(
    ("bounds", "words"),
    [
        ({"min_class_lb": "13"}, "balls of 13 lb or more"),
        ({"max_class_lb": "10"}, "balls of 10 lb or less"),
        ({"max_class_lb": "8", "max_class_strict": True}, "balls of under 8 lb"),
        ({"min_class_lb": "8", "max_class_lb": "10", "min_class_strict": True}, "balls of over 8 lb to 10 lb"),
    ],
)
def test_an_unknown_class_names_the_one_asked_for(bounds: dict[str, Any], words: str) -> None:
    """Without weight and class the answer says which balls the limit is for."""
    limit = requirement(scope=Scope(**bounds, class_basis="nominal", class_edge="as stated"))
    answer = standing(limit, ball(weight_class=None))
    assert (Applies.UNKNOWN, True) == (answer.applies, words in answer.reasons[0])


@pytest.mark.parametrize(
    ("scope", "facts", "applies"),
    [
        (Scope(drilled="undrilled"), ball(drilled=True), Applies.NO),
        (Scope(drilled="undrilled"), ball(), Applies.YES),
        (Scope(drilled="any"), ball(drilled=True), Applies.YES),
        (Scope(drilled="drilled"), ball(drilled=True), Applies.YES),
        (Scope(drilled="drilled"), ball(), Applies.NO),
        (Scope(finish="sanded"), ball(), Applies.UNKNOWN),
        (Scope(finish="sanded"), ball(finish="sanded"), Applies.YES),
        (Scope(finish="sanded"), ball(finish="polished"), Applies.NO),
        (Scope(core="asymmetric"), ball(), Applies.NO),
        (Scope(core="symmetric"), ball(), Applies.YES),
        (Scope(kind="urethane"), ball(), Applies.UNKNOWN),
        (Scope(kind="urethane", kind_unstated="outside"), ball(), Applies.NO),
        (Scope(kind="urethane"), ball(kinds={"urethane": True}), Applies.YES),
        (Scope(kind="urethane"), ball(kinds={"urethane": False}), Applies.NO),
    ],
)
def test_state_core_and_kind_are_looked_at(scope: Scope, facts: BallFacts, applies: Applies) -> None:
    """A condition of the scope that the ball does not meet puts it outside; one that nobody stated is unknown."""
    answer = standing(requirement(scope=scope), facts)
    assert applies is answer.applies
    assert applies is Applies.YES or answer.reasons


@pytest.mark.parametrize(
    ("clock", "dates", "applies"),
    [
        ("manufacture", {"made_on": dt.date(2022, 7, 31)}, Applies.NO),
        ("manufacture", {"made_on": dt.date(2022, 8, 1)}, Applies.YES),
        ("manufacture", {"made_on": None}, Applies.UNKNOWN),
        ("approval", {"approved_on": None}, Applies.UNKNOWN),
        ("approval", {"approved_on": dt.date(2022, 8, 1)}, Applies.YES),
        ("event", {}, Applies.NO),
        ("event", {"event_on": dt.date(2026, 1, 1)}, Applies.YES),
    ],
)
def test_each_clock_reads_its_own_date(clock: str, dates: dict[str, Any], applies: Applies) -> None:
    """The date of manufacture, of approval or of the event selects the limit, and no other date does."""
    limit = requirement(clock=clock, effective_from=dt.date(2022, 8, 1))
    assert applies is standing(limit, ball(**dates)).applies


def test_an_undated_limit_needs_no_date() -> None:
    """A limit without dates is in force for a ball without a date."""
    assert Applies.YES is standing(requirement(clock="approval"), ball(approved_on=None)).applies


def test_no_outweighs_unknown() -> None:
    """A ball outside the scope is outside whatever its date."""
    limit = requirement(scope=Scope(drilled="undrilled"), effective_from=dt.date(2022, 8, 1))
    assert Applies.NO is standing(limit, ball(drilled=True, made_on=None)).applies
