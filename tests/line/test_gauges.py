"""Gauges and the use of their readings, by what calibrations before and after say."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Contradiction, MalformedQuantity, MalformedRecord, UnknownSubject
from ledger.line.gauges import (
    GaugeCalibrated,
    GaugeChecked,
    GaugeFaulted,
    GaugeRegistered,
    calibration_at,
    standing_at,
    standing_of,
)
from ledger.line.reading_rows import Calibration, Gauge
from ledger.line.record import Record
from ledger.line.state import Need, State
from tests.line.making import at, gauge, ready_plant, registered


def calibration(address: str, day: int, due: int, kind: str = "calibration", *, good: bool = True) -> Calibration:
    """One calibration, check or fault, days as instants."""
    row = {"calibration": address, "gauge": "G", "at_ms": day, "due_ms": due, "good": good, "kind": kind}
    return Calibration(**row, expanded_micro=None, bias_micro=None)  # type: ignore[arg-type]  # columns by name


FIRST = calibration("1.0", 1, 10)
GOOD = calibration("2.0", 20, 30)
WRONG = calibration("2.0", 20, 30, good=False)
FAULT = calibration("2.0", 8, 8, "fault", good=False)
FAILED = calibration("2.0", 8, 8, "check", good=False)
PASSED = calibration("2.0", 8, 8, "check")


@pytest.mark.parametrize(
    ("rows", "day", "usable"),
    [
        ([], 5, False),
        ([FIRST], 1, True),
        ([FIRST], 10, True),
        ([FIRST], 11, False),
        ([FIRST, GOOD], 11, True),
        ([FIRST, WRONG], 11, False),
        ([FIRST, WRONG], 5, False),
        ([FIRST, WRONG], 25, True),
        ([FIRST, WRONG], 31, False),
        ([GOOD], 5, True),
        ([WRONG], 5, False),
        ([FIRST, FAULT], 5, False),
        ([FIRST, FAULT], 9, False),
        ([FIRST, FAULT, calibration("3.0", 9, 30)], 8, False),
        ([FIRST, FAULT, calibration("3.0", 9, 30)], 9, True),
        ([FIRST, FAILED], 5, False),
        ([FIRST, FAILED], 9, False),
        ([FIRST, FAILED, calibration("3.0", 9, 30)], 8, True),
        ([FIRST, FAILED, calibration("3.0", 9, 30, good=False)], 8, False),
        ([FIRST, PASSED], 9, True),
        ([FIRST, PASSED], 11, False),
        ([FIRST, calibration("9.0", 1, 2, good=False), calibration("10.0", 1, 20)], 15, True),
    ],
)
def test_a_reading_is_usable_as_far_as_the_calibrations_tell(
    rows: list[Calibration], day: int, *, usable: bool
) -> None:
    """In date; or overdue and then found good. Found wrong next, faulty, or never calibrated: not."""
    for order in (rows, rows[::-1]):
        standing = standing_at(order, day)
        assert (usable, usable) == (standing.usable, standing.why == "")


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (gauge("G-MASS", "mass", "lb")[0], Contradiction, "gauge"),
        (gauge("G-NONE", "mass", "lb")[1], UnknownSubject, "gauge"),
        (gauge("G-MASS", "mass", "lb", due_at=at(1, "08:30"))[1], Contradiction, "due_at"),
        (gauge("G-MASS", "mass", "lb", expanded="-0.1")[1], MalformedRecord, "expanded"),
        (gauge("G-MASS", "mass", "lb", expanded="0.1", k="0.5")[1], MalformedRecord, "k"),
        (gauge("G-MASS", "mass", "lb", expanded="0.1", k="20")[1], MalformedRecord, "k"),
        (gauge("G-MASS", "mass", "lb", bias="0.1", as_found="0.2")[1], MalformedRecord, "bias"),
        (registered("G-X", "mass", "lb", low="16", high="16.00"), MalformedRecord, "high"),
        (registered("G-X", "mass", "lb", resolution="-0.01"), MalformedRecord, "resolution"),
        (registered("G-X", "mass", "lb", repeatability="-0.01"), MalformedRecord, "repeatability"),
        (GaugeChecked(at=at(2), gauge="G-NONE", master="M-1", good=True), UnknownSubject, "gauge"),
        (GaugeFaulted(at=at(2), gauge="G-NONE", reason="dropped"), UnknownSubject, "gauge"),
    ],
)
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    refusal = ready_plant().refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_a_gauge_measures_in_a_unit_of_its_quantity() -> None:
    """Nobody weighs in millimetres."""
    with pytest.raises(MalformedQuantity):
        ready_plant().submit(GaugeRegistered(at=at(1), gauge="G-X", quantity="mass", unit="mm", resolution="1"))


def test_the_row_of_a_gauge_says_how_it_stands() -> None:
    """Registered, calibrated, faulty; and its budget is kept in millionths."""
    plant = ready_plant()
    assert "calibrated" == plant.row(Gauge, "G-MASS").state
    budget = GaugeCalibrated(
        at=at(2),
        gauge="G-MASS",
        as_found_good=True,
        due_at=at(90),
        expanded="0.01",
        bias="-0.002",
        certificate="d" * 64,
    )
    entered = plant.submit(budget)
    row = plant.row(Calibration, entered.address)
    assert (10_000, 2_000_000, -2_000, None) == (row.expanded_micro, row.k_micro, row.bias_micro, row.left_micro)
    plant.submit(GaugeChecked(at=at(3), gauge="G-MASS", master="M-1", good=True))
    plant.submit(GaugeFaulted(at=at(3), gauge="G-MASS", reason="dropped"))
    assert "faulty" == plant.row(Gauge, "G-MASS").state


def test_a_gauge_tells_what_it_measures_and_between_which_ends() -> None:
    """Range, definition and repeatability are kept; what was not stated is absent."""
    plant = ready_plant()
    said = {"low": "0", "high": "20.5", "definition": "moment-4.25in", "repeatability": "0.004"}
    plant.submit(registered("G-X", "mass", "lb", **said))
    row: Gauge = plant.row(Gauge, "G-X")
    assert (0, 20_500_000, "moment-4.25in", 4_000) == (row.low_micro, row.high_micro, row.definition, row.repeat_micro)
    other: Gauge = plant.row(Gauge, "G-MASS")
    assert (None, None, None, None) == (other.low_micro, other.high_micro, other.definition, other.repeat_micro)


@pytest.mark.parametrize("fields", [{"as_found": "0.1"}, {"bias": "0.1"}, {"bias": "0.10", "as_found": "0.1"}])
def test_the_bias_found_is_known_by_two_names(fields: dict[str, str]) -> None:
    """The older name says the same; what was left after adjustment stands beside it, and so does another k."""
    plant = ready_plant()
    entered = plant.submit(gauge("G-MASS", "mass", "lb", expanded="0.03", k="3", as_left="-0.01", **fields)[1])
    row: Calibration = plant.row(Calibration, entered.address)
    assert (100_000, -10_000, 3_000_000) == (row.bias_micro, row.left_micro, row.k_micro)


@pytest.mark.parametrize(
    ("rows", "day", "address"),
    [
        ([], 5, None),
        ([FAULT, PASSED], 9, None),
        ([FIRST, GOOD], 5, "1.0"),
        ([FIRST, GOOD], 15, "1.0"),
        ([FIRST, GOOD], 20, "2.0"),
        ([FIRST, WRONG], 25, "2.0"),
        ([GOOD], 5, "2.0"),
        ([GOOD, calibration("3.0", 40, 50)], 5, "2.0"),
        ([calibration("9.0", 1, 2), calibration("10.0", 1, 20)], 15, "10.0"),
    ],
)
def test_the_figures_of_a_reading_are_those_of_the_calibration_before_it(
    rows: list[Calibration], day: int, address: str | None
) -> None:
    """The last up to it, overdue or not; else the first after it. Checks and faults state no figures."""
    for order in (rows, rows[::-1]):
        found = calibration_at(order, day)
        assert address == (None if found is None else found.calibration)


@given(
    st.lists(
        st.tuples(
            st.integers(0, 12), st.integers(0, 6), st.sampled_from(["calibration", "check", "fault"]), st.booleans()
        ),
        max_size=5,
    ),
    st.lists(st.integers(-1, 20), min_size=1, max_size=12),
)
def test_a_standing_that_is_kept_is_the_one_of_each_instant(
    made: list[tuple[int, int, str, bool]], days: list[int]
) -> None:
    """Asked for one instant after another, a gauge stands as it does when asked for each alone."""
    rows = [
        calibration(f"{place}.0", day, day + length, kind, good=good)
        for place, (day, length, kind, good) in enumerate(made)
    ]
    state = State()
    state.load(Need(Calibration, "gauge", "G"), rows)

    assert [standing_at(rows, day) for day in days] == [standing_of(state, "G", day) for day in days]


def test_a_standing_is_not_kept_past_a_new_calibration() -> None:
    """What was found before a gauge was calibrated again is worked out anew afterwards."""
    state = State()
    state.load(Need(Calibration, "gauge", "G"), [FIRST])
    before = standing_of(state, "G", 11).usable
    state.put(GOOD)

    assert (False, True) == (before, standing_of(state, "G", 11).usable)
