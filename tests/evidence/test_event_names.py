"""Addresses and ids in events: one thing has one name, whoever asks."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedLink
from ledger.evidence.event_names import Named, Plant, ball_address, file_address, kilograms, uuid5_text
from ledger.line.gs1 import parse_link
from tests.evidence.small_dossier import ball_rows

GTIN = "09521234543213"
PLANT = Plant("id.example.com", "books.example/plant-1")
NAMED = Named(PLANT, {"DRUM": "material", "SL-1": "shell", "BL-1": "block"}, {"SL-1": GTIN})


def test_a_ball_and_a_finished_lot_are_digital_links() -> None:
    """They read back as what they name."""
    assert ("A1", GTIN) == ((link := parse_link(NAMED.ball("U-1", "SL-1", "A1"))).serial, link.gtin14)
    assert ("SL-1", GTIN) == ((lot := parse_link(NAMED.lot("SL-1"))).lot, lot.gtin14)


@pytest.mark.parametrize(("name", "gtins"), [("BL-1", {}), ("S" * 21, {"S" * 21: GTIN})])
def test_a_lot_without_gtin_or_with_too_long_an_id_has_an_address_of_its_own(name: str, gtins: dict[str, str]) -> None:
    """The fragment says that the thing is meant."""
    assert f"https://id.example.com/lots/{name}#lot" == Named(PLANT, {}, gtins).lot(name)


def test_a_number_that_no_link_can_hold_gives_the_ball_an_address_of_its_own() -> None:
    """A prior number may hold anything."""
    assert "https://id.example.com/balls/U-1#ball" == NAMED.ball("U-1", "SL-1", "A 1")
    assert "https://id.example.com/balls/U-1#ball" == NAMED.ball("U-1", "BL-1", "A1")


def test_a_ball_without_number_has_an_address_of_its_own() -> None:
    """And with one a link."""
    unit = ball_rows("U-1").unit
    assert f"https://id.example.com/01/{GTIN}/21/2345ACDFG" == ball_address(PLANT, unit, GTIN)
    bare = type(unit)(**{name: getattr(unit, name) for name in unit.__struct_fields__} | {"serial": None})
    assert "https://id.example.com/balls/U-1#ball" == ball_address(PLANT, bare, GTIN)


def test_amounts_are_kilograms_of_what_is_weighed_and_pieces_of_the_rest() -> None:
    """With three places; pieces have no unit."""
    assert (Decimal("1.500"), "KGM") == ((weighed := NAMED.amount("DRUM", 1500)).quantity, weighed.uom)
    assert Decimal(3) == NAMED.amount("BL-1", 3).quantity
    assert "2.500" == str(kilograms("https://id.example.com/lots/X#lot", "2.5").quantity)


def test_the_id_of_an_event_depends_on_the_book_the_place_the_subject_and_the_part() -> None:
    """And on nothing else."""
    first = PLANT.event_id("8.0", "unit:U-1")
    assert first == Plant("other.example", PLANT.origin).event_id("8.0", "unit:U-1")
    others = [
        PLANT.event_id("8.1", "unit:U-1"),
        PLANT.event_id("8.0", "unit:U-2"),
        PLANT.event_id("8.0", "unit:U-1", "end"),
        Plant("id.example.com", "books.example/plant-2").event_id("8.0", "unit:U-1"),
    ]
    assert 5 == len({first, *others})
    assert first.startswith("urn:uuid:")
    assert "5" == first.removeprefix("urn:uuid:")[14]


def test_a_record_is_named_by_entry_and_position() -> None:
    """And by the change, where a correction states it."""
    assert "https://id.example.com/entries/8#record-1" == PLANT.record("8.1")
    assert "https://id.example.com/entries/12#record-0-change-3" == PLANT.record("12.0.3")


def test_a_file_is_named_by_its_digest() -> None:
    """Source: RFC 6920 section 8.1, "Hello World!"."""
    digest = "7f83b1657ff1fc53b92dc18148a1d65dfc2d4b1fa3d677284addd200126d9069"
    assert "ni:///sha-256;f4OxZX_x_FO5LcGBSKHWXfwtSx-j1ncoSt3SABJtkGk" == file_address(digest)


def test_a_stem_that_is_none_is_refused() -> None:
    """Before anything is named."""
    with pytest.raises(MalformedLink):
        Plant("no host at all", "books.example/plant-1")


@given(st.binary(min_size=16, max_size=16), st.text(max_size=80))
def test_an_id_is_that_of_the_library(namespace: bytes, name: str) -> None:
    """UUID version 5 of any name."""
    assert str(uuid.uuid5(uuid.UUID(bytes=namespace), name)) == uuid5_text(namespace, name)
