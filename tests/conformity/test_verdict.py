"""ledger.conformity.verdict: exact comparison, decision rules, missing readings and dates."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.facts import Measured
from ledger.conformity.house import HousePolicy
from ledger.conformity.verdict import CAUTION, HouseVerdict, judge, judge_ball, overall
from ledger.line.quantity import SCALE
from tests.conformity.balls import HARDNESS, ball, reading, requirement, rulebook

OPERATORS = st.sampled_from(["<", "<=", ">", ">="])


def hardness(value_scaled: int, u_scaled: int | None = None) -> dict[str, Measured]:
    """One hardness reading, in millionths of a point."""
    return {"hardness": Measured(value_scaled=value_scaled, unit="shore_d", u_scaled=u_scaled, fact="7.1")}


@given(st.integers(60 * SCALE, 90 * SCALE), st.integers(60 * SCALE, 90 * SCALE), OPERATORS)
def test_the_margin_and_the_outcome_agree(value: int, limit: int, operator: str) -> None:
    """A positive margin conforms, a negative one does not, and on the limit the operator decides."""
    text = f"{Fraction(limit, SCALE).numerator / Fraction(limit, SCALE).denominator:.6f}"
    verdict = judge(requirement(operator=operator, limits=(text,)), ball(hardness(value)))
    margin = Fraction(verdict.margin or "nothing")
    assert Fraction(abs(value - limit), SCALE) == abs(margin)
    conforms = margin > 0 or (margin == 0 and operator in ("<=", ">="))
    assert ("conforms" if conforms else "does_not_conform") == verdict.outcome


@pytest.mark.parametrize(
    ("operator", "outcome"),
    [(">=", "conforms"), ("<=", "conforms"), (">", "does_not_conform"), ("<", "does_not_conform")],
)
def test_a_value_on_the_limit_goes_by_the_operator(operator: str, outcome: str) -> None:
    """At exactly 73 the strict operators refuse and the others accept."""
    verdict = judge(requirement(operator=operator), ball(hardness(73 * SCALE)))
    assert (outcome, "0") == (verdict.outcome, verdict.margin)
    assert "the value lies on the limit" in verdict.reasons


@given(st.integers(26 * SCALE, 28 * SCALE))
def test_a_range_holds_both_its_ends(value: int) -> None:
    """A ball conforms exactly when it lies between the two limits, ends included."""
    limit = requirement(quantity="circumference", operator="range", limits=("26.704", "27.002"), unit="in")
    verdict = judge(limit, ball({"circumference": Measured(value_scaled=value, unit="in")}))
    inside = 26_704_000 <= value <= 27_002_000
    assert ("conforms" if inside else "does_not_conform") == verdict.outcome
    assert inside == (Fraction(verdict.margin or "nothing") >= 0)


def test_a_converted_value_is_exact_and_said() -> None:
    """7.257478 kg lies under 16 lb (7.25747792 kg is 16 lb) only if nothing is rounded."""
    limit = requirement(quantity="mass", operator="<=", limits=("16.0",), unit="lb")
    over, under = (judge(limit, ball({"mass": reading(kg, "kg", "mass")})) for kg in ("7.257478", "7.257477"))
    assert (over.outcome, over.converted, over.margin.startswith("-0.00000")) == ("does_not_conform", True, True)  # type: ignore[union-attr]
    assert under.outcome == "conforms"
    assert "measured as 7.257477 kg and converted exactly to lb" in under.reasons
    assert not judge(limit, ball({"mass": reading("16", "lb", "mass")})).converted


SIZES = """
[[requirement]]
id = "circumference"
row = "A"
quantity = "circumference"
operator = "range"
limits = ["26.704", "27.002"]
unit = "in"
clock = "manufacture"
source = "s"
provenance = "read"
[[requirement]]
id = "diameter"
row = "B"
quantity = "diameter"
operator = "range"
limits = ["8.500", "8.595"]
unit = "in"
clock = "manufacture"
source = "s"
provenance = "read"
"""
GIRTH = reading("26.9", "in", "circumference")
WIDTH = reading("8.500", "in", "diameter")


def test_size_is_judged_by_what_was_measured() -> None:
    """Of circumference and diameter the one that was not measured is not applicable, never worked out."""
    outcomes = [verdict.outcome for verdict in judge_ball(rulebook(SIZES), ball({"diameter": WIDTH}))]
    assert outcomes == ["not_applicable", "conforms"]
    outcomes = [verdict.outcome for verdict in judge_ball(rulebook(SIZES), ball({"circumference": GIRTH}))]
    assert outcomes == ["conforms", "not_applicable"]
    both = judge_ball(rulebook(SIZES), ball({"circumference": GIRTH, "diameter": WIDTH}))
    assert [verdict.outcome for verdict in both] == ["conforms", "conforms"]
    neither = judge_ball(rulebook(SIZES), ball())
    assert [verdict.outcome for verdict in neither] == ["not_measured", "not_measured"]


def test_a_diameter_does_not_answer_a_rulebook_of_circumferences() -> None:
    """Where only circumference is limited, a measured diameter leaves it not measured."""
    alone = rulebook(SIZES.split('[[requirement]]\nid = "diameter"', maxsplit=1)[0])
    (verdict,) = judge_ball(alone, ball({"diameter": WIDTH}))
    assert verdict.outcome == "not_measured"
    assert "diameter was measured" in verdict.reasons[0]


def test_an_unusable_size_gives_way_to_the_usable_one() -> None:
    """An overdue tape leaves the ball judged by its diameter."""
    overdue = reading("26.9", "in", "circumference", usable=False, why_unusable="the gauge was overdue")
    verdicts = judge_ball(rulebook(SIZES), ball({"circumference": overdue, "diameter": WIDTH}))
    assert [verdict.outcome for verdict in verdicts] == ["not_applicable", "conforms"]


def test_an_unusable_reading_is_no_measurement() -> None:
    """A reading of an overdue gauge is not judged, and the verdict says why."""
    overdue = reading("80", "shore_d", "hardness", usable=False, why_unusable="gauge D-1 was overdue")
    verdict = judge(requirement(), ball({"hardness": overdue}))
    assert (verdict.outcome, verdict.margin) == ("not_measured", None)
    assert "the reading of hardness is not usable: gauge D-1 was overdue" in verdict.reasons


DIFFERENTIAL = {"quantity": "differential", "operator": "<=", "limits": ("0.060",), "unit": "in"}


def test_a_differential_may_be_taken_from_the_radii() -> None:
    """High less low is judged when there is no reading of its own, and the verdict says so."""
    radii = {
        "rg_low": reading("2.480", "in", "rg_low", u_scaled=2000),
        "rg_high": reading("2.541", "in", "rg_high", u_scaled=2000),
    }
    verdict = judge(requirement(**DIFFERENTIAL), ball(radii))
    assert (verdict.outcome, verdict.value, verdict.margin) == ("does_not_conform", "0.061", "-0.001")
    assert "high less low" in verdict.reasons[0]
    guarded = judge(requirement(**DIFFERENTIAL, decision="three_way"), ball(radii))
    assert (guarded.outcome, guarded.reasons[1]) == ("undecided", "guard band 0.0066 in")


def test_its_own_differential_comes_first_and_units_are_not_mixed() -> None:
    """A measured differential wins over the radii, and radii in two units give none."""
    own = reading("0.050", "in", "differential")
    radii = {"rg_low": reading("2.480", "in", "rg_low"), "rg_high": reading("2.541", "in", "rg_high")}
    assert judge(requirement(**DIFFERENTIAL), ball({**radii, "differential": own})).value == "0.05"
    mixed = {**radii, "rg_high": reading("64.5", "mm", "rg_high")}
    assert judge(requirement(**DIFFERENTIAL), ball(mixed)).outcome == "not_measured"


@pytest.mark.parametrize(
    ("decision", "value", "u", "outcome"),
    [
        ("simple", "73.2", 500_000, "conforms"),
        ("guarded", "73.2", 500_000, "undecided"),
        ("guarded", "74", 500_000, "conforms"),
        ("guarded", "72.999999", 500_000, "does_not_conform"),
        ("three_way", "72.5", 500_000, "undecided"),
        ("three_way", "72.1", 500_000, "does_not_conform"),
        ("three_way", "72.175", 500_000, "undecided"),
        ("three_way", "73.825", 500_000, "conforms"),
        ("three_way", "73.824999", 500_000, "undecided"),
        ("guarded", "80", None, "undecided"),
        ("three_way", "80", None, "undecided"),
        ("three_way", "72.9", 0, "does_not_conform"),
    ],
)
def test_the_decision_rule_is_the_requirement_s(decision: str, value: str, u: int | None, outcome: str) -> None:
    """Simple acceptance leaves uncertainty out; the guarded rules need it and may leave a ball undecided."""
    measured = reading(value, "shore_d", "hardness", u_scaled=u)
    assert outcome == judge(requirement(decision=decision), ball({"hardness": measured})).outcome


DATED = (
    HARDNESS.replace('"hardness"\nrow', '"old"\nrow').replace('"73"', '"72"')
    + "effective_to = 2022-07-31\n"
    + HARDNESS
    + "effective_from = 2022-08-01\n"
)


def test_an_unknown_date_decides_only_what_it_cannot_change() -> None:
    """Above both limits the ball conforms, between them it is undecided, below both it does not conform."""
    outcomes = {
        value: overall(judge_ball(rulebook(DATED), ball(hardness(int(value * SCALE)), made_on=None)))
        for value in (73.5, 72.5, 71.5)
    }
    assert outcomes == {73.5: "conforms", 72.5: "undecided", 71.5: "does_not_conform"}


def test_a_gap_in_the_dates_leaves_an_unknown_date_undecided() -> None:
    """Where no limit may have been in force on some day, failing under every limit shows nothing."""
    gap = rulebook(DATED.replace("2022-07-31", "2022-07-30"))
    assert overall(judge_ball(gap, ball(hardness(71 * SCALE), made_on=None))) == "undecided"


def test_a_bar_that_every_date_fails_bars() -> None:
    """Under both limits and of unknown date a ball is barred, by the house's rule too."""
    text = DATED.replace('clock = "manufacture"', 'clock = "manufacture"\neffect = "bar"')
    facts = ball(hardness(71 * SCALE), made_on=None)
    for verdict in judge_ball(rulebook(text), facts, HousePolicy(decision="simple")):
        assert isinstance(verdict.house, HouseVerdict)
        assert ("barred", "barred") == (verdict.outcome, verdict.house.outcome)
        assert "fails under every limit" in verdict.house.sentence


