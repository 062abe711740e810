"""Readings that belong to a lot, as they are judged."""

from __future__ import annotations

import pytest

from ledger.conformity.from_rows import GaugeRows
from ledger.conformity.lot_readings import measured_of_lot, standing_of_lot
from ledger.line.reading_rows import Calibration, Gauge, LotReading

DAY = 86_400_000


def read(fact: str = "9.0", at_ms: int = 5 * DAY, value: int = 2_100_000, expanded: int | None = 4_000) -> LotReading:
    """The density of BL-1."""
    return LotReading(
        lot_reading=f"{fact}.component_density", lot="BL-1", quantity="component_density", value=value,
        unit_of="g_ml", expanded=expanded, gauge="G1", at_ms=at_ms,
    )  # fmt: skip


def gauges(due_ms: int = 100 * DAY, expanded: int | None = 6_000) -> GaugeRows:
    """Gauge G1, calibrated on day 1."""
    gauge = Gauge(
        gauge="G1", quantity="component_density", unit="g_ml", resolution_micro=0, state="in-use", address="1.0",
        repeat_micro=4_000,
    )  # fmt: skip
    calibration = Calibration(
        calibration="2.0", gauge="G1", at_ms=DAY, due_ms=due_ms, good=True, expanded_micro=expanded, bias_micro=None,
        kind="calibration",
    )  # fmt: skip
    return GaugeRows({"G1": [calibration]}, {"G1": gauge}, {})


@pytest.mark.parametrize(
    ("stated", "certificate", "u"),
    [(4_000, 6_000, 2_000), (None, 6_000, 5_000), (4_000, None, 2_000), (None, None, None)],
)
def test_its_uncertainty_is_as_a_balls(stated: int | None, certificate: int | None, u: int | None) -> None:
    """Stated with the reading; else from calibration and one reading's repeatability, 3 and 4 thousandths; else not known."""
    found = measured_of_lot(read(expanded=stated), gauges(expanded=certificate))
    assert (2_100_000, "g_ml", "9.0", True, u) == (
        found.value_scaled, found.unit, found.fact, found.usable, found.u_scaled,
    )  # fmt: skip


def test_a_gauge_out_of_calibration_makes_it_unusable() -> None:
    """It is kept, with the reason."""
    found = measured_of_lot(read(), gauges(due_ms=2 * DAY))
    assert (False, True) == (found.usable, found.why_unusable.startswith("G1: "))


def test_the_newest_usable_reading_stands() -> None:
    """By its instant, then by its place in the book; an unusable one only where there is no other."""
    early, late, last = read("9.0", 5 * DAY, 1), read("8.0", 6 * DAY, 2), read("10.0", 6 * DAY, 3)
    overdue = read("11.0", 200 * DAY, 4)
    assert None is standing_of_lot([], "component_density", gauges())
    assert None is standing_of_lot([early], "mass", gauges())
    for rows, value in (([early, late], 2), ([last, late, early], 3), ([overdue, early], 1), ([overdue], 4)):
        found = standing_of_lot(rows, "component_density", gauges())
        assert found is not None
        assert value == found.value_scaled


def test_the_fact_is_the_inspection() -> None:
    """The row's key without the quantity."""
    assert "12.3" == read("12.3").address
