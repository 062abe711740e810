"""The shipped rulebooks against the collected rows they cite, and against each other.

The rows are read from ``../shared/reference/rules.json`` where that folder is present; they name their own sources.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import Rulebook, shipped_rulebooks
from ledger.conformity.verdict import judge_ball, overall
from ledger.line.quantity import scaled_reading

ROWS = Path(__file__).parents[3] / "shared" / "reference" / "rules.json"
SHIPPED = [
    pytest.param(requirement, id=f"{id}:{requirement.id}")
    for id, shipped in shipped_rulebooks().items()
    for requirement in shipped.rulebook.requirements
]
UNIT_IDS = {"Shore D": "shore_d"}

# Approval under this row ended on its last date; manufacture under it went on until the row named in the note began.
LONGER_THAN_ITS_ROW = {"USBC-HARD-72": dt.date(2022, 7, 31)}
# The row gives no end; another row (JBC-HARD) ends the inspection.
ENDED_BY_ANOTHER_ROW = {"JP-HARD-TWO": dt.date(2021, 8, 31)}


def rows() -> dict[str, dict[str, Any]]:
    """The collected rows by id."""
    if not ROWS.is_file():
        pytest.skip("the folder of collected rules is not beside this project")
    return {row["id"]: row for row in json.loads(ROWS.read_text())}


def usbc() -> Rulebook:
    """The newest edition shipped of the body with the most limits."""
    return shipped_rulebooks()["usbc-2026"].rulebook


def ball(made_on: dt.date, approved_on: dt.date | None = None, **typed: tuple[str, str]) -> BallFacts:
    """A 15 lb ball with typed readings (text, unit)."""
    readings = {
        name: Measured(value_scaled=scaled_reading(text, unit, name), unit=unit) for name, (text, unit) in typed.items()
    }
    return BallFacts(core="symmetric", weight_class=15, made_on=made_on, approved_on=approved_on, readings=readings)


def outcomes(facts: BallFacts, quantity: str) -> dict[str, str]:
    """The outcome of each requirement on one quantity."""
    return {one.requirement: one.outcome for one in judge_ball(usbc(), facts) if one.quantity == quantity}


@pytest.mark.parametrize("requirement", SHIPPED)
def test_each_limit_equals_the_row_it_cites(requirement: Requirement) -> None:
    """Limits, unit and dates are those of the collected row; a lower limit of zero may be left to the quantity."""
    row = rows()[requirement.row]
    low, high = (None if row[end] is None else Fraction(str(row[end])) for end in ("min", "max"))
    assert (requirement.low, requirement.high) in ((low, high), (low or None, high))
    assert UNIT_IDS.get(row["unit"], row["unit"]) == requirement.unit
    assert row["effective_from"] == (requirement.effective_from and requirement.effective_from.isoformat())
    ends = LONGER_THAN_ITS_ROW.get(requirement.row) or ENDED_BY_ANOTHER_ROW.get(requirement.row) or row["effective_to"]
    assert (ends and str(ends)) == (requirement.effective_to and requirement.effective_to.isoformat())


@pytest.mark.parametrize("requirement", SHIPPED)
def test_no_limit_claims_more_than_its_row(requirement: Requirement) -> None:
    """What was recalled is called memory, and only a body's own release or news is called read."""
    row = rows()[requirement.row]
    assert (requirement.provenance == "memory") == (row["status"] == "MEMORY")
    if requirement.provenance == "read":
        assert any(own in row["source"] for own in ("USBC release", "USBC news"))
        assert "quoted in" not in row["source"]


@pytest.mark.parametrize("requirement", SHIPPED)
def test_a_strict_row_has_a_strict_operator(requirement: Requirement) -> None:
    """A row whose note says that the limit is strict has < or >, and no other has."""
    assert ("strict" in rows()[requirement.row]["note"]) == requirement.strict


def test_the_printed_pairs_differ_at_the_lower_edge() -> None:
    """Pi x 8.500 in is 26.7035 in, under the printed 26.704: the pair is not one limit (rules row GEO-PI, arithmetic)."""
    by_id = {one.id: one for one in usbc().requirements}
    diameter, girth = by_id["usbc.diameter"], by_id["usbc.circumference"]
    assert None not in (diameter.low, diameter.high, girth.low, girth.high)
    low, high = (math.pi * float(edge) for edge in (diameter.low, diameter.high))  # type: ignore[arg-type]
    assert (f"{low:.4f}", f"{high:.4f}") == ("26.7035", "27.0020")
    assert low < float(girth.low)  # type: ignore[arg-type]
    assert high < float(girth.high)  # type: ignore[arg-type]
    assert f"{float(girth.low) / math.pi:.5f}" == "8.50015"  # type: ignore[arg-type]


