"""Containing on the floor: opened and ordered at once, lifted at once, written to, and each key answered alike."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.access.tokens import Account
from ledger.application.case_desk import CaseDesk, Order
from ledger.application.case_view import case_view
from ledger.errors import Contradiction, Forbidden, KeyReused, NotFound, RuleStands, TooLarge, UnknownSubject
from ledger.line.cases import CaseOpened
from ledger.line.rows import Hold
from ledger.line.suspects import Suspect
from ledger.store.answer import Entered
from ledger.store.blobs import read_blob
from ledger.store.reader import open_reader
from ledger.store.selections import every_row
from tests.application.floor import OFFICE, Floor, at, engraved
from tests.application.suspected import answered, mixed_floor, register, ship


def opening(case: str = "C-1", **suspect: Any) -> CaseOpened:
    """A case, by default on BL-1."""
    named = Suspect(**(suspect or {"sort": "block-lot", "name": "BL-1"}))
    return CaseOpened(at=at(90), case=case, why="supplier", reason="soft-blocks", suspect=named)


@pytest.fixture
def sent(floor: Floor) -> Floor:
    """The mixed floor: A-1 and B-1 sent to SHOP-1, A-0 to a lab outside the register."""
    mixed_floor(floor)
    register(floor, "SHOP-1", "SHOP-2")
    ship(floor, "SH-1", "A-1", "B-1", to="SHOP-1")
    ship(floor, "SH-2", "A-0", consignee="A lab")
    return floor


def other(floor: Floor, *roles: str) -> Account:
    """Another person."""
    return floor.book.open_account("Another", roles or OFFICE)[0]


def holds(floor: Floor) -> dict[str, tuple[str, bool]]:
    """Every hold: its node, and whether it is open."""
    with open_reader(floor.book.store) as reader:
        rows: list[Hold] = every_row(reader.transaction, Hold)
    return {row.hold: (row.node, row.open) for row in rows}


def test_a_case_and_its_holds_are_one_entry(sent: Floor) -> None:
    """And the same key gives that entry again."""
    desk = CaseDesk(sent.book)
    first: Entered = desk.open(opening(), Order("recall"), "desk-open", sent.lead).result(30)
    assert (3, {"C-1.1": ("lot:BL-1", True)}) == (len(first.addresses), holds(sent))
    sent.now_ms += 1_000
    again: Entered = desk.open(opening(), Order("recall"), "desk-open", sent.lead).result(30)
    assert (first.index, True) == (again.index, again.repeated)
    with pytest.raises(KeyReused):
        desk.open(opening("C-2"), None, "desk-open", sent.lead)


def test_a_case_may_be_ordered_later_and_raised_to_a_recall(sent: Floor) -> None:
    """Each order is one entry; ids of holds go on."""
    desk = CaseDesk(sent.book)
    desk.open(opening(), None, "desk-1", sent.lead).result(30)
    assert {} == holds(sent)
    desk.order("C-1", Order("stop-sale"), "desk-2", sent.lead).result(30)
    raised: Entered = desk.order("C-1", Order("recall"), "desk-3", sent.lead).result(30)
    assert raised.index == desk.order("C-1", Order("recall"), "desk-3", sent.lead).result(30).index
    assert {"C-1.1", "C-1.2"} == set(holds(sent))
    with pytest.raises(KeyReused):
        desk.order("C-1", Order("stop-sale"), "desk-3", sent.lead)


def test_a_suspect_with_nothing_below_it_is_refused(sent: Floor) -> None:
    """A number that no ball bears, a mould over a time when it was not used, a lot that is not there."""
    desk = CaseDesk(sent.book)
    for suspect in ({"sort": "serials", "serial_prefix": "Z"}, {"sort": "mould", "name": "MS-3", "to_at": at(1)}):
        with pytest.raises(UnknownSubject) as refused:
            desk.open(opening(**suspect), None, "desk-none", sent.lead)
        assert "suspects nothing" in str(refused.value)
    with pytest.raises(NotFound):
        desk.open(opening(sort="batch", name="NONE"), None, "desk-none", sent.lead)


def test_many_single_balls_are_not_held_by_halves(floor: Floor) -> None:
    """The order is refused whole, and whole lots are held where that is asked for."""
    mixed_floor(floor)
    recounted = {"kind": "lot-recounted", "at": at(75), "lot": "SL-1", "left": 600, "reason": "stocktaking"}
    floor.say(recounted)
    for start in range(0, 600, 300):
        floor.say(*(engraved(f"M-{n}", f"M{n}", 76, station="E-9") for n in range(start, start + 300)))
    desk = CaseDesk(floor.book)
    suspect = {"sort": "station", "name": "E-9"}
    with pytest.raises(TooLarge) as refused:
        desk.open(opening(**suspect), Order("recall"), "desk-1", floor.lead)
    assert "whole_lots" in refused.value.mend
    assert {} == holds(floor)
    desk.open(opening(**suspect), Order("recall", whole_lots=True), "desk-1", floor.lead).result(30)
    assert {"C-1.1": ("lot:SL-1", True)} == holds(floor)


def test_all_holds_are_lifted_in_one_entry(sent: Floor) -> None:
    """Of a stop of sale by one person; there is nothing left to lift then."""
    desk = CaseDesk(sent.book)
    desk.open(opening(sort="mould", name="MS-1"), Order("stop-sale"), "desk-1", sent.lead).result(30)
    assert 3 == len(holds(sent))
    lifted: Entered = desk.lift("C-1", "sound", "desk-2", sent.lead).result(30)
    assert (3, {False}) == (len(lifted.addresses), {is_open for _, is_open in holds(sent).values()})
    assert lifted.index == desk.lift("C-1", "sound", "desk-2", sent.lead).result(30).index
    with pytest.raises(RuleStands):
        desk.lift("C-1", "sound", "desk-3", sent.lead)


def test_a_recall_takes_two_people_to_lift(sent: Floor) -> None:
    """The first one alone cannot, however often he tries; who has not the role cannot at all."""
    desk = CaseDesk(sent.book)
    desk.open(opening(), Order("recall"), "desk-1", sent.lead).result(30)
    with pytest.raises(Forbidden):
        desk.lift("C-1", "sound", "desk-2", other(sent, "desk", "station"))
    desk.lift("C-1", "sound", "desk-2", sent.lead).result(30)
    assert holds(sent)["C-1.1"][1]
    with pytest.raises(RuleStands):
        desk.lift("C-1", "sound", "desk-3", sent.lead).result(30)
    with open_reader(sent.book.store) as reader:
        assert case_view(reader, "C-1").holds[0].lifted_by_one
    desk.lift("C-1", "sound", "desk-2", other(sent)).result(30)
    assert not holds(sent)["C-1.1"][1]


def test_only_quality_contains(sent: Floor) -> None:
    """Opening, ordering and writing are refused to the desk."""
    desk, person = CaseDesk(sent.book), other(sent, "desk")
    desk.open(opening(), None, "desk-1", sent.lead).result(30)
    with pytest.raises(Forbidden):
        desk.open(opening("C-2"), None, "desk-2", person)
    with pytest.raises(Forbidden):
        desk.order("C-1", Order("recall"), "desk-3", person)
    with pytest.raises(Forbidden):
        desk.write_letters("C-1", (), "desk-4", person)


def test_letters_are_stored_and_noted(sent: Floor) -> None:
    """One for each consignee of the register that holds balls; the file bears the digest that the book holds."""
    desk = CaseDesk(sent.book)
    desk.open(opening(), None, "desk-1", sent.lead).result(30)
    with pytest.raises(RuleStands):
        desk.write_letters("C-1", (), "desk-2", sent.lead)
    desk.order("C-1", Order("recall"), "desk-3", sent.lead).result(30)
    made: Entered = desk.write_letters("C-1", (), "desk-2", sent.lead).result(30)
    sent.now_ms += 86_400_000
    assert made.index == desk.write_letters("C-1", (), "desk-2", sent.lead).result(30).index
    with open_reader(sent.book.store) as reader:
        (notice,) = case_view(reader, "C-1").notices
    assert ("SHOP-1", "recall", 2) == (notice.consignee, notice.action, notice.balls)
    assert read_blob(sent.book.store, notice.letter).bytes.startswith(b"%PDF")
    with pytest.raises(UnknownSubject):
        desk.write_letters("C-1", ("SHOP-2",), "desk-5", sent.lead)


def test_who_a_ball_was_moved_to_is_written_to(sent: Floor) -> None:
    """Chosen by name, too."""
    desk = CaseDesk(sent.book)
    desk.open(opening(), Order("stop-sale"), "desk-1", sent.lead).result(30)
    sent.say(answered("SHOP-1", {"unit": "A-1", "said": "moved", "to": "SHOP-2"}))
    desk.write_letters("C-1", ("SHOP-2",), "desk-2", sent.lead).result(30)
    desk.write_letters("C-1", (), "desk-3", sent.lead).result(30)
    with open_reader(sent.book.store) as reader:
        told = [(notice.consignee, notice.balls) for notice in case_view(reader, "C-1").notices]
    assert [("SHOP-2", 1), ("SHOP-1", 1), ("SHOP-2", 1)] == told


def test_nobody_of_the_register_is_nobody_to_write_to(floor: Floor) -> None:
    """Balls sent to others stand in the notice list."""
    mixed_floor(floor)
    ship(floor, "SH-1", "A-1", consignee="A lab")
    desk = CaseDesk(floor.book)
    desk.open(opening(), Order("recall"), "desk-1", floor.lead).result(30)
    with pytest.raises(RuleStands) as refused:
        desk.write_letters("C-1", (), "desk-2", floor.lead)
    assert "notice list" in refused.value.mend


def test_a_closed_case_is_done_with(sent: Floor) -> None:
    """It is ordered and written about no more."""
    desk = CaseDesk(sent.book)
    desk.open(opening(sort="shell-lot", name="SL-3"), None, "desk-1", sent.lead).result(30)
    sent.say({"kind": "case-closed", "at": at(95), "case": "C-1", "decision": "unfounded", "reason": "sound"})
    with pytest.raises(Contradiction):
        desk.order("C-1", Order("recall"), "desk-2", sent.lead)
    with pytest.raises(Contradiction):
        desk.write_letters("C-1", (), "desk-3", sent.lead)
    with pytest.raises(NotFound):
        desk.order("C-9", Order("recall"), "desk-4", sent.lead)
