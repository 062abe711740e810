"""Windows in elapsed time, across clock changes and with clocks that are off; the plan that judges."""

from __future__ import annotations

import msgspec
import pytest

from ledger.book.canonical import encode
from ledger.book.instant import instant_ms
from ledger.line.fact import Breach
from ledger.line.process_plan import Window, plan_at, window_breaches, window_of
from ledger.line.rows import Plan
from ledger.line.state import Need, State
from tests.line.making import DAY, HOUR, at, blocks, cores, plan, ready_plant


def _plan(name: str, from_ms: int, window: Window | None = None) -> Plan:
    windows = encode([] if window is None else [msgspec.to_builtins(window)]).decode()
    return Plan(plan=name, model="ORBIT", from_ms=from_ms, windows=windows, inspect="[]", rulebooks="")


REST = _plan("1.0", 0, Window(stage="block-rest", min_s=DAY, max_s=3 * DAY))


def judged(from_at: str, to_at: str, clock_ms: int = 0) -> list[Breach]:
    """The breaches of a rest of one to three days."""
    return window_breaches(
        REST,
        "block-rest",
        instant_ms(from_at),
        instant_ms(to_at),
        node="lot:CL-1",
        what="rest",
        fact="4.0",
        clock_ms=clock_ms,
    )


@pytest.mark.parametrize(
    ("to_at", "codes"),
    [
        (at(4), []),
        (at(4, "07:59:59"), ["block-rest-short"]),
        (at(6), []),
        (at(6, "08:00:01"), ["block-rest-long"]),
        (at(2), ["block-rest-short"]),
    ],
)
def test_both_ends_are_inclusive(to_at: str, codes: list[str]) -> None:
    """One day to three days from day 3, 08:00; time that runs backwards is short."""
    assert codes == [breach.code for breach in judged(at(3), to_at)]


def test_a_clock_change_neither_adds_nor_takes_time() -> None:
    """On 2026-03-29 clocks in Berlin went from 02:00 to 03:00: 24 h by the wall were 23 h, and elapsed time decides."""
    [breach] = judged("2026-03-28T20:00:00.000+01:00", "2026-03-29T20:00:00.000+02:00")
    assert ("block-rest-short", "2026-03-29T19:00:00.000+00:00") == (breach.code, breach.earliest)
    assert [] == judged("2026-03-28T20:00:00.000+01:00", "2026-03-29T21:00:00.000+02:00")


@pytest.mark.parametrize(
    ("clock", "codes"),
    [("07:55", ["cure-undecided"]), ("08:04", ["cure-undecided"]), ("07:49", ["block-rest-short"]), ("08:10", [])],
)
def test_a_result_that_the_clock_error_could_change_is_undecided(clock: str, codes: list[str]) -> None:
    """Clocks may be 10 minutes off: what is nearer than that to a limit is not decided."""
    assert codes == [breach.code for breach in judged(at(3), at(4, clock), 600_000)]


def test_the_earliest_instant_lies_beyond_the_clock_error() -> None:
    """Who waits that long has kept the rule whatever the clocks did."""
    for clock in ("07:00", "07:55"):
        [breach] = judged(at(3), at(4, clock), 600_000)
        assert at(4, "08:10") == breach.earliest
        assert [] == judged(at(3), str(breach.earliest), 600_000)


def test_no_window_and_no_plan_mean_no_breach() -> None:
    """Nothing is hard-coded."""
    assert window_of(None, "block-rest") is None
    assert window_of(REST, "final-cure") is None
    assert [] == window_breaches(None, "block-rest", 0, 1, node="lot:X", what="x", fact="")


def test_the_later_plan_of_one_instant_is_in_force() -> None:
    """Of plans from one instant the one entered last counts, by its address as numbers: 10.0 after 9.0."""
    state = State()
    plans = [_plan("10.0", 5), _plan("9.0", 5), _plan("11.0", 7)]
    state.load(Need(Plan, "model", "ORBIT"), plans)
    found = [plan_at(state, "ORBIT", at_ms) for at_ms in (4, 5, 6, 7)]
    assert [None, "10.0", "10.0", "11.0"] == [row and row.plan for row in found]
    assert plan_at(state, None, 5) is None


def test_the_plan_in_force_when_the_step_began_judges() -> None:
    """A stricter rest from day 5, 08:30 on does not touch cores whose pour began at 08:00; nor the time that it was known."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", at=at(3, "08:10")))
    stricter = (Window(stage="block-rest", min_s=30 * DAY),)
    plant.submit(plan(at=at(5, "08:30"), windows=stricter))
    assert [] == plant.submit(cores("CL-1", ("BL-1", 1), at=at(5, "09:00"))).codes
    later = cores("CL-2", ("BL-1", 1), began_at=at(5, "08:30"), at=at(5, "09:00"))
    assert ["block-rest-short"] == plant.submit(later).codes


def test_windows_are_whole_seconds_of_hours() -> None:
    """The words of a breach state hours, minutes and seconds."""
    [breach] = judged(at(3), at(4, "06:58:59"))
    assert "22 h 58 min 59 s" in breach.said
    assert 24 * HOUR == DAY
