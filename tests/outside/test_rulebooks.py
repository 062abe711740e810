"""The shipped rulebooks against the collected rows they cite, and against each other.

The rows are read from ``../shared/reference/rules.json`` where that folder is present; they name their own sources.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import msgspec
import pytest

from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import Rulebook, shipped_rulebooks
from ledger.conformity.verdict import judge_ball, overall
from ledger.line.quantity import scaled_reading

ROWS = Path(__file__).parents[3] / "shared" / "reference" / "rules.json"
SHIPPED = [
    pytest.param(id, requirement, id=f"{id}:{requirement.id}")
    for id, shipped in shipped_rulebooks().items()
    for requirement in shipped.rulebook.requirements
]
NOT_ENCODED = Path(__file__).parents[2] / "ledger" / "conformity" / "rulebooks" / "README.md"
UNIT_IDS = {"Shore D": "shore_d", "g/mL": "g_ml"}
OWN_WORDS = (
    "USBC release",
    "USBC news",
    "Japan Bowling notice",
    "Tenpin Bowling Australia notice",
    "Bowling Haandbogen",
)
"""How the rows name a body's own release, notice or handbook that was itself read."""

# A row tells when a limit of approval ended, or leaves a date to another row; a requirement goes by the day of making.
DATES = {
    # Another test temperature from 2020-02 (USBC-HARD-TEMP); making under the limit went on to USBC-HARD-73-PROD.
    "usbc.hardness-earlier": (None, "2020-01-31"),
    "usbc.hardness-earlier-2020": ("2020-02-01", "2022-07-31"),
    # The rule of national events began by USBC-HARD-NATL, which also names the last day of making.
    "usbc.slow-oil-excluded": ("2026-01-01", None),
    "usbc.slow-oil-made-earlier": (None, "2022-07-31"),
    # Until the 3 oz of USBC-BAL-SIDE began for all; then only with a balance hole, to the row's own end.
    "usbc.static-side-earlier": (None, "2018-07-31"),
    "usbc.static-side-balance-hole": ("2018-08-01", "2020-07-31"),
    # Ended by another row (JBC-HARD).
    "japan.hardness": (None, "2021-08-31"),
    # The season's end.
    "denmark-1983.weight": (None, "1984-06-30"),
}
# What an edition did not know yet: it ends nothing that a later day ended.
OPEN_IN = {
    "usbc-2012": {"usbc.hardness-earlier", "usbc.static-side-earlier"},
    "usbc-2019": {"usbc.hardness-earlier"},
}


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


@pytest.mark.parametrize(("edition", "requirement"), SHIPPED)
def test_each_limit_equals_the_row_it_cites(edition: str, requirement: Requirement) -> None:
    """Limits, unit and dates are those of the collected row; where they cannot be, the reason stands in a table here."""
    row = rows()[requirement.row]
    low, high = (None if row[end] is None else Fraction(str(row[end])) for end in ("min", "max"))
    if (
        requirement.row == "USBC-OIL-SLOW"
    ):  # The class begins above the row's figure, so what it does not hold ends there.
        low, high = None, low
    if requirement.quantity == "top_weight":  # A reading has a sign, the printed difference has none.
        assert high is not None
        low = -high
    assert (requirement.low, requirement.high) in ((low, high), (low or None, high))
    assert UNIT_IDS.get(row["unit"], row["unit"]) == requirement.unit
    dates = DATES.get(requirement.id, (row["effective_from"], row["effective_to"]))
    ends = None if requirement.id in OPEN_IN.get(edition, ()) else dates[1]
    assert (dates[0], ends) == (_text(requirement.effective_from), _text(requirement.effective_to))


