"""Readings of balls and lots, and the ones that stand."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.errors import Contradiction, LedgerError, MalformedQuantity, MalformedRecord, UnknownSubject
from ledger.line.gauges import GaugeCalibrated
from ledger.line.inspections import Inspection, Reading, reading_value, readings_digest
from ledger.line.quantity import OF_COMPONENTS, QUANTITIES
from ledger.line.reading_rows import LotReading, Measured
from ledger.line.record import Record
from ledger.line.releases import Rework
from ledger.line.voided_readings import VOIDED
from tests.line.making import at, engrave, gauge, inspection, reading, registered, stocked_plant
from tests.line.plant import Plant


def ball() -> Plant:
    """A plant with one engraved ball."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    return plant


def spaced(spacing_mm: str) -> Inspection:
    """U-1 read at two places."""
    return inspection("U-1", reading(values=("15.1", "15.2"), statistic="mean", spacing_mm=spacing_mm))


def polished(**fields: Any) -> Rework:
    """U-1 polished on day 11."""
    return Rework(**{"at": at(11), "unit": "U-1", "operation": "polish", "station": "POLISH-1", **fields})


def test_a_reading_stands_with_its_source() -> None:
    """Value and stated uncertainty in millionths; unit, gauge, instant, fact, statistic and number of readings."""
    plant = ball()
    entered = plant.submit(inspection("U-1", reading(values=("15.10", "15.12"), statistic="mean", expanded="0.02")))
    row = plant.row(Measured, "U-1")
    assert (15_110_000, 20_000) == (row.mass, row.mass_u)
    assert {"mass": ["lb", "G-MASS", "mean", 2]} == msgspec.json.decode(row.manner)
    assert [row.first_ms, entered.address] == msgspec.json.decode(row.sources)


@pytest.mark.parametrize(
    ("values", "statistic", "value"),
    [
        (("15.1",), "single", 15_100_000),
        (("15.1", "15.3", "15.2"), "median", 15_200_000),
        (("15.1", "15.3", "15.2"), "range", 200_000),
        (("0.000001", "0.000002"), "mean", 2),
    ],
)
def test_a_statistic_is_rounded_half_to_even_at_a_millionth(values: Any, statistic: Any, value: int) -> None:
    """Exact in rational numbers up to there."""
    assert value == reading_value(reading(values=values, statistic=statistic))


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (inspection("U-9"), UnknownSubject, "unit"),
        (inspection("U-1", lot="SL-1"), MalformedRecord, "unit"),
        (Inspection(at=at(10), station="QC", readings=(reading(),)), MalformedRecord, "unit"),
        (Inspection(at=at(10), station="QC", lot="NONE", readings=(reading(),)), UnknownSubject, "lot"),
        (inspection("U-1", reading(), reading()), Contradiction, "readings[1]"),
        (inspection("U-1", reading(gauge="G-NONE")), UnknownSubject, "readings[0].gauge"),
        (inspection("U-1", reading(gauge="G-HARD")), Contradiction, "readings[0].gauge"),
        (inspection("U-1", reading(values=("15.1", "15.2"))), MalformedRecord, "readings[0].statistic"),
        (inspection("U-1", reading(expanded="-0.1")), MalformedRecord, "readings[0].expanded"),
        (inspection("U-1", reading(unit="kg", value="6.85")), Contradiction, "readings[0].unit"),
        (inspection("U-1", temperature_c="215"), MalformedRecord, "temperature_c"),
        (inspection("U-1", temperature_c="-40.001"), MalformedRecord, "temperature_c"),
        (inspection("U-1", temperature_c="21.0001"), MalformedRecord, "temperature_c"),
        (inspection("U-1", delay_s="-1"), MalformedRecord, "delay_s"),
        (inspection("U-1", delay_s="86401"), MalformedRecord, "delay_s"),
        (inspection("U-1", reading(spacing_mm="6")), MalformedRecord, "readings[0].spacing_mm"),
        (spaced("-6"), MalformedRecord, "readings[0].spacing_mm"),
        (spaced("350.001"), MalformedRecord, "readings[0].spacing_mm"),
        (spaced("6.0001"), MalformedRecord, "readings[0].spacing_mm"),
    ],
)
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    with pytest.raises(error) as refusal:
        ball().submit(record)
    assert isinstance(refusal.value, LedgerError)
    assert where == refusal.value.where


@pytest.mark.parametrize("wrong", [reading(unit="mm"), reading(value="151"), reading(value="15.1000001")])
def test_a_value_or_unit_that_cannot_be_is_malformed(wrong: Reading) -> None:
    """Another unit, a typing error by a factor of ten, more places than a millionth."""
    with pytest.raises(MalformedQuantity):
        ball().submit(inspection("U-1", wrong))


