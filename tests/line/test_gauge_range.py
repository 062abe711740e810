"""A gauge's range that is corrected: what was read outside it is found by a re-check, and holds what it was read of."""

from __future__ import annotations

from typing import Any

from ledger.line.corrections import Recheck
from ledger.line.inspections import Inspection
from ledger.line.releases import Rework
from ledger.line.rows import Hold
from tests.line.independent_fold import check_views
from tests.line.making import at, engrave, inspection, reading, registered, stocked_plant
from tests.line.plant import Entered, Plant
from tests.line.test_corrections import correction

MASS = "1.0"


def read_plant(**fields: Any) -> tuple[Plant, str]:
    """A ball was weighed at 15.10 lb, or as given; the address of that."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    return plant, plant.submit(inspection("U-1", reading(**fields))).address


def put_right(plant: Plant, fact: str, **ends: str) -> Entered:
    """The range of the scale is corrected, and the fact looked at again."""
    entered = plant.submit(correction((MASS, registered("G-MASS", "mass", "lb", **ends))))
    assert [] == entered.codes
    return plant.submit(Recheck(at=at(31), because=entered.address, facts=(fact,)))


def test_a_reading_outside_the_corrected_range_holds_its_ball() -> None:
    """Above or below; the breach names value and range, and a second look finds nothing new."""
    for ends, said in (({"high": "15"}, "measures at most 15"), ({"low": "15.2"}, "measures at least 15.2")):
        plant, fact = read_plant()
        [breach] = put_right(plant, fact, **ends).breaches
        assert ("outside-gauge-range", "unit:U-1", MASS, True) == (breach.code, breach.node, breach.fact, breach.holds)
        assert "mass was read as 15.1 lb with G-MASS, which" in breach.said
        assert said in breach.said
        assert ["unit:U-1"] == [row.node for row in plant.tables.rows[Hold].values() if isinstance(row, Hold)]
        assert [] == plant.submit(Recheck(at=at(32), because=fact, facts=(fact,))).codes
        check_views(plant)


def test_each_of_repeated_values_counts() -> None:
    """Their mean lies inside, and the gauge cannot have shown one of them."""
    plant, fact = read_plant(values=("14.90", "15.30"), statistic="mean")
    assert ["outside-gauge-range"] == put_right(plant, fact, high="15.20").codes


def test_a_reading_inside_or_without_a_range_is_left_alone() -> None:
    """Both ends are inclusive."""
    for ends in ({}, {"low": "15.1"}, {"high": "15.10"}):
        plant, fact = read_plant()
        assert [] == put_right(plant, fact, **ends).codes


def test_a_reading_that_stands_no_more_is_left_alone() -> None:
    """A newer one stands in its place, or a rework voided it."""
    plant, fact = read_plant()
    plant.submit(inspection("U-1", reading(value="14.95"), at=at(11)))
    assert [] == put_right(plant, fact, high="15").codes
    plant, fact = read_plant()
    plant.submit(Rework(at=at(11), unit="U-1", operation="plug", station="P-1"))
    assert [] == put_right(plant, fact, high="15").codes


def test_a_reading_of_a_lot_holds_the_lot() -> None:
    """It belongs to no ball."""
    plant = stocked_plant()
    read = plant.submit(Inspection(at=at(9), station="Q-1", lot="SL-1", readings=(reading(value="15.10"),))).address
    assert [("outside-gauge-range", "lot:SL-1")] == [
        (breach.code, breach.node) for breach in put_right(plant, read, high="15").breaches
    ]
    check_views(plant)
