"""Temperature logs against the plan: what is a breach, what is only said, what cannot be."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.errors import Contradiction, LedgerError, MalformedRecord, UnknownSubject
from ledger.line.corrections import Change, Correction, Recheck
from ledger.line.cure_temperatures import Span, TemperatureLogged, uncovered
from ledger.line.process_plan import Window
from ledger.line.rows import Hold
from ledger.line.temperature_log import Logged, parse_log
from ledger.line.temperature_rows import TemperatureLog
from ledger.line.temperature_summary import Summary, summarize
from tests.line.independent_fold import check_views
from tests.line.making import DAY, at, plan, stocked_plant
from tests.line.plant import Plant

CURED = Window(stage="final-cure", min_s=DAY, low_c="21", high_c="26", gap_s=3_600)
FROM = at(7, "08:10")
"""When SL-1 was demoulded."""


def log(*degrees: str, began: str = FROM, step_s: int = 1_800) -> list[Logged]:
    """Readings every half hour."""
    first = instant_ms(began)
    lines = [f"{format_instant(Instant(first + place * step_s * 1000))},{one}" for place, one in enumerate(degrees)]
    return parse_log("\n".join(lines).encode())


def logged(readings: list[Logged] | None = None, gap_limit_s: int = 3_600, **fields: Any) -> TemperatureLogged:
    """The log of SL-1's final cure, by default a day and an hour at 23 degrees, read out on day 9."""
    summary = summarize(readings or log(*["23"] * 51), gap_limit_s, low_c="21", high_c="26")
    said: dict[str, Any] = {"at": at(9), "lot": "SL-1", "stage": "final-cure", "digest": "d" * 64, "length": 99}
    return TemperatureLogged(**{**said, "summary": summary, **fields})


def cured_plant(*windows: Window) -> Plant:
    """SL-1 stands, and the plan of its model asks for a temperature of its cure."""
    plant = stocked_plant()
    plant.submit(plan(at=at(2), windows=windows or (CURED,)))
    return plant


def test_a_log_that_keeps_the_window_is_only_kept() -> None:
    """One row, no breach; both ends of the temperature are inclusive."""
    plant = cured_plant()
    entered = plant.submit(logged(log("21", "26", *["23.5"] * 49)))
    [row] = plant.tables.where(TemperatureLog, "lot", "SL-1")
    assert ([], "final-cure", 21_000_000, 26_000_000, 0) == (
        entered.codes, row.stage, row.coldest, row.warmest, row.gaps,
    )  # fmt: skip
    check_views(plant)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        (["20.999999"], "was down to 20.999999 deg C"),
        (["26.1"], "was up to 26.1 deg C"),
        (["19", "23", "27"], "was down to 19 deg C (15 min beyond)"),
    ],
)
def test_a_temperature_that_was_not_kept_holds_the_lot(readings: list[str], words: str) -> None:
    """Colder or warmer than the plan asks, by whatever little."""
    plant = cured_plant()
    breaches = plant.submit(logged(log(*readings, *["23"] * 49))).breaches
    assert {("cure-temperature", "lot:SL-1", True)} == {(one.code, one.node, one.holds) for one in breaches}
    assert words in breaches[0].said
    holds = [row for row in plant.tables.rows[Hold].values() if isinstance(row, Hold) and row.open]
    assert {"cure-temperature"} == {hold.reason for hold in holds}
    check_views(plant)


def test_a_gap_is_a_breach_where_it_is_longer_than_the_plan_allows() -> None:
    """Whatever the sender calls a gap."""
    readings = log("23", "23", step_s=3_600) + log(*["23"] * 49, began=at(7, "10:10:01"))
    [breach] = cured_plant().submit(logged(readings, gap_limit_s=86_400)).breaches
    assert ("cure-temperature", True) == (breach.code, breach.holds)
    assert "no reading for 1 h 1 s, the plan allows at most 1 h between two" in breach.said


@pytest.mark.parametrize("window", [None, Window(stage="final-cure", min_s=DAY), Window(stage="core-rest", min_s=1)])
def test_a_plan_that_asks_nothing_is_not_breached(window: Window | None) -> None:
    """No window of the stage, or one of time alone."""
    plant = stocked_plant() if window is None else cured_plant(window)
    assert [] == plant.submit(logged(log("5", "60"))).codes


def test_a_log_of_part_of_the_cure_is_said_and_holds_nothing() -> None:
    """Until the next log has the rest: the first half, then both together."""
    plant = cured_plant()
    [said] = plant.submit(logged(log(*["23"] * 25))).breaches
    assert ("cure-temperature-partial", False) == (said.code, said.holds)
    assert f"no log covers {at(7, '20:10')} to {at(8, '08:10')}" in said.said
    assert [] == plant.submit(logged(log(*["23"] * 25, began=at(7, "20:40")))).codes
    check_views(plant)


def test_a_demoulding_is_judged_by_the_plan_of_its_pour() -> None:
    """SL-1 was poured from 08:00 to 08:10 on day 7; a plan from 08:05 on comes too late for it."""
    window = Window(stage="shell-demould", min_s=300, low_c="60", gap_s=300)
    readings = log("55", "65", "65", began=at(7, "08:00"), step_s=300)
    plant = stocked_plant()
    plant.submit(plan(at=at(7, "08:05"), windows=(window,)))
    assert [] == plant.submit(logged(readings, stage="shell-demould")).codes
    plant.submit(plan(at=at(7, "07:59"), windows=(window,)))
    assert ["cure-temperature"] == plant.submit(logged(readings, stage="shell-demould")).codes


