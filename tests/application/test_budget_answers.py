"""Measurement models as calculators: value, U, table, assumptions, and what is entered, which the book takes."""

from __future__ import annotations

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.application import budget_answers as answers
from ledger.application import budget_questions as questions
from ledger.application.budget_answers import BudgetAnswer, ReadingToEnter, rounded
from ledger.errors import LedgerError
from ledger.line.quantity import scaled_reading
from ledger.store.reader import open_reader
from ledger.store.selections import Selection, select_balls
from tests.application.floor import Floor, calibrated, engraved, inspected

Body = dict[str, Any]


def amount(value: str, u: str = "0.01", **more: Any) -> Body:
    """A value with a standard uncertainty."""
    return {"value": value, "u": u, **more}


PENDULUM: Body = {
    "mass_unit": "lb", "length_unit": "in", "reference_inertia": amount("101.15", "0.15"),
    "reference_period": amount("2.015", "0.0008"), "empty_period": amount("0.6", "0.0005"), "mass": amount("15.0"),
}  # fmt: skip
MEAN: Body = {
    "quantity": "mass", "unit": "lb", "values": ["15.02", "15.03", "15.01", "15.02", "15.04"],
    "calibration": {"expanded": "0.02"}, "resolution": "0.01",
}  # fmt: skip
RADIUS: Body = {**PENDULUM, "quantity": "rg_low", "period": amount("1.921", "0.0008")}
DIFFERENTIAL: Body = {**PENDULUM, "high_period": amount("1.961", "0.0008"), "low_period": amount("1.921", "0.0008")}
DIAMETER: Body = {"length_unit": "in", "circumference": {"value": "26.85", "expanded": "0.01"}}
IMBALANCE: Body = {
    "definition": "at_arm", "mass_unit": "oz", "length_unit": "in", "mass": amount("240"),
    "offset": amount("0.050", "0.002"), "arm": amount("4.25"),
}  # fmt: skip
DENSITY: Body = {
    "by": "mass", "parts": [
        {"name": "resin", "fraction": "0.7", "density": amount("1.20")},
        {"name": "filler", "fraction": "0.3", "density": amount("2.71")},
    ],
}  # fmt: skip

MODELS: dict[str, tuple[Callable[[Any], BudgetAnswer], type[Any], Body]] = {
    "mean": (answers.mean_answer, questions.MeanAsked, MEAN),
    "radius": (answers.radius_answer, questions.RadiusAsked, RADIUS),
    "differential": (answers.differential_answer, questions.DifferentialAsked, DIFFERENTIAL),
    "diameter": (answers.diameter_answer, questions.DiameterAsked, DIAMETER),
    "imbalance": (answers.imbalance_answer, questions.ImbalanceAsked, IMBALANCE),
    "density": (answers.density_answer, questions.DensityAsked, DENSITY),
}


def ask(model: str, **changes: Any) -> BudgetAnswer:
    """What a model answers to its usual body with changes."""
    answer, shape, body = MODELS[model]
    return answer(msgspec.json.decode(json.dumps({**body, **changes}), type=shape))


def reading_of(answer: BudgetAnswer) -> ReadingToEnter:
    """What is to be entered."""
    assert answer.reading is not UNSET
    return answer.reading


@pytest.mark.parametrize("model", MODELS)
def test_every_answer_is_whole(model: str) -> None:
    """U = k u, a table with a row a term, assumptions and sources in words."""
    found = ask(model)
    assert found.k * found.u == pytest.approx(found.U)
    assert found.budget
    assert all(row.unit and row.u and row.dof for row in found.budget)
    assert found.assumptions
    assert all("from memory" in source for source in found.sources)
    assert found.unit in " ".join(found.says) or "g/mL" in found.says[0]
    assert found.reading_says


def test_the_mean_keeps_its_raw_readings() -> None:
    """15.024 lb, u 0.01159 (vector unc-mean-cal); entered are the five readings, their mean, and U."""
    found = ask("mean")
    assert (15.024, 0.0115902) == pytest.approx((found.value, found.u), abs=1e-6)
    reading = reading_of(found)
    assert (tuple(MEAN["values"]), "mean", "15.024", "0.024") == (
        reading.values, reading.statistic, reading.value, reading.expanded,
    )  # fmt: skip


def test_few_degrees_of_freedom_widen_what_is_entered() -> None:
    """Two readings: k by Student's t is far above 2, and what the book takes as 2 u is as wide."""
    found = ask("mean", values=["15.0", "15.2"], calibration={"expanded": "0.001"}, resolution="0")
    assert found.k > 10
    assert float(reading_of(found).expanded) >= found.U
    assert any("Student's t" in line for line in found.reading_says)


