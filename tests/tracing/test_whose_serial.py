"""Whose serial is this: by prefix, pattern, days, product, look-alikes and the check character."""

from __future__ import annotations

import datetime as dt

from ledger.line.serial import serial_at
from ledger.tracing.plants import parse_plants
from ledger.tracing.whose_serial import OWN_CAUTION, cautions_of, whose_serial
from ledger.warranty.partial_serial import parse_pattern
from tests.tracing.plant_files import GTIN, directory, https_alone, plant_table

OTHER = "04006381333931"
PLANTS = parse_plants(
    directory(
        plant_table("north", 'pattern = "N?????"\nto_on = 2026-06-30', "own = true"),
        plant_table("south", 'pattern = "N99999"\nfrom_on = 2026-07-01', "own = true", gtins=f'["{OTHER}"]'),
        plant_table("east", 'pattern = "8A99"', gtins=""),
    ),
    "plants.toml",
    https_alone,
)
OWN = serial_at(5, bytes(16))


def who(serial: str, **narrowed: object) -> list[tuple[str, bool]]:
    """The plants that a number can be of, and whether as read."""
    found = whose_serial(PLANTS, parse_pattern(serial), **narrowed)  # type: ignore[arg-type]  # narrowed by name
    return [(one.plant.id, one.as_read) for one in found]


def test_days_tell_two_plants_apart() -> None:
    """A scheme that went from one plant to another names both, and with the day the one."""
    assert [("north", True), ("south", True)] == who("N12345")
    assert [("north", True)] == who("n12345", made_on=dt.date(2026, 6, 30))
    assert [("south", True)] == who("N12345", made_on=dt.date(2026, 7, 1))


def test_own_serial_can_be_of_every_plant_that_has_the_scheme() -> None:
    """An own serial names each plant with the scheme, with a caution; the label's product tells them apart."""
    found = whose_serial(PLANTS, parse_pattern(OWN))
    assert (["north", "south"], (OWN_CAUTION,)) == ([one.plant.id for one in found], cautions_of(found))
    assert [("south", True)] == who(OWN, gtin=OTHER)
    assert [("north", True)] == who(OWN, gtin=GTIN)


def test_check_character_rules_out() -> None:
    """A number of the own form whose check character does not fit is no plant's, as a machine read it."""
    wrong = OWN[:-1] + ("2" if OWN[-1] != "2" else "3")
    assert [] == who(wrong, alike=False)
    assert [("north", True), ("south", True)] == who(f"{OWN[:4]}?{OWN[5:]}", alike=False)


def test_worn_number_is_taken_by_look_alikes_last() -> None:
    """A place read as a look-alike names the plant after those that fit as read, and the place is told."""
    assert [("east", True)] == who("8A1?")
    assert [] == who("BA12", alike=False)
    found = whose_serial(PLANTS, parse_pattern("BA12"))
    assert [("east", (1,), "8")] == [(one.plant.id, one.guess.alike, one.guess.places[0]) for one in found]


def test_plant_without_products_is_never_left_out_by_one() -> None:
    """A product rules out a plant that lists others, not one that lists none."""
    assert [("east", True)] == who("8A12", gtin=OTHER)
