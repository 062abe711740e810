"""What a rulebook is told of a ball, from its rows."""

from __future__ import annotations

import datetime as dt

import pytest

from ledger.conformity.from_rows import approved_on, facts_from_rows, made_on
from ledger.conformity.rulebook import Rulebook, parse_rulebook
from ledger.line.rows import Approval
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


def test_the_uncertainty_that_is_judged_is_half_of_the_stated() -> None:
    """U is stated with k = 2, and judged as u."""
    facts = facts_from_rows(ball_rows("U-1").judged(), rulebook("engraving"))
    measured = ball_rows("U-1").measured
    assert measured is not None
    assert (20_000, 10_000) == (measured.mass_u, facts.readings["mass"].u_scaled)