def changed(**fields: Any) -> Summary:
    """A summary that cannot be that of a log."""
    return msgspec.structs.replace(logged().summary, **fields)


REFUSED: list[tuple[dict[str, Any], type[LedgerError], str]] = [
    ({"lot": "NONE"}, UnknownSubject, "lot"),
    ({"lot": "RESIN"}, Contradiction, "lot"),
    ({"lot": "CL-1"}, Contradiction, "stage"),
    ({"stage": "core-rest"}, Contradiction, "stage"),
    ({"at": at(8)}, MalformedRecord, "at"),
    ({"from_at": at(7, "08:11")}, MalformedRecord, "summary.first_at"),
    ({"to_at": at(8, "08:10")}, MalformedRecord, "to_at"),
    ({"summary": changed(last_at=at(7))}, MalformedRecord, "summary.last_at"),
    ({"summary": changed(coldest_c="24")}, MalformedRecord, "summary.mean_c"),
    ({"summary": changed(warmest_c="22")}, MalformedRecord, "summary.mean_c"),
    ({"summary": changed(coldest_c="-0")}, MalformedRecord, "summary.coldest_c"),
    ({"summary": changed(low_c=msgspec.UNSET)}, MalformedRecord, "summary.below_ms"),
    ({"summary": changed(above_ms=msgspec.UNSET)}, MalformedRecord, "summary.above_ms"),
    ({"summary": changed(gap_count=1)}, MalformedRecord, "summary.gaps"),
    ({"summary": changed(longest_ms=3_600_001)}, MalformedRecord, "summary.gap_count"),
    ({"summary": changed(covered_ms=90_000_001)}, MalformedRecord, "summary.covered_ms"),
]


@pytest.mark.parametrize(("fields", "error", "where"), REFUSED)
def test_what_cannot_be_is_refused(fields: dict[str, Any], error: type[LedgerError], where: str) -> None:
    """Each refusal is of its class and names its field."""
    refusal = cured_plant().refused(logged(**fields))
    assert (error, where) == (type(refusal), refusal.where)


@pytest.mark.parametrize(
    ("window", "error", "where"),
    [
        (Window(stage="final-cure", min_s=1, low_c="27", high_c="26"), Contradiction, "windows[0]"),
        (Window(stage="final-cure", min_s=1, low_c="-0"), MalformedRecord, "windows[0].low_c"),
        (Window(stage="final-cure", min_s=1, high_c="1.0000001"), MalformedRecord, "windows[0].high_c"),
    ],
)
def test_a_window_that_nothing_can_keep_is_refused(window: Window, error: type[LedgerError], where: str) -> None:
    """Ends the wrong way round, and temperatures that are no decimals of six places."""
    refusal = stocked_plant().refused(plan(at=at(2), windows=(window,)))
    assert (error, where) == (type(refusal), refusal.where)


def test_a_log_of_another_rack_is_corrected() -> None:
    """Withdrawn, its row is gone and its hold is lifted; replaced, it is judged anew; a rebuild agrees."""
    plant = cured_plant()
    cold = plant.submit(logged(log(*["12"] * 50)))
    fact = f"{cold.at}.0"
    plant.submit(Correction(at=at(9), reason="other-rack", changes=(Change(fact=fact, replacement=logged()),)))
    assert [23_000_000] == [row.coldest for row in plant.tables.where(TemperatureLog, "lot", "SL-1")]
    assert [] == [row for row in plant.tables.rows[Hold].values() if isinstance(row, Hold) and row.open]
    check_views(plant)
    plant.submit(Correction(at=at(9), reason="other-rack", changes=(Change(fact=fact),)))
    assert [] == plant.tables.where(TemperatureLog, "lot", "SL-1")
    check_views(plant)


def test_a_plan_that_is_corrected_is_judged_by_at_a_recheck() -> None:
    """What the plan asks now holds the lot, once; a log that kept it stays without."""
    plant = stocked_plant()
    asked = plant.submit(plan(at=at(2), windows=(Window(stage="final-cure", min_s=DAY),)))
    logs = [plant.submit(logged(log(*[degrees] * 50))).address for degrees in ("20", "23")]
    right = plan(at=at(2), windows=(CURED,))
    because = plant.submit(
        Correction(at=at(9), reason="typing", changes=(Change(fact=asked.address, replacement=right),))
    )
    recheck = Recheck(at=at(9), because=because.address, facts=tuple(logs))
    [breach] = plant.submit(recheck).breaches
    assert ("cure-temperature", "lot:SL-1") == (breach.code, breach.node)
    assert [] == plant.submit(recheck).codes
    check_views(plant)


@pytest.mark.parametrize(
    ("covered", "left"),
    [
        ([], [(0, 10)]),
        ([(0, 10)], []),
        ([(-5, 3), (7, 20)], [(3, 7)]),
        ([(4, 5), (2, 6)], [(0, 2), (6, 10)]),
        ([(11, 12), (-3, -1)], [(0, 10)]),
    ],
)
def test_what_is_left_of_a_span(covered: list[tuple[int, int]], left: list[tuple[int, int]]) -> None:
    """In order, whatever the order of what covers it."""
    assert [Span(*one) for one in left] == uncovered(Span(0, 10), [Span(*one) for one in covered])