def test_one_reading_needs_a_repeatability() -> None:
    """With it, one is enough; its statistic is single."""
    found = ask("mean", values=["15.02"], repeatability={"s": "0.01", "dof": "40"})
    assert "single" == reading_of(found).statistic
    assert any("repeatability stated" in line for line in found.assumptions)


def test_a_radius_and_its_differential() -> None:
    """2.46355 in, u 0.00254 (vector rg-torsion); the differential of one session is surer than of two, and says so."""
    radius, found = ask("radius"), ask("differential")
    assert (2.46355, 0.00254) == pytest.approx((radius.value, radius.u), abs=5e-6)
    assert ("2.4635", "0.0051") == (reading_of(radius).value, reading_of(radius).expanded)
    assert found.u < radius.u
    assert any("two sessions would give" in line for line in found.assumptions)
    assert "mid_differential" == reading_of(ask("differential", quantity="mid_differential")).quantity


def test_a_diameter_is_entered_as_its_circumference() -> None:
    """The diameter c / pi is told; the quantity that was measured is what is judged."""
    found = ask("diameter")
    assert (8.546620, 0.005 / 3.14159265) == pytest.approx((found.value, found.u), abs=1e-6)
    reading = reading_of(found)
    assert ("circumference", "26.850", "0.010") == (reading.quantity, reading.value, reading.expanded)


@pytest.mark.parametrize(
    ("definition", "arm", "value", "unit"),
    [
        ("moment", "4.25", 12.0, "oz.in"),
        ("at_arm", "4.25", 2.82, "oz"),
        ("two_position_difference", "4.25", 5.65, "oz"),
        ("hemisphere_difference", "4.27375", 7.49, "oz"),
    ],
)
def test_one_offset_by_four_definitions(definition: str, arm: str, value: float, unit: str) -> None:
    """As worked in the collected notes; the definition stands in the words, and a moment is no reading."""
    found = ask("imbalance", definition=definition, arm=amount(arm))
    assert value == pytest.approx(found.value, abs=0.005)
    assert unit == found.unit
    assert (definition == "moment") == (found.reading is UNSET)
    assert definition.replace("_", " ") in found.assumptions[0]


def test_an_imbalance_is_told_in_small_units() -> None:
    """A mass in pounds gives ounces, one in kilograms grams."""
    ounces = ask("imbalance", mass_unit="lb", mass=amount("15"))
    grams = ask("imbalance", mass_unit="kg", mass=amount("6.80388555"))
    assert ("oz", "g") == (ounces.unit, grams.unit)
    assert ounces.value * 28.349523125 == pytest.approx(grams.value)


def test_a_mixture_is_never_a_reading() -> None:
    """1.44085 by mass (vector mix-caco3); the same fractions by volume give more; nothing is to be entered."""
    found = ask("density")
    assert 1.44085 == pytest.approx(found.value, abs=5e-6)
    assert 0.7 * 1.2 + 0.3 * 2.71 == pytest.approx(ask("density", by="volume").value)
    assert found.reading is UNSET
    assert "was not measured" in found.reading_says[0]
    assert {"density of resin", "density of filler"} == {row.term for row in found.budget}


@pytest.mark.parametrize(
    ("model", "changes", "where"),
    [
        ("mean", {"unit": "in"}, "unit"),
        ("mean", {"quantity": "loudness"}, "quantity"),
        ("mean", {"values": ["15.02", "1502"]}, "values[1]"),
        ("mean", {"values": ["15.02"]}, "repeatability"),
        ("mean", {"calibration": {"expanded": "-1"}}, "calibration.expanded"),
        ("mean", {"calibration": {"expanded": "1", "k": "0"}}, "calibration.k"),
        ("mean", {"calibration": {"expanded": "1", "dof": "0"}}, "calibration.dof"),
        ("mean", {"resolution": "-0.1"}, "resolution"),
        ("mean", {"repeatability": {"s": "-1", "dof": "4"}}, "repeatability.s"),
        ("radius", {"period": amount("0.5")}, "period.value"),
        ("radius", {"reference_period": amount("0.6")}, "reference_period.value"),
        ("radius", {"mass": amount("0")}, "mass.value"),
        ("radius", {"mass": {"value": "15"}}, "mass"),
        ("radius", {"mass": {"value": "15", "u": "1", "expanded": "2"}}, "mass"),
        ("radius", {"mass": {"value": "15", "u": "1", "k": "2"}}, "mass.k"),
        ("radius", {"mass": {"value": "15", "expanded": "1", "k": "11"}}, "mass.k"),
        ("radius", {"empty_period": amount("0.6", dof="0.5")}, "empty_period.dof"),
        ("differential", {"high_period": amount("1.9")}, "high_period.value"),
        ("imbalance", {"offset": amount("-0.05")}, "offset.value"),
        ("imbalance", {"arm": amount("0")}, "arm.value"),
        ("density", {"parts": DENSITY["parts"][:1]}, "parts"),
        ("density", {"parts": [DENSITY["parts"][0]] * 2}, "parts[1].name"),
        ("density", {"parts": [{**DENSITY["parts"][0], "fraction": "-0.7"}]}, "parts[0].fraction"),
    ],
)
def test_a_refusal_names_the_field(model: str, changes: Body, where: str) -> None:
    """And what would put it right."""
    with pytest.raises(LedgerError) as refused:
        ask(model, **changes)
    assert where == refused.value.where
    assert refused.value.mend


