"""Where balls are, and what a gauge read, on each database; and the impact questions over them."""

from __future__ import annotations

from collections import Counter

import pytest

from ledger.application.impact_of_correction import impact_of_correction
from ledger.application.impact_of_gauge import impact_of_gauge
from ledger.application.impact_of_rules import Under, impact_of_rules
from ledger.store.columns import ReadWith, reading_columns
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import Selection
from ledger.store.whereabouts import count_whereabouts, reading_sources, shipment_rows, units_of_lots, whereabouts
from ledger.store.writer import Writer
from tests.plant import AT, registration, said

EARLY = "2026-03-01T08:00:00.000+00:00"
LATE = "2026-03-09T08:00:00.000+00:00"
WRONG = "2026-03-05T08:00:00.000+00:00"
AT_MS, WRONG_MS, LATE_MS = 1_772_438_400_000, 1_772_697_600_000, 1_773_043_200_000


@pytest.fixture
def stocked(writer: Writer) -> Writer:
    """Sixty balls of which two shipments took three, and one was weighed again later with another gauge."""
    for number in range(1, 61):
        writer.submit(registration(number), "a-lead").result(30)
    sent = {"kind": "shipment", "at": AT, "purpose": "sample", "consignee": "A shop"}
    for shipment, units in (("SH-1", ["U-000002", "U-000059"]), ("SH-2", ["U-000007"])):
        writer.submit(said(shipment, {**sent, "shipment": shipment, "units": units}), "a-lead").result(30)
    gauge = {"kind": "gauge-registered", "at": AT, "gauge": "G_1", "quantity": "mass", "unit": "lb"}
    reading = {"quantity": "mass", "unit": "lb", "values": ["15.1"], "gauge": "G_1"}
    weighed = {"kind": "inspection", "at": LATE, "unit": "U-000009", "station": "E1", "readings": [reading]}
    good = {"kind": "gauge-calibrated", "at": AT, "gauge": "G_1", "as_found_good": True, "due_at": LATE}
    writer.submit(said("second", {**gauge, "resolution": "0.1"}, good, weighed), "a-lead").result(30)
    return writer


def units_read(reader: Reader, asked: ReadWith) -> list[str]:
    """The balls that have a reading of a gauge, in chunks of seven."""
    chunks = reading_columns(reader, Selection(), ("mass",), chunk=7, read_with=asked)
    return [unit for chunk in chunks for unit in chunk.units]


@pytest.mark.usefixtures("stocked")
def test_where_balls_are(store: Store) -> None:
    """A dense stretch, a sparse one and none give the same rows as they are asked for, in their order."""
    units = [f"U-{number:06d}" for number in range(1, 61)]
    away = {"U-000002": "SH-1", "U-000059": "SH-1", "U-000007": "SH-2"}
    expected = {unit: ("shipped", away[unit]) if unit in away else ("engraved", None) for unit in units}
    with open_reader(store) as reader:
        assert expected == whereabouts(reader, units)
        for some in (units[::2], [units[1], units[58]], units[:1]):
            found = whereabouts(reader, some)
            assert (some, {unit: expected[unit] for unit in some}) == (list(found), found)
        assert {} == whereabouts(reader, [])
        for some in (units, units[3:50], units[::2], [units[1], units[58]], units[:1], []):
            assert Counter(expected[unit] for unit in some) == count_whereabouts(reader, some)
        of_lots = list(units_of_lots(reader, ["SL-1", "SL-none"]))
        assert [(unit, *expected[unit]) for unit in units] == [(one.unit, *one.where) for one in of_lots]


@pytest.mark.usefixtures("stocked")
def test_what_is_said_of_shipments_and_readings(store: Store) -> None:
    """A shipment's purpose and the fact that says it, whose entry holds the consignee; when and by what a ball was read."""
    with open_reader(store) as reader:
        rows = shipment_rows(reader, {"SH-1", "SH-2", "SH-9"})
        sources = reading_sources(reader, ["U-000001", "U-000009"])
        facts = {name: reader.facts_about(f"shipment:{name}")[0].address for name in ("SH-1", "SH-2")}
    assert {name: (AT_MS, "sample", fact) for name, fact in facts.items()} == rows
    assert (AT_MS, LATE_MS) == (sources["U-000001"]["mass"].at_ms, sources["U-000009"]["mass"].at_ms)


@pytest.mark.usefixtures("stocked")
def test_what_a_gauge_read(store: Store) -> None:
    """By gauge and between instants, both included; more balls are given than those whose reading of the gauge is of then."""
    with open_reader(store) as reader:
        assert 59 == len(units_read(reader, ReadWith("G1")))
        assert ["U-000009"] == units_read(reader, ReadWith("G_1", LATE_MS, LATE_MS))
        assert [] == units_read(reader, ReadWith("G_1", LATE_MS + 1))
        assert [] == units_read(reader, ReadWith("G_1", None, LATE_MS - 1))
        assert 59 == len(units_read(reader, ReadWith("G1", AT_MS, AT_MS)))


def test_the_impact_questions_are_answered(store: Store, stocked: Writer) -> None:
    """Each of the three is answered on each database, and counts what is there."""
    wrong = {"kind": "gauge-calibrated", "at": WRONG, "gauge": "G1", "as_found_good": False, "due_at": LATE}
    stocked.submit(said("wrong", {**wrong, "as_found": "-1"}), "a-lead").result(30)
    with open_reader(store) as reader:
        fact = reader.facts_about("unit:U-000003")[1].address
    reading = {"quantity": "mass", "unit": "lb", "values": ["16.5"], "gauge": "G1"}
    weighed = {"kind": "inspection", "at": AT, "unit": "U-000003", "station": "E1", "readings": [reading]}
    change = {"fact": fact, "replacement": weighed}
    fix = {"kind": "correction", "at": LATE, "reason": "typing", "changes": [change]}
    stocked.submit(said("fix", fix), "a-lead").result(30)
    with open_reader(store) as reader:
        gauge = impact_of_gauge(reader, "G1", "usbc-2026", listed=3)
        rules = impact_of_rules(reader, Selection(state="engraved"), Under("usbc-2012"), Under("usbc-2026"), listed=3)
        correction = impact_of_correction(reader, fact, "usbc-2026", listed=3)
    assert gauge.shifted
    assert (59, 59, 3) == (gauge.balls, gauge.now.changed, gauge.where.shipped)
    assert 58 == gauge.shifted.quantities["mass"]["conforms"]["does_not_conform"]
    assert (57, 1, 3, "SH-1") == (rules.balls, correction.balls, len(gauge.listed), gauge.where.shipments[0].shipment)