def test_a_reading_that_blocks_is_not_failed_throughout() -> None:
    """Not taken as one limit's method asks, it stays undecided whatever its date."""
    text = DATED.replace('clock = "manufacture"', 'clock = "manufacture"\nmethod = { readings = 5 }')
    assert "undecided" == overall(judge_ball(rulebook(text), ball(hardness(71 * SCALE), made_on=None)))


@pytest.mark.parametrize(
    ("per", "words"), [("lot_mean", "over the lot"), ("component", "each component"), ("model", "once for the model")]
)
def test_what_is_not_judged_ball_by_ball_is_not_applicable_to_one(per: str, words: str) -> None:
    """Neither a good nor a bad reading of one ball decides it, and the verdict says where it is judged."""
    for points in (60, 80):
        verdict = judge(requirement(per=per), ball(hardness(points * SCALE)))
        assert ("not_applicable", None) == (verdict.outcome, verdict.value)
        assert words in verdict.reasons[0]


def test_a_limit_that_is_not_in_force_is_not_applicable() -> None:
    """The verdict names the date and the period."""
    old, new = judge_ball(rulebook(DATED), ball(hardness(int(72.5 * SCALE)), made_on=dt.date(2019, 6, 1)))
    assert (old.outcome, new.outcome) == ("conforms", "not_applicable")
    assert "not in force on 2019-06-01" in new.reasons[0]


