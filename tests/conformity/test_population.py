"""ledger.conformity.population: counts add up and the worst balls are named."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.house import HousePolicy
from ledger.conformity.population import Worst, judge_population
from ledger.conformity.verdict import judge_ball, overall
from ledger.line.quantity import SCALE
from tests.conformity.balls import HARDNESS, ball, rulebook

BOOK = rulebook(HARDNESS)


def made(name: int, points: int | None) -> BallFacts:
    """A ball of so many points Shore D, or unmeasured."""
    readings = {} if points is None else {"hardness": Measured(value_scaled=points * SCALE, unit="shore_d")}
    return ball(readings, ball=f"ball-{name}")


@given(st.lists(st.none() | st.integers(65, 85), max_size=30), st.integers(0, 6))
def test_the_tally_is_what_single_verdicts_give(points: list[int | None], keep: int) -> None:
    """Counts equal those of the balls judged one by one, and the worst are the least margins in order."""
    balls = [made(at, value) for at, value in enumerate(points)]
    tally = judge_population(BOOK, iter(balls), keep_worst=keep)
    singles = [overall(judge_ball(BOOK, one)) for one in balls]
    assert len(balls) == tally.balls == sum(tally.overall.values())
    assert {name: singles.count(name) for name in tally.overall} == tally.overall  # type: ignore[arg-type]
    assert tally.overall == tally.counts["hardness"]
    measured = [(value, at) for at, value in enumerate(points) if value is not None]
    expected = [(f"ball-{at}", str(value - 73)) for value, at in sorted(measured)[:keep]]
    assert expected == [(worst.ball, worst.margin) for worst in tally.worst["hardness"]]


def test_the_worst_ball_says_what_became_of_it() -> None:
    """A ball past the limit and one inside it are told apart."""
    tally = judge_population(BOOK, [made(1, 75), made(2, 72)])
    assert (Worst("ball-2", "-1", "does_not_conform"), Worst("ball-1", "2", "conforms")) == tally.worst["hardness"]


def test_the_house_is_counted_beside_the_body() -> None:
    """Two balls pass the limit, one of them only by the limit's own rule; without a policy the house has no counts."""
    balls = [
        ball({"hardness": Measured(value_scaled=points * SCALE, unit="shore_d", u_scaled=SCALE)}, ball=str(points))
        for points in (72, 74, 76)
    ]
    tally = judge_population(BOOK, balls, policy=HousePolicy(decision="guarded"))
    own = {outcome: count for outcome, count in tally.overall.items() if count}
    assert {"conforms": 2, "does_not_conform": 1} == own
    assert isinstance(tally.house_overall, dict)
    assert isinstance(tally.house_counts, dict)
    house = {outcome: count for outcome, count in tally.house_overall.items() if count}
    assert {"conforms": 1, "undecided": 1, "does_not_conform": 1} == house
    assert tally.house_overall == tally.house_counts["hardness"]
    assert (UNSET, UNSET) == tuple(
        getattr(judge_population(BOOK, balls), name) for name in ("house_overall", "house_counts")
    )


def test_a_barred_ball_is_counted_as_barred() -> None:
    """It neither conforms nor fails."""
    tally = judge_population(rulebook(HARDNESS + 'effect = "bar"\n'), [made(1, 72), made(2, 74)])
    assert (1, 1, 0) == tuple(tally.overall[name] for name in ("barred", "conforms", "does_not_conform"))
