"""Directories of plants: what is read, and each thing refused with its line."""

from __future__ import annotations

import datetime as dt

import pytest

from ledger.book.signing import format_verifier
from ledger.errors import MalformedInput
from ledger.tracing.plants import parse_plants
from tests.tracing.plant_files import GTIN, directory, https_alone, key_of, plant_table
from tests.witnesses import witness_key

NORTH = plant_table("north", 'prefix = "N0"\nto_on = 2026-06-30', "own = true")


def line_of(raw: bytes, text: str) -> int:
    """The last line that begins so, from 1."""
    return max(n for n, line in enumerate(raw.decode().splitlines(), 1) if line.startswith(text))


def test_directory_is_read_as_written() -> None:
    """Plants come in the file's order with keys, addresses, products and serials with their days."""
    north, south = parse_plants(
        directory(NORTH, plant_table("south", 'pattern = "S9999"', "own = true", address='"https://south.test/"')),
        "plants.toml",
        https_alone,
    )
    assert ("north", "https://south.test", (GTIN,)) == (north.id, south.address, south.gtins)
    assert (key_of("north").verifier,) == north.verifiers
    assert ["prefix N0 to 2026-06-30", "the own scheme"] == [issued.words for issued in north.issued]
    days = (dt.date(2026, 6, 30), dt.date(2026, 7, 1), None)
    assert [True, False, True] == [north.issued[0].on(day) for day in days]


@pytest.mark.parametrize(
    ("second", "begins", "says"),
    [
        (plant_table("north", 'prefix = "M"'), "id", "two plants have one id"),
        (plant_table("south", 'prefix = "M"', origin='"north.test/book"'), "origin", "two plants have one origin"),
        (
            plant_table("south", 'prefix = "M"', address='"https://NORTH.test"'),
            "address",
            "two plants have one address",
        ),
        (plant_table("south", 'prefix = "M"', address='"http://south.test"'), "address", "address is not https"),
        (plant_table("south", 'prefix = "M"', verifiers="[]"), "verifiers", "plant has no key"),
        (plant_table("south", 'prefix = "M"', verifiers='["south"]'), "verifiers", "verifier key has another form"),
        (plant_table("south", 'prefix = "M"', gtins='["09521234543214"]'), "gtins", "gtin check digit is wrong"),
        (plant_table("South!", 'prefix = "M"'), "id", "id is out of form"),
        (plant_table("south", 'prefix = "M"', origin='"a b"'), "origin", "origin is none"),
        (plant_table("south", 'prefix = "M"\npattern = "M9"'), "pattern", "serials are said in one way"),
        (plant_table("south", 'pattern = "MMM"'), "pattern", "serial pattern cannot be used"),
        (plant_table("south", 'prefix = "M"\nfrom_on = 2026-02-01\nto_on = 2026-01-31'), "to_on", "end before"),
        (plant_table("south", 'prefix = "M"\nfrom_on = "x"'), "from_on", "schema is not kept"),
        (plant_table("south", 'prefix = "M"\nowner = 1'), "owner", "unknown field `owner`"),
        (plant_table("south", 'prefix = "M"', colour='"red"'), "colour", "unknown field `colour`"),
        (plant_table("south", 'prefix = "B"', 'pattern = "N0999"'), "pattern", "serials of south may be the same as"),
        (plant_table("south", 'pattern = "AAAAAAAAA"'), "pattern", "none of the own scheme"),
    ],
)
def test_what_is_wrong_is_refused_with_its_line(second: str, begins: str, says: str) -> None:
    """Each fault of a second plant names the file, the line on which it stands, and what is wrong."""
    raw = directory(NORTH, second)
    with pytest.raises(MalformedInput) as refused:
        parse_plants(raw, "plants.toml", https_alone)
    assert says in str(refused.value)
    assert str(refused.value).startswith(f"plants.toml line {line_of(raw, begins)}: ")


def test_key_of_another_is_refused() -> None:
    """A key that another plant has, one of another name and a witness's key are no plant's own."""
    renamed = plant_table("south", 'prefix = "M"', origin='"south.test/other"')
    with pytest.raises(
        MalformedInput, match="key is not that of the plant's book: expected a checkpoint key named south"
    ):
        parse_plants(directory(renamed), "f", https_alone)
    witness = format_verifier(witness_key("w").verifier)
    with pytest.raises(MalformedInput, match="got a witness's key"):
        parse_plants(directory(plant_table("south", 'prefix = "M"', verifiers=f'["{witness}"]')), "f", https_alone)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ('prefix = "N"\nto_on = 2026-06-30', 'pattern = "N999"\nfrom_on = 2026-07-01'),
        ('prefix = "N"\nshared = true', 'pattern = "N999"\nshared = true'),
        ('pattern = "N999"', 'pattern = "N9999"'),
        ("own = true", "own = true"),
    ],
)
def test_serials_apart_or_shared_are_taken(one: str, other: str) -> None:
    """Serials of two plants may follow each other, be shared by both, differ, or be of the own scheme."""
    plants = parse_plants(directory(plant_table("north", one), plant_table("south", other)), "f", https_alone)
    assert 2 == len(plants)


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"format = 1\n", "too few or too many plants"),
        (b"format = 2\n", "schema is not kept"),
        (b"\xff", "file is no TOML"),
        (directory(plant_table("north")), "plant has no serials"),
        (directory(plant_table("north", serials="[{own = 1}]")), "schema is not kept"),
    ],
)
def test_file_that_is_no_directory_is_refused(raw: bytes, says: str) -> None:
    """A file without plants, of another format or without serials is refused, and so are bytes that are no TOML."""
    with pytest.raises(MalformedInput, match=says):
        parse_plants(raw, "plants.toml", https_alone)