def test_the_caution_and_the_provenance_go_with_the_verdict() -> None:
    """Every verdict is called the maker's own, and a limit that was not read is shown as such."""
    read = judge(requirement(), ball(hardness(74 * SCALE)))
    assert (read.reasons, read.caution, read.fact) == ((), CAUTION, "7.1")
    assert "not an approval" in CAUTION
    for provenance, words in (("second-hand", "second-hand"), ("memory", "from memory")):
        verdict = judge(requirement(provenance=provenance), ball(hardness(74 * SCALE)))
        assert words in verdict.reasons[-1]


def test_a_verdict_is_plain_json() -> None:
    """A verdict survives JSON, so that it can be served and put into a dossier."""
    verdict = judge(requirement(), ball(hardness(74 * SCALE)))
    assert verdict == msgspec.json.decode(msgspec.json.encode(verdict), type=type(verdict))


def test_the_overall_outcome_is_the_worst() -> None:
    """One failed limit outweighs all else, and nothing judged is not applicable."""
    by_outcome = {
        "conforms": judge(requirement(), ball(hardness(74 * SCALE))),
        "does_not_conform": judge(requirement(), ball(hardness(70 * SCALE))),
        "undecided": judge(requirement(decision="guarded"), ball(hardness(74 * SCALE))),
        "not_measured": judge(requirement(), ball()),
        "barred": judge(requirement(effect="bar"), ball(hardness(70 * SCALE))),
        "not_applicable": judge(requirement(clock="event"), ball()),
    }
    assert all(name == verdict.outcome for name, verdict in by_outcome.items())
    ranked = ["does_not_conform", "undecided", "not_measured", "barred", "conforms", "not_applicable"]
    assert ranked == [overall(by_outcome[name] for name in ranked[at:]) for at in range(6)]
    assert overall([]) == "not_applicable"
