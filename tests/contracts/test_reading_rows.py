"""Gauges, studies and readings in the standing views: on every store, live as made anew."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, Measured
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.writer import Writer
from tests.plant import AT, said
from tests.stores import every_row

STARTED = {"kind": "unit-started", "at": AT, "unit": "U-1", "lot": "SL-1", "station": "T1", "place": 4}
ENGRAVED = {
    "kind": "ball-engraved", "at": AT, "unit": "U-1", "lot": "SL-1", "serial": "P1", "weight_class": 15,
    "station": "E1", "scheme": "prior",
}  # fmt: skip


def weighed(value: str = "15.05", unit: str = "U-1", **fields: Any) -> dict[str, Any]:
    """A ball weighed at 21.5 degrees C, sanded."""
    readings = [{"quantity": "mass", "unit": "lb", "values": [value], "gauge": "G1"}]
    inspected = {"kind": "inspection", "at": AT, "unit": unit, "station": "E1", "readings": readings}
    return {**inspected, "temperature_c": "21.5", "surface": "sanded", **fields}


def test_a_ball_measured_before_it_was_engraved_is_judged_from_one_row(
    store: Store, writer: Writer, start: Callable[..., Writer]
) -> None:
    """Its readings carry class and instant of engraving, said by a writer that has not seen the ball before."""
    writer.submit(said("start", STARTED, weighed()), "a-engraver").result(30)
    with open_reader(store) as reader:
        before = reader.one(Measured, "U-1")
    start().submit(said("engrave", ENGRAVED), "a-engraver").result(30)
    with open_reader(store) as reader:
        after = reader.one(Measured, "U-1")
    assert before is not None
    assert after is not None
    assert [(None, False), (15, True)] == [(row.weight_class, row.engraved_ms is not None) for row in (before, after)]
    assert '{"mass":["lb","G1","single",1,"sanded"]}' == after.manner
    assert ("SL-1", 21_500, 21_500) == (after.lot, after.coldest, after.warmest)
    assert after.first_ms == after.last_ms == after.began_ms
    assert [] == compare_views(store)


def test_a_gauge_its_calibration_and_its_study_are_rows(store: Store, writer: Writer) -> None:
    """What was not stated is nothing there; the same rows come from the entries alone."""
    gauge = {
        "kind": "gauge-registered", "at": AT, "gauge": "G2", "quantity": "mass", "unit": "lb", "resolution": "0.01",
        "high": "20.5", "definition": "moment", "repeatability": "0.004",
    }  # fmt: skip
    calibrated = {
        "kind": "gauge-calibrated", "at": AT, "gauge": "G2", "as_found_good": True, "expanded": "0.03", "k": "3",
        "due_at": "2027-03-02T08:00:00.000+00:00", "as_found": "0.01", "as_left": "-0.001",
    }  # fmt: skip
    studied = {
        "kind": "gauge-studied", "at": AT, "gauge": "G2", "unit": "lb", "parts": ["P1", "P2"], "trials": 2,
        "operators": ["O1", "O2"], "pooled": True,
        "readings": [[["15.00", "15.10"], ["15.02", "15.12"]], [["15.01", "15.11"], ["15.03", "15.13"]]],
    }  # fmt: skip
    writer.submit(said("gauge", gauge, calibrated, studied), "a-lead").result(30)
    with open_reader(store) as reader:
        row = reader.one(Gauge, "G2")
        (made,) = reader.rows(Calibration, "gauge", "G2")
        (study,) = reader.rows(GaugeStudy, "gauge", "G2")
    assert row is not None
    assert (None, 20_500_000, "moment", 4_000) == (row.low_micro, row.high_micro, row.definition, row.repeat_micro)
    assert (30_000, 3_000_000, 10_000, -1_000) == (
        made.expanded_micro, made.k_micro, made.bias_micro, made.left_micro,
    )  # fmt: skip
    assert ("lb", 2, 2, 2, True) == (study.unit, study.operators, study.trials, study.parts, study.pooled)
    writer.stop()  # it would store its idle checkpoint meanwhile
    before = every_row(store)
    assert [] == compare_views(store)
    rebuild_views(store)
    assert before == every_row(store)


def test_a_corrected_temperature_reaches_the_columns(store: Store, writer: Writer) -> None:
    """The row of the ball is folded anew with it, and the rest of the row stays."""
    entered = writer.submit(said("ball", ENGRAVED, weighed()), "a-engraver").result(30)
    change = {"fact": f"{entered.index}.1", "replacement": weighed(temperature_c="29.125")}
    correction = {"kind": "correction", "at": AT, "reason": "mistyped", "changes": [change]}
    writer.submit(said("correct", correction), "a-lead").result(30)
    with open_reader(store) as reader:
        row = reader.one(Measured, "U-1")
    assert row is not None
    assert (29_125, 29_125, 15, 15_050_000) == (row.coldest, row.warmest, row.weight_class, row.mass)
    assert [] == compare_views(store)
