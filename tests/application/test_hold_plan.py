"""The fewest holds over a suspect: what they stop, and what they leave alone."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.application.hold_plan import MOST, NARROWER, WHOLE, HoldPlan, hold_plan, order_records, whole
from ledger.application.suspect_set import SuspectSet
from ledger.errors import RuleStands, TooLarge, UnknownSubject
from ledger.line.case_rows import Case
from ledger.line.cases import CaseOrdered
from ledger.line.holds import HoldPlaced
from ledger.line.suspects import Suspect
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, cores, engraved, inspected, shells
from tests.application.suspected import mixed_floor, register, suspect_set

CASE = Case(
    case="C-1", why="found", reason="soft", suspect="{}", action="none", opened_ms=0, open=True, address="9.0"
)  # fmt: skip


def plan(floor: Floor, **fields: Any) -> HoldPlan:
    """The holds over a suspect."""
    with open_reader(floor.book.store) as reader:
        return hold_plan(reader, SuspectSet(reader, Suspect(**fields)))


def lost(lot: str, count: int) -> dict[str, Any]:
    """Pieces that are gone, so that every one left is a ball."""
    return {"kind": "pieces-lost", "at": at(76), "lot": lot, "count": count, "how": "scrap", "reason": "chipped"}


def test_a_lot_is_held_by_one_hold(floor: Floor) -> None:
    """Whatever is below it, and however surely."""
    mixed_floor(floor)
    for sort, name in (("material-lot", "DRUM"), ("batch", "MIX"), ("block-lot", "BL-1"), ("core-lot", "CL-2")):
        found = plan(floor, sort=sort, name=name)
        assert ((name,), (), "") == (found.lots, found.units, found.serial_prefix)


def test_a_mould_is_held_lot_by_lot_and_not_what_lies_under_one(floor: Floor) -> None:
    """MS-1 made blocks, cores and shells: the block lots are enough, but where positions clear a piece of them."""
    mixed_floor(floor)
    assert ("BL-1", "BL-2", "SL-1") == plan(floor, sort="mould", name="MS-1").lots
    later = plan(floor, sort="mould", name="MS-1", from_at=at(40), to_at=at(41.25))
    assert ("SL-1", "SL-2") == later.lots


def test_balls_named_by_themselves_are_held_one_by_one(floor: Floor) -> None:
    """But for a lot all of whose pieces are balls and suspect: that is held whole."""
    mixed_floor(floor)
    found = plan(floor, sort="station", name="E-2")
    assert ((), ("B-2",), ("SL-2",)) == (found.lots, found.units, found.whole_lots)
    assert ((), ("C-1",)) == plan(floor, sort="gauge", name="G-MASS")[:2]
    floor.say(lost("SL-3", 4))
    assert (("SL-3",), ()) == plan(floor, sort="gauge", name="G-MASS")[:2]


def test_a_prefix_is_held_by_rule(floor: Floor) -> None:
    """A ball that bore such a number once is held by itself; over a span the balls are named."""
    mixed_floor(floor)
    anew = {"kind": "ball-engraved-anew", "at": at(75), "unit": "A-7", "serial": "Q-1", "scheme": "prior"}
    floor.say({**anew, "station": "E-1", "reason": "worn"})
    found = plan(floor, sort="serials", serial_prefix="P-A")
    assert ((), ("A-7",), "P-A", 2) == (found.lots, found.units, found.serial_prefix, found.holds)
    spanned = plan(floor, sort="serials", serial_prefix="P-A", to_at=at(70))
    assert ("", 3) == (spanned.serial_prefix, len(spanned.units))


def test_a_lot_poured_in_part_is_held_ball_by_ball_where_places_tell(floor: Floor) -> None:
    """While pieces are left in it, or a ball has no place, the lot is held whole."""
    floor.stock(20)
    floor.say(cores("CL-1", 30, ("BL-1", 20)))
    floor.say(shells("SL-1", 40, ("CL-1", 2)))
    floor.say({"kind": "lot-changed", "at": at(40.1), "lot": "SL-1", "count": 1, "what": "mould-set", "to": "MS-2"})
    floor.say(engraved("A-1", "P-1", 70, place=1))
    assert ("SL-1",) == plan(floor, sort="mould", name="MS-2").lots
    floor.say(engraved("A-2", "P-2", 70, place=2))
    found = plan(floor, sort="mould", name="MS-2")
    assert ((), ("A-2",)) == (found.lots, found.units)


def test_a_ball_that_a_position_clears_of_a_held_lot_is_held_if_it_was_named(floor: Floor) -> None:
    """The gauge read lot CL-1, and by itself A-7, which is of CL-2."""
    mixed_floor(floor)
    reading = {"quantity": "hardness", "unit": "shore_d", "values": ["74"], "gauge": "G-HARDNESS"}
    lot = {"kind": "inspection", "at": at(60), "lot": "CL-1", "station": "I-1", "readings": [reading]}
    floor.say(lot, inspected("A-7", 72, hardness="74"))
    assert "certain" == suspect_set(floor, sort="gauge", name="G-HARDNESS")["A-7"]
    found = plan(floor, sort="gauge", name="G-HARDNESS")
    assert (("CL-1",), ("A-7",)) == (found.lots, found.units)


def _held_balls(floor: Floor, **fields: Any) -> set[str]:
    """Order a stop of sale over a suspect, and try to ship every ball."""
    found = plan(floor, **fields)
    records = order_records(CASE, found, "stop-sale", at=at(90), stops=("shipment",), placed=0)
    opened = {"kind": "case-opened", "at": at(90), "case": "C-1", "why": "found", "reason": "soft", "suspect": fields}
    floor.say(opened, *[msgspec.to_builtins(record) for record in records])
    stopped = set()
    for unit in ("A-0", "A-1", "A-7", "B-1", "B-2", "C-1"):
        sent = {"kind": "shipment", "at": at(91), "shipment": f"SH-{unit}", "units": [unit], "purpose": "sample"}
        try:
            floor.say({**sent, "to": "SHOP-1"})
        except RuleStands:
            stopped.add(unit)
    return stopped


@pytest.mark.parametrize(
    "fields",
    [
        {"sort": "material-lot", "name": "DRUM"},
        {"sort": "block-lot", "name": "BL-1"},
        {"sort": "core-lot", "name": "CL-2"},
        {"sort": "mould", "name": "MS-3"},
        {"sort": "station", "name": "E-2"},
        {"sort": "station", "name": "L-2"},
        {"sort": "gauge", "name": "G-MASS"},
        {"sort": "serials", "serial_prefix": "P-A"},
        {"sort": "serials", "first_serial": "P-A-7", "last_serial": "P-B-1"},
    ],
)
def test_the_holds_stop_every_ball_of_the_set_and_no_other(floor: Floor, fields: dict[str, Any]) -> None:
    """Certain and possible alike; where balls are held by themselves or cleared by their places, the others go."""
    mixed_floor(floor)
    register(floor, "SHOP-1")
    assert set(suspect_set(floor, **fields)) == _held_balls(floor, **fields)


def test_what_does_not_fit_is_refused_with_what_to_do() -> None:
    """Nothing is held by halves: many single balls become whole lots, many lots take a narrower suspect."""
    balls = HoldPlan((), tuple(f"U-{number}" for number in range(MOST)), "", ("SL-1",))
    assert (False, WHOLE) == (balls.fits, balls.mend)
    assert HoldPlan((), balls.units[:100], "", ()).fits
    with pytest.raises(TooLarge) as refused:
        order_records(CASE, balls, "recall", at=at(90), stops=("shipment",), placed=0)
    assert WHOLE == refused.value.mend
    assert (("SL-1",), ()) == whole(balls)[:2]
    lots = HoldPlan(tuple(f"SL-{number}" for number in range(MOST)), (), "", tuple(f"SL-{n}" for n in range(MOST)))
    assert NARROWER == lots.mend


def test_the_largest_order_that_fits_is_taken_by_the_book(floor: Floor) -> None:
    """With the longest ids: the bytes of one entry are kept."""
    units = tuple(f"U-{number:038d}" for number in range(MOST))
    most = max(count for count in range(MOST) if HoldPlan((), units[:count], "", ()).fits)
    case = "C" * 32
    long = msgspec.structs.replace(CASE, case=case, reason="r" * 40)
    records = order_records(
        long,
        HoldPlan((), units[:most], "", ()),
        "recall",
        at=at(90),
        stops=("use", "work", "release", "shipment"),
        placed=0,
    )
    assert (most, most + 1) == (sum(isinstance(one, HoldPlaced) for one in records), len(records))
    opened = {"kind": "case-opened", "at": at(90), "case": case, "why": "found", "reason": "r" * 40}
    mixed_floor(floor)
    # The units are invented: it is the line that refuses, after the bytes were counted.
    with pytest.raises(UnknownSubject):
        floor.say(
            {**opened, "suspect": {"sort": "batch", "name": "MIX"}}, *[msgspec.to_builtins(one) for one in records]
        )


def test_an_order_over_nothing_is_refused() -> None:
    """It says so, and does not open a hold on nothing."""
    with pytest.raises(RuleStands) as refused:
        order_records(CASE, HoldPlan((), (), "", ()), "recall", at=at(90), stops=("shipment",), placed=0)
    assert "nothing to hold" in str(refused.value)


def test_the_holds_of_a_second_order_go_on_counting() -> None:
    """No id is used twice, and a recall's holds take two people."""
    records = order_records(CASE, HoldPlan(("BL-1",), (), "P", ()), "recall", at=at(90), stops=("shipment",), placed=3)
    assert isinstance(records[-1], CaseOrdered)
    assert ("C-1.4", "C-1.5") == records[-1].holds
    assert all(one.recall for one in records if isinstance(one, HoldPlaced))