@pytest.mark.parametrize(
    ("ends", "values", "taken"),
    [
        ({"low": "15", "high": "16"}, ("15", "16.00", "15.5"), True),
        ({"low": "15", "high": "16"}, ("15.5", "14.999999"), False),
        ({"low": "15", "high": "16"}, ("15.5", "16.000001"), False),
        ({"low": "15"}, ("24.9",), True),
        ({"low": "15"}, ("14.9",), False),
        ({"high": "16"}, ("1.1",), True),
        ({"high": "16"}, ("16.1",), False),
    ],
)
def test_a_value_outside_the_range_of_its_gauge_is_refused(ends: Any, values: Any, *, taken: bool) -> None:
    """Both ends are in it; each of several values is looked at, whatever their statistic."""
    plant = ball()
    plant.submit(registered("G-2", "mass", "lb", **ends), gauge("G-2", "mass", "lb")[1])
    said = inspection("U-1", reading(values=values, gauge="G-2", statistic="mean"))
    if taken:
        plant.submit(said)
    else:
        refusal = plant.refused(said)
        assert (Contradiction, "readings[0].values") == (type(refusal), refusal.where)


def test_a_reading_with_an_overdue_gauge_is_kept_and_flagged() -> None:
    """It holds nothing: the release asks whether it may be used."""
    plant = ball()
    entered = plant.submit(inspection("U-1", at=at(201)))
    assert [("gauge-unfit", False, "unit:U-1")] == [(b.code, b.holds, b.node) for b in entered.breaches]
    assert [] == plant.tables.listed()["Hold"]


def test_a_reading_of_a_lot_belongs_to_the_lot() -> None:
    """No ball gets a reading of its own from it."""
    plant = ball()
    entered = plant.submit(
        Inspection(at=at(10), station="QC", lot="SL-1", readings=(reading("hardness", "76", expanded="1"),))
    )
    row = plant.row(LotReading, f"{entered.address}.hardness")
    assert ("SL-1", 76_000_000, 1_000_000) == (row.lot, row.value, row.expanded)
    assert plant.row(Measured, "U-1") is None


def test_a_components_density_is_read_on_its_lot_only() -> None:
    """A ball has no density of a component; the component's lot has."""
    plant = ball()
    plant.submit(*gauge("G-DENSITY", "component_density", "g_ml"))
    density = reading("component_density", "1.9", unit="g_ml", gauge="G-DENSITY")
    with pytest.raises(Contradiction) as refusal:
        plant.submit(inspection("U-1", density))
    assert "readings[0].quantity" == refusal.value.where
    entered = plant.submit(Inspection(at=at(10), station="QC", lot="CL-1", readings=(density,)))
    assert 1_900_000 == plant.row(LotReading, f"{entered.address}.component_density").value


def test_every_quantity_of_a_ball_has_its_columns() -> None:
    """Value and stated uncertainty of each, and none for a component's."""
    beside = {"unit", "lot", "weight_class", "began_ms", "engraved_ms", "manner", "sources", "voided"}
    columns = set(Measured.__struct_fields__) - beside - {"first_ms", "last_ms", "coldest", "warmest"}
    of_balls = set(QUANTITIES) - OF_COMPONENTS
    assert of_balls | {f"{quantity}_u" for quantity in of_balls} == columns
    assert set(VOIDED["re-pour"]) == of_balls


def test_a_newer_reading_takes_the_place_of_the_older() -> None:
    """Also when the older is reported later: the instant of the reading decides."""
    plant = ball()
    plant.submit(inspection("U-1"))
    plant.submit(inspection("U-1", reading(value="15.2"), at=at(12)))
    plant.submit(inspection("U-1", reading(value="15.3"), at=at(11)))
    assert 15_200_000 == plant.row(Measured, "U-1").mass


def test_rework_voids_what_it_can_change() -> None:
    """Polishing voids the hardness and leaves the mass; the digest changes."""
    plant = ball()
    plant.submit(inspection("U-1", reading(), reading("hardness", "76")))
    before = readings_digest(plant.row(Measured, "U-1"))
    plant.submit(polished())
    row = plant.row(Measured, "U-1")
    assert (None, 15_100_000) == (row.hardness, row.mass)
    assert before != readings_digest(row)


def test_a_reading_from_before_the_rework_never_stands_after_it() -> None:
    """A station without network reports it late; a rework reported late does not void what was read after it."""
    plant = ball()
    plant.submit(polished())
    plant.submit(inspection("U-1", reading("hardness", "76"), at=at(10)))
    assert plant.row(Measured, "U-1").hardness is None
    plant.submit(inspection("U-1", reading("hardness", "77"), at=at(13)))
    plant.submit(polished(at=at(12)))
    assert 77_000_000 == plant.row(Measured, "U-1").hardness


def test_without_readings_the_digest_is_one() -> None:
    """Never read, or all voided."""
    plant = ball()
    plant.submit(polished())
    assert readings_digest(None) == readings_digest(plant.row(Measured, "U-1"))


def test_a_good_calibration_makes_an_overdue_reading_usable() -> None:
    """The breach stands in the entry; the release no longer finds it in its way."""
    plant = ball()
    plant.submit(inspection("U-1", at=at(201)))
    plant.submit(GaugeCalibrated(at=at(202), gauge="G-MASS", as_found_good=True, due_at=at(400)))
    assert 15_100_000 == plant.row(Measured, "U-1").mass
