"""Who may take back what: an account without quality, of what it said itself a moment ago, and nothing that is rested on."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from ledger.access.tokens import Account
from ledger.application.said_undone import TAKEN_BACK, TAKEN_BACK_MS, check_said_undone
from ledger.errors import Contradiction, Forbidden, RuleStands, UnknownSubject
from ledger.line.lots import left_of
from ledger.line.rows import Lot
from ledger.line.vocabulary import RECORD_OF
from ledger.store.answer import Entered
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, engraved, held, inspected
from tests.plant import said

LOST = {"kind": "pieces-lost", "lot": "SL-1", "count": 3, "how": "scrap", "reason": "crack"}
HOUR = 3_600_000


class Line:
    """A plant with SL-1 of 40, and what accounts say at a clock that stands."""

    def __init__(self, folder: Path) -> None:
        """Two stations and an inspector."""
        self.floor = Floor(folder)
        self.floor.line()
        self.station = self.account("Station", "station", "inspector")
        self.other = self.account("Other", "station")
        self._keys = 0

    def account(self, name: str, *roles: str) -> Account:
        """An account of some roles."""
        return self.floor.book.open_account(name, roles)[0]

    def say(self, who: Account, *records: dict[str, Any], key: str = "") -> Entered:
        """Say records under a fresh key."""
        self._keys += 1
        submission = said(key or f"line-{self._keys}", *({"at": at(100), **record} for record in records))
        entered: Entered = self.floor.book.submit(submission, who).result(30)
        return entered

    def undo(self, who: Account, *facts: str, key: str = "", **change: Any) -> Entered:
        """Withdraw facts together."""
        changes = [{"fact": fact, **change} for fact in facts]
        return self.say(who, {"kind": "correction", "changes": changes, "reason": "typing-mistake"}, key=key)

    @property
    def left(self) -> int:
        """What is left of SL-1."""
        with open_reader(self.floor.book.store) as reader:
            row = reader.one(Lot, "SL-1")
        assert row is not None
        return left_of(row)


@pytest.fixture
def line(tmp_path: Path) -> Any:
    """The plant."""
    one = Line(tmp_path)
    yield one
    one.floor.book.close()


def test_an_account_takes_back_what_it_said(line: Line) -> None:
    """The counts are as before; said again under the same key, it is the same entry."""
    (fact,) = line.say(line.station, LOST).addresses
    first = line.undo(line.station, fact, key="undo-1")
    again = line.undo(line.station, fact, key="undo-1")
    assert (40, first.index, True) == (line.left, again.index, again.repeated)


def test_all_of_an_entry_goes_together(line: Line) -> None:
    """A ball that was engraved and measured in one entry is taken back whole; one fact of it alone is rested on."""
    entered = line.say(
        line.station, {**engraved("U-1", "P-1"), "at": at(100)}, {**inspected("U-1", mass="15.1"), "at": at(101)}
    )
    with pytest.raises(RuleStands, match="was said of U-1 since"):
        line.undo(line.station, entered.addresses[0])
    line.undo(line.station, *entered.addresses)
    assert 40 == line.left


def test_another_account_may_not(line: Line) -> None:
    """What somebody else said is corrected by quality."""
    (fact,) = line.say(line.other, LOST).addresses
    with pytest.raises(Forbidden, match="was said by another account"):
        line.undo(line.station, fact)
    line.undo(line.floor.lead, fact)
    assert 40 == line.left


def test_after_a_shift_it_is_quality_s(line: Line) -> None:
    """Up to eight hours after it was recorded, and not a millisecond longer."""
    facts = [line.say(line.station, LOST).addresses[0] for _ in range(2)]
    line.floor.now_ms += TAKEN_BACK_MS
    line.undo(line.station, facts[0])
    line.floor.now_ms += 1
    with pytest.raises(RuleStands, match="more than 8 hours ago"):
        line.undo(line.station, facts[1])


def test_a_fact_is_replaced_by_quality_alone(line: Line) -> None:
    """An account without quality withdraws, and says anew; it puts nothing in the place of a fact."""
    (fact,) = line.say(line.station, LOST).addresses
    with pytest.raises(Forbidden, match="replaced by the quality lead alone"):
        line.undo(line.station, fact, replacement={**LOST, "at": at(100), "count": 2})


def test_a_breach_is_not_taken_back(line: Line) -> None:
    """What shows a breach stays and holds its product: a withdrawal would set it free."""
    (fact,) = line.say(line.station, {**LOST, "count": 50}).addresses
    with pytest.raises(RuleStands, match="for quality to dispose of"):
        line.undo(line.station, fact)


def test_a_hold_is_not_taken_back(line: Line) -> None:
    """Whoever sees trouble places a hold; taking it back would lift it."""
    (fact,) = line.say(line.station, {**held("H-1", node="lot:SL-1"), "at": at(100)}).addresses
    with pytest.raises(Forbidden, match="corrected by the quality lead alone"):
        line.undo(line.station, fact)


def test_what_is_rested_on_stays(line: Line) -> None:
    """A step with another after it is not taken back before the later one; a loss may be, whatever came after it."""
    drilled = {"kind": "lot-worked", "lot": "SL-1", "step": "hole-drilled", "began_at": at(99), "station": "S1"}
    (lost,) = line.say(line.station, LOST).addresses
    (first,) = line.say(line.station, drilled).addresses
    (later,) = line.say(line.station, {**drilled, "step": "turned"}).addresses
    with pytest.raises(RuleStands, match=f"fact {later} was said of SL-1 since"):
        line.undo(line.station, first)
    line.undo(line.station, lost)
    line.undo(line.station, later)
    line.undo(line.station, first)
    assert 40 == line.left


def test_a_fact_that_is_none_is_not_taken_back(line: Line) -> None:
    """Unknown addresses and withdrawn facts are refused as ever."""
    (fact,) = line.say(line.station, LOST).addresses
    line.undo(line.station, fact)
    for address, error in (("9999.0", UnknownSubject), (fact, Contradiction)):
        with pytest.raises(error):
            line.undo(line.station, address)


def test_a_fact_that_is_to_come_is_not_taken_back(line: Line) -> None:
    """Whoever guesses the address of the next entry is refused before it waits beside a hold that gets that address."""
    (fact,) = line.say(line.station, LOST).addresses
    guessed = f"{int(fact.partition('.')[0]) + 1}.0"
    withdrawal = {"kind": "correction", "changes": [{"fact": guessed}], "reason": "typing-mistake", "at": at(100)}
    with pytest.raises(UnknownSubject):
        check_said_undone(line.floor.book.store, said("guess", withdrawal), line.station, line.floor.now_ms)


def test_an_account_without_the_kind_s_role_may_not(line: Line) -> None:
    """Who lost the role that it said a thing in takes nothing back by another."""
    drilled = {"kind": "lot-worked", "lot": "SL-1", "step": "hole-drilled", "began_at": at(99), "station": "S1"}
    (fact,) = line.say(line.station, drilled).addresses
    with pytest.raises(Forbidden):
        line.undo(Account(line.station.account, ("inspector",)), fact)


def test_what_may_be_taken_back_stops_and_frees_nothing() -> None:
    """The kinds are of the vocabulary, and none of them places, lifts, decides or releases."""
    assert set(RECORD_OF) >= TAKEN_BACK
    assert not {kind for kind in TAKEN_BACK if kind.startswith(("hold", "release", "concession", "claim", "case"))}
