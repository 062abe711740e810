"""What a rulebook is told of a ball, from its rows."""

from __future__ import annotations

import datetime as dt

import msgspec
import pytest

from ledger.conformity.from_rows import approved_on, facts_from_rows, made_on
from ledger.conformity.rulebook import Rulebook, parse_rulebook
from ledger.line.rows import Approval
from ledger.line.standing_readings import format_manner, format_sources, parse_manner, parse_sources
from tests.evidence.small_dossier import RULEBOOK, ball_rows


def rulebook(event: str) -> Rulebook:
    """The test rulebook with another event as manufacture."""
    return parse_rulebook(RULEBOOK.replace(b'"engraving"', f'"{event}"'.encode()))


def approval(from_on: str, status: str = "approved") -> Approval:
    """An answer of a body about the model."""
    return Approval(
        approval="1.0", model="ROC", body="house", revision=1, status=status, from_on=from_on, to_on=None,
        first_serial=None, last_serial=None, classes="15", bars="",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("event", "day"),
    [("pour", "2025-02-05"), ("turning", "2025-02-10"), ("engraving", "2025-02-10"), ("release", None)],
)
def test_the_rulebook_says_which_event_is_manufacture(event: str, day: str | None) -> None:
    """Pour, turning, engraving or release; one that has not happened gives no date."""
    found = made_on(ball_rows("U-1").judged(), rulebook(event))
    assert day == (None if found is None else found.isoformat())


def test_a_release_gives_its_date() -> None:
    """Once released, a ball has a date of release, in UTC."""
    rows = ball_rows("U-1")._replace(released_ms=1_740_000_000_000)
    assert dt.date(2025, 2, 19) == made_on(rows.judged(), rulebook("release"))


def test_the_approval_is_the_last_before_making() -> None:
    """Later approvals and other answers do not count."""
    answers = [
        approval("2024-01-01"),
        approval("2024-06-01"),
        approval("2026-01-01"),
        approval("2024-09-01", "refused"),
    ]
    assert dt.date(2024, 6, 1) == approved_on(answers, dt.date(2025, 2, 10))
    assert None is approved_on(answers, None)


def test_a_reading_says_what_stands_for_it() -> None:
    """Gauge, statistic and number of readings come along, so that a method can be asked of them."""
    readings = facts_from_rows(ball_rows("U-1").judged(), rulebook("engraving")).readings
    assert all(reading.gauge for reading in readings.values())
    assert {(1, "single"), (2, "mean")} == {(reading.readings, reading.statistic) for reading in readings.values()}


def test_the_uncertainty_that_is_judged_is_half_of_the_stated() -> None:
    """U is stated with k = 2, and judged as u."""
    facts = facts_from_rows(ball_rows("U-1").judged(), rulebook("engraving"))
    measured = ball_rows("U-1").measured
    assert measured is not None
    assert (20_000, 10_000) == (measured.mass_u, facts.readings["mass"].u_scaled)


def test_the_conditions_and_the_definition_come_along() -> None:
    """Temperature to the reading, surface, delay and spacing as stated, and what its gauge measures; else nothing."""
    rows = ball_rows("U-1")
    assert rows.measured is not None
    how = dict(parse_manner(rows.measured.manner))
    when = parse_sources(rows.measured.sources, how)
    how["hardness"] = how["hardness"]._replace(surface="sanded", delay_s="10", spacing_mm="6")
    when["hardness"] = when["hardness"]._replace(milli_c=22_500)
    texts = {"manner": format_manner(how), "sources": format_sources(when)}
    defined = {name: msgspec.structs.replace(gauge, definition="peak") for name, gauge in rows.gauges.items()}
    told = rows._replace(measured=msgspec.structs.replace(rows.measured, **texts), gauges=defined).judged()
    readings = facts_from_rows(told, rulebook("engraving")).readings
    hardness, mass = readings["hardness"], readings["mass"]
    assert ("22.5", "10", "6", "sanded", "peak") == (
        hardness.temperature_c, hardness.delay_s, hardness.spacing_mm, hardness.surface, hardness.definition,
    )  # fmt: skip
    assert (None, None, None, "", "peak") == (
        mass.temperature_c, mass.delay_s, mass.spacing_mm, mass.surface, mass.definition,
    )  # fmt: skip


def test_the_calibration_before_the_reading_and_the_newest_study_give_its_uncertainty() -> None:
    """A later calibration with another U changes nothing for it."""
    rows = ball_rows("U-1")
    (made,) = rows.calibrations["G-HARD"]
    known = msgspec.structs.replace(made, expanded_micro=1_000_000)
    later = msgspec.structs.replace(known, calibration="90.0", at_ms=made.due_ms, expanded_micro=9_000_000)
    told = rows._replace(calibrations={**rows.calibrations, "G-HARD": [later, known]})
    hardness = facts_from_rows(told.judged(), rulebook("engraving")).readings["hardness"]
    # (U/k)^2 and the resolution of 0.1 alone.
    assert round((500_000**2 + 100_000**2 / 12) ** 0.5) == hardness.u_scaled
    assert hardness.u_from.startswith("repeatability not known and left out; calibration U = 1 Shore D, k = 2")


@pytest.mark.parametrize(
    ("model", "lot", "unit", "finish"),
    [
        (None, None, None, None),
        ("polished", None, None, "polished"),
        ("polished", "sanded", None, "sanded"),
        ("polished", "sanded", "polished", "polished"),
        ("polished", "sanded", "unstated", None),
    ],
)
def test_a_ball_is_finished_as_its_last_work_left_it(
    model: str | None, lot: str | None, unit: str | None, finish: str | None
) -> None:
    """Its own work goes before its lot's, and that before what the model says; work that did not say leaves it unknown."""
    rows = ball_rows("U-1").judged()
    assert rows.model is not None
    rows = rows._replace(
        unit=msgspec.structs.replace(rows.unit, finish=unit),
        lot=msgspec.structs.replace(rows.lot, finish=lot),
        model=msgspec.structs.replace(rows.model, finish=model),
    )
    assert finish == facts_from_rows(rows, rulebook("engraving")).finish


def test_a_model_s_kinds_are_the_balls() -> None:
    """As stated, yes or no; a ball of a model that is not known has none."""
    rows = ball_rows("U-1").judged()
    assert rows.model is not None
    stated = rows._replace(model=msgspec.structs.replace(rows.model, kinds='{"house":false,"urethane":true}'))
    assert {"house": False, "urethane": True} == facts_from_rows(stated, rulebook("engraving")).kinds
    assert {} == facts_from_rows(rows._replace(model=None), rulebook("engraving")).kinds
