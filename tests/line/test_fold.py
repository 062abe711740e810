"""Entering facts: what is checked without the book, the marks of a fact, and where an error says it is."""

from __future__ import annotations

import pytest

from ledger.errors import Contradiction, MalformedRecord
from ledger.line.corrections import Change, Correction
from ledger.line.fact import Breach, parse_address
from ledger.line.fold import check_submission, earliest_of, is_correction, located
from ledger.line.rows import About, BreachRow, FactRow
from tests.line.making import at, blocks, cores, material, ready_plant


def test_an_instant_that_is_not_in_the_calendar_is_malformed() -> None:
    """The record and its field are named, inside a replacement too."""
    wrong = blocks("BL-1", began_at="2026-02-30T08:00:00.000+00:00")
    with pytest.raises(MalformedRecord) as refusal:
        check_submission([material("RESIN"), wrong])
    assert "records[1].began_at" == refusal.value.where
    with pytest.raises(MalformedRecord) as refusal:
        check_submission([Correction(at=at(1), reason="x", changes=(Change(fact="0.0", replacement=wrong),))])
    assert "records[0].changes[0].replacement.began_at" == refusal.value.where


def test_a_correction_is_said_alone() -> None:
    """Whichever of the records it is."""
    correction = Correction(at=at(1), reason="x", changes=(Change(fact="0.0"),))
    assert (True, False) == (is_correction(correction), is_correction(material("RESIN")))
    check_submission([correction])
    with pytest.raises(MalformedRecord):
        check_submission([material("RESIN"), correction])


def test_an_error_is_located_in_its_record() -> None:
    """Class, expectation and mend stay."""
    error = located(Contradiction("x", expected=1, got=2, where="lot", mend="y"), 3)
    assert (Contradiction, "records[3].lot", 1, 2, "y") == (
        type(error),
        error.where,
        error.expected,
        error.got,
        error.mend,
    )
    assert "records[0]" == located(MalformedRecord("x"), 0).where


def test_a_fact_is_found_by_every_node_that_it_is_about() -> None:
    """The lot that it makes, the lots that it takes from, and the hold of its breach."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    entered = plant.submit(cores("CL-1", ("BL-1", 1), began_at=at(3, "09:00"), at=at(3, "09:30")))
    nodes = {row.node for row in plant.tables.where(About, "address", entered.address)}
    assert {"lot:CL-1", "lot:BL-1", "lot:MIX-C", "hold:B5.0.0"} == nodes
    assert ["block-rest-short"] == [row.code for row in plant.tables.where(BreachRow, "address", entered.address)]


@pytest.mark.parametrize(
    ("taken", "fields", "late", "doubtful"),
    [
        (at(1, "10:00"), {}, False, False),
        (at(1, "10:00:01"), {}, True, False),
        (at(1, "08:58"), {}, False, False),
        (at(1, "08:57:59"), {}, False, True),
        (at(1, "08:55"), {"clock_error_s": 120}, False, True),
        (at(1, "09:00"), {"clock_error_s": 121}, False, True),
        (at(1, "08:57"), {"clock_error_s": 100}, False, True),
    ],
)
def test_a_fact_is_marked_late_or_doubtful(taken: str, fields: dict[str, int], *, late: bool, doubtful: bool) -> None:
    """Late over 1 h (common practice, no source); doubtful when its clock is more than 2 minutes off."""
    plant = ready_plant()
    plant.now_ms = 0
    entered = plant.submit(material("NEW", **fields), now=taken)
    row = plant.row(FactRow, entered.address)
    assert (late, doubtful) == (row.late, row.doubtful)


def test_the_earliest_instant_keeps_all_rules() -> None:
    """The latest of those named, whatever their offsets; none where none is named."""
    named = [
        Breach(code="x", node="lot:A", said="", earliest=when) for when in (at(4, "09:00"), at(4, "10:30", "+02:00"))
    ]
    assert at(4, "09:00") == earliest_of(named)
    assert earliest_of([Breach(code="x", node="lot:A", said="")]) is None


def test_an_address_is_two_numbers() -> None:
    """Index and position."""
    assert (41, 7) == parse_address("41.7")