def _text(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


@pytest.mark.parametrize(("edition", "requirement"), SHIPPED)
def test_no_limit_claims_more_than_its_row(edition: str, requirement: Requirement) -> None:
    """What was recalled is called memory, and only a body's own release, news, notice or handbook is called read."""
    row = rows()[requirement.row]
    assert (requirement.provenance == "memory") == (row["status"] == "MEMORY")
    source = requirement.source
    assert source == row["source"] or row["source"].startswith("same") or row["source"].startswith(source)
    if requirement.provenance == "read":
        assert any(own in source for own in OWN_WORDS)
        assert "quoted in" not in source
        assert "reproduced by" not in source


@pytest.mark.parametrize(("edition", "requirement"), SHIPPED)
def test_a_strict_row_has_a_strict_operator(edition: str, requirement: Requirement) -> None:
    """A row that says its limit is strict, or calls for more at or above it, has < or >; no other has."""
    row = rows()[requirement.row]
    assert (re.search(r"\bstrict\b", row["note"]) is not None or "at or above" in row["quantity"]) == requirement.strict


def test_every_row_is_a_requirement_or_says_why_not() -> None:
    """Each collected row is encoded in some edition or stands in the table of those that are not, never both."""
    encoded = {
        requirement.row for edition in shipped_rulebooks().values() for requirement in edition.rulebook.requirements
    }
    listed = re.findall(r"^\| ([A-Z][A-Z0-9-]+) \| (.+) \|$", NOT_ENCODED.read_text("utf-8"), re.MULTILINE)
    told = {row for row, reason in listed if reason.strip()}
    assert len(told) == len(listed)
    assert encoded & told == set()
    assert set(rows()) == encoded | told


def test_a_proposal_is_no_rule() -> None:
    """The lower differential that was talked about in 2017 and 2018 is in no edition (row USBC-DIFF-PROP)."""
    everything = "".join(edition.raw.decode() for edition in shipped_rulebooks().values())
    assert not [figure for figure in ("USBC-DIFF-PROP", "0.045", "0.45") if figure in everything]


# Figures typed from the rows, each with its row: what a reader would look up first.
FIGURES = [
    ("usbc-2026", "usbc.weight", "USBC-WT-MAX", "<= 16.0 lb"),
    ("usbc-2026", "usbc.circumference", "USBC-CIRC", "26.704 to 27.002 in"),
    ("usbc-2026", "usbc.diameter", "USBC-DIA", "8.500 to 8.595 in"),
    ("usbc-2026", "usbc.out-of-round", "USBC-ROUND", "<= 0.010 in"),
    ("usbc-2026", "usbc.hardness-earlier", "USBC-HARD-72", ">= 72 Shore D"),
    ("usbc-2026", "usbc.hardness", "USBC-HARD-73-PROD", ">= 73 Shore D"),
    ("usbc-2026", "usbc.hardness-slow-oil", "USBC-HARD-78-SLOW", ">= 78 Shore D"),
    ("usbc-2026", "usbc.hardness-national-events", "USBC-HARD-NATL", ">= 78 Shore D"),
    ("usbc-2026", "usbc.slow-oil-excluded", "USBC-OIL-SLOW", "<= 90 min"),
    ("usbc-2026", "usbc.rg-minimum", "USBC-RG-MIN", ">= 2.460 in"),
    ("usbc-2026", "usbc.rg-maximum", "USBC-RG-MAX", "<= 2.800 in"),
    ("usbc-2026", "usbc.differential", "USBC-DIFF", "<= 0.060 in"),
    ("usbc-2026", "usbc.house-differential", "USBC-HOUSE-DIFF", "< 0.025 in"),
    ("usbc-2026", "usbc.pin-to-low-axis", "USBC-LOWRG-PIN", "<= 1.0 in"),
    ("usbc-2026", "usbc.mark-to-high-axis", "USBC-HIGHRG-MARK", "<= 1.5 in"),
    ("usbc-2026", "usbc.friction", "USBC-COF", "<= 0.32 (ratio)"),
    ("usbc-2026", "usbc.roughness", "USBC-RA-ONE", "<= 65 uin"),
    ("usbc-2026", "usbc.roughness-mean", "USBC-RA-AVG", "<= 50 uin"),
    ("usbc-2026", "usbc.roughness-more-samples", "USBC-RA-TRIG", "< 42 uin"),
    ("usbc-2026", "usbc.oil-absorption", "USBC-OIL", ">= 135 s"),
    ("usbc-2026", "usbc.static-side", "USBC-BAL-SIDE", "<= 3 oz"),
    ("usbc-2026", "usbc.static-side-middle", "USBC-BAL-MID-SIDE", "<= 0.75 oz"),
    ("usbc-2026", "usbc.component-density", "MAT-DENS", "<= 3.8 g/mL"),
    ("usbc-2019", "usbc.static-side-balance-hole", "USBC-BAL-SIDE-OLD", "<= 1 oz"),
    ("usbc-2012", "usbc.static-no-holes", "USBC-BAL-NOHOLE-OLD", "<= 1 oz"),
    ("ibf", "ibf.weight", "IBF-WT-MAX", "<= 7.26 kg"),
    ("ibf", "ibf.static-side-earlier", "WB-BAL-SIDE-OLD", "<= 28 g"),
    ("japan", "japan.weight", "JP-WT-MIN", "4 to 16 lb"),
    ("japan", "japan.static-no-holes", "JBC-BAL-NOHOLE", "<= 3 oz"),
    ("australia", "australia.static", "TBA-BAL", "<= 3 oz"),
    ("denmark-1983", "denmark-1983.weight", "DK-1983-WT", "4.3 to 7.257 kg"),
    ("pba", "pba.hardness-urethane", "PBA-HARD-78", ">= 78.0 Shore D"),
]


@pytest.mark.parametrize(("edition", "id", "row", "printed"), FIGURES)
def test_figures_are_as_printed(edition: str, id: str, row: str, printed: str) -> None:
    """The limit in the unit and the places that the source prints."""
    (found,) = (one for one in shipped_rulebooks()[edition].rulebook.requirements if one.id == id)
    assert (row, printed) == (found.row, found.limit_text)


@pytest.mark.parametrize(
    ("edition", "id", "low", "high"),
    [
        ("usbc-2026", "usbc.static-top", (10, True), None),  # "more than 10 lb", USBC-BAL-TOP
        ("usbc-2012", "usbc.static-side-earlier", ("10.01", False), None),  # "10.01 lb or more", USBC-BAL-SIDE-OLD
        ("usbc-2026", "usbc.static-top-middle", (8, False), (10, False)),  # "8.00-10.00 lb", USBC-BAL-MID-TOP
        ("usbc-2026", "usbc.static-light", None, (8, True)),  # "less than 8.00 lb", USBC-BAL-LIGHT
        ("usbc-2026", "usbc.diameter", (13, False), None),  # "13 lb or more", USBC-DIA
        ("ibf", "ibf.static-top", (10, True), None),  # "more than 10 lb (4.53 kg)", WB-BAL
        ("australia", "australia.static", (8, True), None),  # "greater than 8 lb", TBA-BAL
    ],
)
def test_edges_of_weight_classes_are_as_printed(edition: str, id: str, low: Any, high: Any) -> None:
    """Whether a class holds its own edge is said by the source's words."""
    (found,) = (one.scope for one in shipped_rulebooks()[edition].rulebook.requirements if one.id == id)
    ends = ((found.min_class_lb, found.min_class_strict), (found.max_class_lb, found.max_class_strict))
    assert [edge and (Fraction(edge[0]), edge[1]) for edge in (low, high)] == [
        None if pounds is None else (Fraction(pounds), strict) for pounds, strict in ends
    ]


def test_temperatures_are_the_printed_fahrenheit() -> None:
    """68 to 78 deg F up to 2020-01, 70 to 77 deg F after (USBC-HARD-72, USBC-HARD-TEMP), to the tenth of a degree C."""
    by_id = {one.id: one.method for one in usbc().requirements}
    printed = {"usbc.hardness-earlier": (68, 78), "usbc.hardness-earlier-2020": (70, 77), "usbc.hardness": (70, 77)}
    for id, fahrenheit in printed.items():
        found = by_id[id].temperature_c
        assert found is not None
        assert tuple(f"{(degrees - 32) / 1.8:.1f}" for degrees in fahrenheit) == found


def test_the_standard_is_not_passed_off_as_the_body() -> None:
    """What ASTM D2240 asks for is told with the limit and is no condition of it (D2240-N, D2240-TIME, USBC-HARD-N)."""
    hardness = [one.method for one in usbc().requirements if one.quantity == "hardness"]
    assert hardness
    assert all("D2240" in one.standard for one in hardness)
    assert {(None, None, None)} == {(one.readings, one.spacing_mm, one.delay_s) for one in hardness}


def test_no_static_limit_claims_a_definition() -> None:
    """No text that was read says which difference is meant, so every limit on static balance leaves it unstated."""
    static = [
        one
        for edition in shipped_rulebooks().values()
        for one in edition.rulebook.requirements
        if one.quantity in {"static_imbalance", "top_weight"}
    ]
    assert {("unstated", "event")} == {(one.definition, one.clock) for one in static}


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


def test_a_slow_ball_made_early_is_barred_and_still_conforms() -> None:
    """Made before 2022-08-01 and of the slow class: out of national events, not out of the rest (USBC-HARD-NATL)."""
    early = ball(dt.date(2022, 7, 31), dt.date(2018, 1, 15), hardness=("80", "shore_d"), oil_absorption=("90.5", "min"))
    early = msgspec.structs.replace(early, kinds={"slow_oil_high_performance": True})
    barred = {one.requirement: one.outcome for one in judge_ball(usbc(), early) if one.effect == "bar"}
    assert "barred" == barred["usbc.slow-oil-made-earlier"]
    late = msgspec.structs.replace(early, made_on=dt.date(2022, 8, 1), event_on=dt.date(2026, 1, 1))
    found = {one.requirement: one.outcome for one in judge_ball(usbc(), late) if one.effect == "bar"}
    assert {
        "usbc.hardness-national-events": "conforms",
        "usbc.slow-oil-excluded": "barred",
        "usbc.slow-oil-made-earlier": "not_applicable",
    } == found


def test_an_edition_of_its_time_judges_by_the_limits_it_knew() -> None:
    """72.5 Shore D made in 2024 meets the edition of 2019 and not that of 2023: the rule changed, not the ball."""
    facts = ball(dt.date(2024, 5, 6), dt.date(2018, 1, 15), hardness=("72.5", "shore_d"))
    found = {
        name: {
            one.outcome
            for one in judge_ball(shipped_rulebooks()[name].rulebook, facts)
            if one.quantity == "hardness" and one.outcome != "not_applicable"
        }
        for name in ("usbc-2019", "usbc-2023")
    }
    assert {"usbc-2019": {"conforms"}, "usbc-2023": {"does_not_conform"}} == found