def test_nothing_is_entered_that_the_book_would_refuse() -> None:
    """An implausible result, one without any uncertainty, one whose U is wider than the quantity's whole range."""
    far = ask("radius", mass=amount("1.5"))
    sure = ask("diameter", circumference=amount("26.85", "0"))
    wide = ask("diameter", circumference=amount("26.85", "20"))
    assert (UNSET, UNSET, UNSET) == (far.reading, sure.reading, wide.reading)
    assert ["not plausible" in far.reading_says[-1], "no term" in sure.reading_says[-1]] == [True, True]
    assert "wider than" in wide.reading_says[-1]


def test_the_book_takes_what_is_to_be_entered(ready: Floor) -> None:
    """As a record's reading, beside a gauge; its U stands with the ball."""
    ready.say(calibrated("rg_low", 1))
    reading = reading_of(ask("radius"))
    said = {name: getattr(reading, name) for name in ("quantity", "unit", "values", "statistic", "expanded")}
    ball = inspected("U-1", rg_low="2.5")
    ball["readings"] = [{**said, "gauge": "G-RG-LOW"}]
    ready.say(engraved("U-1", "P1"), ball)
    with open_reader(ready.book.store) as reader:
        [one] = select_balls(reader.transaction, Selection(unit="U-1"))
    assert one.measured is not None
    assert (2_463_500, 5_100) == (one.measured.rg_low, one.measured.rg_low_u)


@given(
    value=st.floats(-1e6, 1e6),
    wide=st.floats(1e-9, 1e6),
)
def test_rounding_keeps_what_it_says(value: float, wide: float) -> None:
    """U has two digits (or the sixth decimal) and is never rounded down; the value lies within half a step; both round again to themselves."""
    near, up = rounded(value, wide)
    step = Decimal(1).scaleb(Decimal(up).as_tuple().exponent)  # type: ignore[arg-type]  # finite
    assert Decimal(up) >= Decimal(f"{wide:.11e}")
    digits = len(up.replace(".", "").strip("0"))
    assert digits <= 2
    assert -6 <= int(Decimal(up).as_tuple().exponent)
    assert "-0" != near.rstrip("0").rstrip(".")
    assert abs(Decimal(value) - Decimal(near)) <= max(step, Decimal(f"{wide:.0e}")) / 2 + Decimal("1e-8")


FIGURES = st.decimals(0, 1_000, places=4).map(lambda value: f"{value.normalize():f}")


@given(value=FIGURES, u=FIGURES, period=FIGURES, empty=FIGURES, dof=st.integers(1, 99))
def test_any_pendulum_is_answered_or_refused(value: str, u: str, period: str, empty: str, dof: int) -> None:
    """A finite answer whose reading the book would take, or an error that names the field and the mend."""
    stated = amount(value, u, dof=str(dof))
    found: BudgetAnswer | None
    try:
        found = ask("radius", mass=stated, period=amount(period, u), empty_period=amount(empty, "0.0005"))
    except LedgerError as error:
        found, refused = None, error
    if found is None:
        assert refused.where
        assert refused.mend
        return
    assert all(abs(figure) < float("inf") for figure in (found.value, found.u, found.U))
    if found.reading is not UNSET:
        for text in found.reading.values:
            scaled_reading(text, found.reading.unit, found.reading.quantity)
        assert float(found.reading.expanded) >= found.u
