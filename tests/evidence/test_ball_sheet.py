"""The sheet of a ball, from its rows."""

from __future__ import annotations

import msgspec
from msgspec import UNSET

from ledger.evidence.ball_sheet import ball_sheet, reading_lines
from tests.evidence.small_dossier import ball_rows, sheet


def test_readings_carry_their_gauges_standing() -> None:
    """A reading of a gauge without calibrations is told, and not usable."""
    rows = ball_rows("U-1")
    assert [True, True] == [line.usable for line in reading_lines(rows)]
    assert [False, False] == [line.usable for line in reading_lines(rows._replace(calibrations={}))]
    assert () == reading_lines(rows._replace(measured=None))


def test_a_reading_tells_its_uncertainty_and_where_it_is_from() -> None:
    """The mass has a stated U; the hardness has none, and no calibration of its gauge states one."""
    hardness, mass = reading_lines(ball_rows("U-1"))
    assert (10_000, "U = 0.02 lb stated with the reading, k = 2") == (mass.standard_uncertainty, mass.uncertainty_from)
    assert (UNSET, "not known: no calibration of G-HARD states one") == (
        hardness.standard_uncertainty, hardness.uncertainty_from,
    )  # fmt: skip


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