def test_a_round_ball_of_the_least_diameter_is_judged_by_its_own_reading() -> None:
    """8.500 in conforms by diameter, 26.7035 in fails by circumference, and neither is made from the other."""
    day = dt.date(2024, 5, 6)
    by_diameter = ball(day, diameter=("8.500", "in"))
    assert outcomes(by_diameter, "diameter") == {"usbc.diameter": "conforms"}
    assert outcomes(by_diameter, "circumference") == {"usbc.circumference": "not_applicable"}
    by_girth = ball(day, circumference=("26.7035", "in"))
    assert outcomes(by_girth, "circumference") == {"usbc.circumference": "does_not_conform"}
    assert outcomes(by_girth, "diameter") == {"usbc.diameter": "not_applicable"}


def test_the_hardness_of_2019_is_not_that_of_2022() -> None:
    """72.5 Shore D conforms when made in 2019, not when made on 2022-08-02 (USBC release of June 2020)."""
    approved = dt.date(2018, 1, 15)
    in_2019 = ball(dt.date(2019, 6, 1), approved, hardness=("72.5", "shore_d"))
    in_2022 = ball(dt.date(2022, 8, 2), approved, hardness=("72.5", "shore_d"))
    early, late = outcomes(in_2019, "hardness"), outcomes(in_2022, "hardness")
    assert (early["usbc.hardness-earlier"], early["usbc.hardness"]) == ("conforms", "not_applicable")
    assert (late["usbc.hardness-earlier"], late["usbc.hardness"]) == ("not_applicable", "does_not_conform")
    assert "not_applicable" == early["usbc.hardness-approval"] == late["usbc.hardness-approval"]


def test_a_model_approved_in_2021_is_held_to_73_at_once() -> None:
    """Between 2021-01-01 and 2022-07-31 the date of approval decides (USBC release of June 2020)."""
    made_on = dt.date(2021, 6, 1)
    old = ball(made_on, dt.date(2020, 12, 31), hardness=("72.5", "shore_d"))
    new = ball(made_on, dt.date(2021, 1, 1), hardness=("72.5", "shore_d"))
    assert outcomes(old, "hardness")["usbc.hardness-approval"] == "not_applicable"
    assert outcomes(new, "hardness")["usbc.hardness-approval"] == "does_not_conform"


def test_the_radius_of_gyration_goes_by_the_date_of_approval() -> None:
    """2.45 in conforms for a model approved to 2010-06-30 and for none approved later (USBC release of 24 Aug 2009)."""
    day = dt.date(2024, 5, 6)
    old = outcomes(ball(day, dt.date(2010, 6, 30), rg_low=("2.45", "in")), "rg_low")
    new = outcomes(ball(day, dt.date(2010, 7, 1), rg_low=("2.45", "in")), "rg_low")
    assert old == {"usbc.rg-minimum-earlier": "conforms", "usbc.rg-minimum": "not_applicable"}
    assert new == {"usbc.rg-minimum-earlier": "not_applicable", "usbc.rg-minimum": "does_not_conform"}


def test_a_good_ball_conforms_to_every_shipped_edition_of_its_time() -> None:
    """A ball well inside every limit has no verdict worse than conforms."""
    facts = ball(
        dt.date(2024, 5, 6),
        dt.date(2023, 3, 1),
        mass=("15.19", "lb"),
        circumference=("26.9", "in"),
        out_of_round=("0.003", "in"),
        hardness=("75", "shore_d"),
        rg_low=("2.50", "in"),
        rg_high=("2.54", "in"),
        roughness=("20", "uin"),
    )
    assert overall(judge_ball(usbc(), facts)) == "conforms"


def test_the_two_hardness_editions_agree_on_a_ball_of_2019() -> None:
    """What the older edition says of a ball of its time, the newest says too."""
    facts = ball(dt.date(2019, 6, 1), dt.date(2018, 1, 15), hardness=("72.5", "shore_d"))
    older = shipped_rulebooks()["usbc-2012"].rulebook
    assert overall(judge_ball(older, facts)) == overall(judge_ball(usbc(), facts)) == "not_measured"
    old_hardness = {v.requirement: v.outcome for v in judge_ball(older, facts) if v.quantity == "hardness"}
    assert old_hardness == {"usbc.hardness-earlier": "conforms"}
