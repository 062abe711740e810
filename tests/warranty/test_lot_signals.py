"""Members of a family against the rest: age for age, model by model, and what signals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom

from ledger.errors import MalformedQuantity
from ledger.warranty.exact_tests import ratio_interval
from ledger.warranty.exposure import Cohort, Spell, spell_columns
from ledger.warranty.lot_signals import LEAST_CLAIMS, FamilyLook, MemberSignal, Roll, look_at, signal_level
from ledger.warranty.members import Members


def shells(count: int, model: str = "M1") -> list[Cohort]:
    """Shell lots S0, S1, ... of one model."""
    return [Cohort(f"S{number}", None, model) for number in range(count)]


def each_its_own(cohorts: list[Cohort]) -> Members:
    """The family of shell lots."""
    return {cohort.lot: {place: "certain"} for place, cohort in enumerate(cohorts)}


def looked(spells: list[Spell], cohorts: list[Cohort], members: Members | None = None, q: float = 0.05) -> FamilyLook:
    """A look at shell lots."""
    roll = Roll({"shell": each_its_own(cohorts) if members is None else members}, cohorts)
    return look_at(roll, spell_columns(spells), q)["shell"]


def named(look: FamilyLook, name: str) -> MemberSignal:
    """One member of a look."""
    return next(one for one in look.members if one.name == name)


def lot(cohort: int, days: int, balls: int, claims: int) -> list[Spell]:
    """Balls of one age of which some were claimed at half of it."""
    return [Spell(cohort, days, balls - claims, out=True), Spell(cohort, days // 2, claims, claimed=True)]


def test_one_band_is_the_plain_conditional_test() -> None:
    """With one age the expected share is the share of ball-days, and the ratio that of the two rates."""
    spells = [*lot(0, 20, 100, 9), *lot(1, 20, 300, 6)]
    one = named(looked(spells, shells(2)), "S0")
    days, rest = 91 * 20 + 9 * 10, 294 * 20 + 6 * 10
    share = days / (days + rest)
    assert (9, 15) == (one.compared, one.of)
    assert 15 * share == pytest.approx(one.expected)
    assert one.p == pytest.approx(binom.sf(9, 15, share) + binom.pmf(9, 15, share) / 2)
    assert one.ratio == pytest.approx((9 / days) / (6 / rest))
    assert (one.ratio_low, one.ratio_high) == pytest.approx(ratio_interval(9, days, 6, rest))


def test_an_old_lot_is_held_against_the_same_age() -> None:
    """Claims come late: an old lot with many and a young one with few are alike once their ages are."""
    young = [*lot(0, 28, 1_000, 2), *lot(1, 28, 1_000, 2)]
    old = [*lot(0, 28, 1_000, 2), Spell(1, 300, 960, out=True), Spell(1, 14, 2, claimed=True)]
    old += [Spell(1, 200, 38, claimed=True)]
    for spells in (young, old):
        one = named(looked(spells, shells(2)), "S1")
        assert one.ratio == pytest.approx(1.0, abs=0.05)
        assert "no-signal" == one.stands
    assert (40, 2, 4) == (one.claims, one.compared, one.of)


def test_expected_claims_of_a_family_add_up() -> None:
    """Where every ball belongs to one member and all bands are shared, what is expected sums to what was claimed."""
    rng = np.random.default_rng(5)
    spells = [Spell(int(at), int(days), 40, claimed=bool(hit)) for at, days, hit in
              zip(rng.integers(0, 6, 400), rng.integers(1, 700, 400), rng.random(400) < 0.1, strict=True)]  # fmt: skip
    found = Roll({"shell": each_its_own(shells(6))}, shells(6)).compare(spell_columns(spells))
    claims = sum(one.balls for one in spells if one.claimed)
    assert claims == pytest.approx(found.expected.sum())
    assert (claims, claims) == (found.claims.sum(), found.compared.sum())


def test_models_are_not_mixed() -> None:
    """A lot of a model with many claims is no signal among its like, and a model alone has nothing to be compared with."""
    cohorts = [*shells(4), Cohort("T0", None, "M2"), Cohort("U0", None, "M3"), Cohort("U1", None, "M3")]
    spells = [one for place in range(4) for one in lot(place, 20, 500, 3)]
    spells += [*lot(4, 20, 100, 50), *lot(5, 20, 500, 60), *lot(6, 20, 500, 60)]
    look = looked(spells, cohorts)
    assert ("no-signal", "no-comparison") == (named(look, "U0").stands, named(look, "T0").stands)
    assert (6, None, None) == (look.tested, named(look, "T0").p, named(look, "T0").ratio)


def test_a_bad_lot_signals_and_the_others_do_not() -> None:
    """Ten lots, one with eight times the claims: one signal, the first of the list, with an interval above 1."""
    spells = [one for place in range(10) for one in lot(place, 200, 500, 24 if place == 4 else 3)]
    look = looked(spells, shells(10))
    first, *others = look.members
    assert ("S4", "signal") == (first.name, first.stands)
    assert first.ratio_low is not None
    assert first.ratio_low > 1
    assert {"no-signal"} == {one.stands for one in others}
    assert first.adjusted is not None
    assert first.adjusted <= look.level == pytest.approx(0.05 / 53)


def test_what_stands_out_at_one_look_need_not_signal() -> None:
    """Between the level of a signal and q."""
    spells = [one for place in range(10) for one in lot(place, 200, 500, 10 if place == 4 else 2)]
    one = named(looked(spells, shells(10)), "S4")
    assert one.adjusted is not None
    assert signal_level(0.05) < one.adjusted <= 0.05
    assert "stands-out" == one.stands


def test_two_claims_are_no_signal() -> None:
    """However rare claims are elsewhere, a member needs three."""
    spells = [Spell(0, 1, 1, out=True), *lot(1, 200, 100_000, 1)]
    for claims in (LEAST_CLAIMS - 1, LEAST_CLAIMS):
        look = looked([*spells, Spell(0, 1, claims, claimed=True), Spell(1, 2, 1, claimed=True)], shells(2))
        assert ("signal" if claims == LEAST_CLAIMS else "no-signal") == named(look, "S0").stands


def test_possible_balls_count_and_are_told() -> None:
    """Two core lots with the very same balls are named with each other; what may be theirs is counted whole."""
    cohorts, both = shells(3), {0: "possible", 1: "possible"}
    members: Members = {"C1": dict(both), "C2": dict(both), "C3": {1: "certain", 2: "certain"}}  # type: ignore[arg-type]  # of the two words
    spells = [one for place in range(3) for one in lot(place, 20, 100, 5)]
    look = looked(spells, cohorts, members)
    one, other, third = named(look, "C1"), named(look, "C2"), named(look, "C3")
    assert ((200, 200, ("C2",)), (200, 0, ())) == (
        (one.balls, one.possible_balls, one.alike), (third.balls, third.possible_balls, third.alike),
    )  # fmt: skip
    assert (one.p, one.claims) == (other.p, other.claims)


def test_no_claim_and_no_ball_are_no_comparison() -> None:
    """Without claims there is no rate to compare; without balls there is no member."""
    look = looked([Spell(0, 20, 5, out=True), Spell(1, 20, 5, out=True)], shells(2))
    assert (0, ["no-comparison"] * 2) == (look.tested, [one.stands for one in look.members])
    assert () == looked([], [], {}).members


@pytest.mark.parametrize("q", [0.0, 1.0, math.nan])
def test_a_rate_lies_between_0_and_1(q: float) -> None:
    """Any other is refused before anything is looked at."""
    with pytest.raises(MalformedQuantity, match="q is out of range"):
        signal_level(q)


def test_the_binomial_law_is_the_safe_side_of_the_sum_over_bands() -> None:
    """Beyond its mean, the law of a sum over bands has the lighter tail (Hoeffding 1956), counted out on two bands."""
    bands = [(12, 0.5), (40, 0.05)]
    sums = np.convolve(*[binom.pmf(np.arange(of + 1), of, share) for of, share in bands])
    mean, of = sum(of * share for of, share in bands), sum(of for of, _ in bands)
    counts = np.arange(math.ceil(mean) + 1, 25)
    assert all(sums[count:].sum() <= binom.sf(count - 1, of, mean / of) for count in counts)
