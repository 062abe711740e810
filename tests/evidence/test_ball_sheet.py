"""The sheet of a ball, from its rows."""

from __future__ import annotations

import datetime as dt

import msgspec
import pytest

from ledger.conformity.rulebook import Rulebook, parse_rulebook
from ledger.evidence.ball_sheet import approved_on, ball_sheet, judged_facts, made_on, reading_lines
from ledger.line.rows import Approval
from tests.evidence.small_dossier import RULEBOOK, ball_rows, sheet


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
    found = made_on(ball_rows("U-1"), rulebook(event))
    assert day == (None if found is None else found.isoformat())


def test_a_release_gives_its_date() -> None:
    """Once released, a ball has a date of release, in UTC."""
    rows = ball_rows("U-1")._replace(released_ms=1_740_000_000_000)
    assert dt.date(2025, 2, 19) == made_on(rows, rulebook("release"))


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


def test_readings_carry_their_gauges_standing() -> None:
    """A reading of a gauge without calibrations is told, and not usable."""
    rows = ball_rows("U-1")
    assert [True, True] == [line.usable for line in reading_lines(rows.measured, rows.calibrations)]
    assert [False, False] == [line.usable for line in reading_lines(rows.measured, {})]
    assert () == reading_lines(None, {})


def test_the_uncertainty_that_is_judged_is_half_of_the_stated() -> None:
    """U is stated with k = 2, and judged as u."""
    rows = ball_rows("U-1")
    facts = judged_facts(rows, reading_lines(rows.measured, rows.calibrations), rulebook("engraving"))
    assert (20_000, 10_000) == (
        reading_lines(rows.measured, rows.calibrations)[1].expanded,
        facts.readings["mass"].u_scaled,
    )


def test_a_sheet_names_lots_with_their_certainty() -> None:
    """A ball of a shell lot with two core lots may hold either, and holds the block lot of both for certain."""
    lots = {line.lot: (line.stage, line.certainty) for line in sheet("U-1").lots}
    assert ("core", "possible") == lots["C1"] == lots["C2"]
    assert [("shell", "certain"), ("block", "certain")] == [lots["S1"], lots["B1"]]


def test_a_sheet_has_former_numbers() -> None:
    """A number that was engraved over is told beside the one that the ball bears."""
    rows = ball_rows("U-1")
    former = [msgspec.structs.replace(row, until_ms=row.since_ms + 1) for row in rows.serials]
    assert ("2345ACDFG",) == ball_sheet(rows._replace(serials=former), []).former_serials
