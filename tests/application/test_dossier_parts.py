"""Parts of dossiers and what is left closed in them, field by field."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.errors import MalformedRecord, NotFound
from ledger.evidence.dossier_layout import parse_layout
from tests.application.floor import Floor
from tests.application.wanted_dossiers import checked, page, written
from tests.evidence.small_dossier import members


def openings(raw: bytes) -> str:
    """What is told of the sealed fields."""
    return b"".join(text for name, text in members(raw).items() if name.startswith("openings/")).decode()


@pytest.fixture
def ball(ready: Floor) -> Floor:
    """One ball of a drum with a supplier, whose receipt has a note about a person."""
    ready.ball("U-1", "P-1")
    return ready


def test_all_is_closed_unless_it_is_opened(ball: Floor) -> None:
    """No value is told by default."""
    assert '"outcome":"opened"' not in openings(written(ball, serials=("P-1",)))


@pytest.mark.parametrize(
    ("wanted", "told", "closed"),
    [
        ({"withhold": ("recipe",)}, ("Acme", "Bob"), ('"500"', '"20"')),
        ({"withhold": ("suppliers",)}, ("Bob", '"20"'), ("Acme", "X-1")),
        ({"withhold": ("notes", "people")}, ("Acme", '"20"'), ("Bob",)),
        ({"open": ("suppliers",)}, ("Acme", "X-1"), ("Bob", '"20"')),
        ({"open": ("erasable",)}, ("Bob",), ("Acme",)),
        ({"withhold": ()}, ("Bob", "Acme", '"20"'), ()),
    ],
)
def test_groups_of_fields_are_closed_one_by_one(
    ball: Floor, wanted: dict[str, Any], told: tuple[str, ...], closed: tuple[str, ...]
) -> None:
    """What is left closed is nowhere, what is opened is there, and the rest verifies all the same."""
    raw = written(ball, serials=("P-1",), **wanted)
    said = openings(raw)
    assert ([], []) == ([one for one in told if one not in said], [one for one in closed if one in said])
    checked(raw)


def test_one_field_is_opened_by_its_path(ball: Floor) -> None:
    """That one and no other."""
    raw = written(ball, serials=("P-1",), withhold=())
    field = next(
        f"{name[9:-6]}/{line['path']}"
        for name, text in members(raw).items()
        if name.startswith("openings/")
        for line in _lines(text)
        if line.get("value") == "Acme"
    )
    one = openings(written(ball, serials=("P-1",), open=(field,)))
    all_but = openings(written(ball, serials=("P-1",), withhold=(field,)))
    assert (1, True, False) == (one.count('"opened"'), "Acme" in one, "Acme" in all_but)


def _lines(text: bytes) -> list[dict[str, Any]]:
    return [msgspec.json.decode(line) for line in text.splitlines()]


def test_a_field_that_is_not_there_is_said(ball: Floor) -> None:
    """A path that names nothing is no quiet slip."""
    with pytest.raises(NotFound, match="no sealed field 0/0/note"):
        written(ball, serials=("P-1",), withhold=("0/0/note",))


@pytest.mark.parametrize("name", ["all", "0/note", "1/0/", "01/0/note", "../1/0/note", "1/0/No"])
def test_a_name_of_no_field_is_refused(ball: Floor, name: str) -> None:
    """Neither a sealing, nor a group, nor a path."""
    with pytest.raises(MalformedRecord, match="no such field"):
        written(ball, serials=("P-1",), withhold=(name,))


@pytest.mark.parametrize(
    "wanted", [{}, {"serials": ("P-1",), "lots": ("SL-1",)}, {"lots": ("SL-1",), "approval_file": "A"}]
)
def test_balls_are_named_in_one_way(ball: Floor, wanted: dict[str, Any]) -> None:
    """Not in none, and not in two."""
    with pytest.raises(MalformedRecord, match="which balls"):
        written(ball, **wanted)


def test_every_part_is_checked(ball: Floor) -> None:
    """Lots, events and the table of verdicts are in a dossier unless they are left out."""
    raw = written(ball, serials=("P-1",))
    layout = parse_layout(list(members(raw)))
    assert (("SL-1",), ("U-1",), ("U-1",), True) == (layout.lots, layout.units, layout.events, layout.verdicts)
    assert {"lots", "events", "table"} <= {line.code for line in checked(raw).checked() + checked(raw).not_checked()}


def test_parts_may_be_left_out(ball: Floor) -> None:
    """Nothing but entries, sheets and what proves them."""
    layout = parse_layout(list(members(raw := written(ball, serials=("P-1",), parts=()))))
    assert ((), (), False, ("U-1",)) == (layout.lots, layout.events, layout.verdicts, layout.units)
    checked(raw)


def test_the_same_is_the_same_to_the_byte(ball: Floor) -> None:
    """Asked twice, one file."""
    assert written(ball, serials=("P-1",)) == written(ball, serials=("P-1",))


def test_plan_and_calibrations_are_named_and_there(ball: Floor) -> None:
    """The sheet names the plan in force at the pour and each gauge's calibration, whose entries are in."""
    raw = written(ball, serials=("P-1",))
    sheet = page(raw, "balls/U-1.json")
    named = [sheet["plan"], *(line["calibration"] for line in sheet["readings"])]
    assert {f"entries/{fact.partition('.')[0]}.json" for fact in named} <= set(members(raw))
    assert 8 == len(sheet["readings"])
