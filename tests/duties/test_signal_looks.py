"""The weekly look opens a case for a signal: once for a member, never a hold."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from ledger.book.instant import instant_ms
from ledger.duties.rechecks import DUTIES
from ledger.duties.runner import LEASE_MS, DutyRunner
from ledger.duties.signals import WEEK_MS, SignalLooks, last_monday_ms
from ledger.line.case_rows import Case
from ledger.line.cases import CaseOpened
from ledger.line.submission import Submission
from ledger.line.suspects import Suspect
from ledger.store.reader import open_reader
from ledger.store.selections import every_row
from tests.application.claimed_plant import BAD_CLAIMS, claimed_plant, unit_of
from tests.application.floor import Floor, at, corrected, shells
from tests.application.suspected import suspect_set

MEMBERS = [
    ("SIG-BLOCK-BL-2", "block-lot"),
    ("SIG-CORE-CL-2", "core-lot"),
    ("SIG-MOULD-MS-2", "mould"),
    ("SIG-SHELL-SL-2", "shell-lot"),
    ("SIG-STATION-L-2", "station"),
]


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with a bad lot."""
    made = claimed_plant(tmp_path)
    yield made
    made.book.close()


def runner(floor: Floor, holder: str = "one") -> DutyRunner:
    """A runner as a service wires it; its turns are called by hand."""

    def say(submission: Submission) -> Any:
        return floor.book._writer.submit(submission, DUTIES)

    return DutyRunner(floor.book.store, say, holder=holder, clock_ms=floor.clock, every_s=3_600)


def cases(floor: Floor) -> list[Case]:
    """Every case, by id."""
    with open_reader(floor.book.store) as reader:
        found: list[Case] = every_row(reader.transaction, Case)
    return found


def due(floor: Floor, looks: SignalLooks) -> list[Submission]:
    """What a look would say now."""
    with open_reader(floor.book.store) as reader:
        return list(looks.due(reader, floor.now_ms))


def test_a_signal_opens_a_case_and_holds_nothing(floor: Floor) -> None:
    """One case for each member, of the sort that can be contained, in the duties' own name."""
    before = len(floor.book.standing().open_holds)
    assert len(MEMBERS) == runner(floor).turn()
    found = cases(floor)
    assert MEMBERS == [(case.case, msgspec.json.decode(case.suspect)["sort"]) for case in found]
    assert {("signal", "none", True)} == {(case.why, case.action, case.open) for case in found}
    assert before == len(floor.book.standing().open_holds)
    last = floor.book.entry(floor.book.standing().entries - 1).entry
    assert (DUTIES, "case-opened") == (last["author"], last["said"]["records"][0]["kind"])


def test_a_case_is_opened_once(floor: Floor) -> None:
    """Not at the next turn, not the week after, not by another process, not after it was closed."""
    one = runner(floor)
    one.turn()
    closed = {"kind": "case-closed", "case": "SIG-SHELL-SL-2", "decision": "unfounded", "reason": "looked-at"}
    floor.say({**closed, "at": at(4_900), "closed_with_unaccounted": 30})
    floor.now_ms += WEEK_MS + LEASE_MS
    assert [0, 0, len(MEMBERS)] == [one.turn(), runner(floor, "two").turn(), len(cases(floor))]


def test_a_suspect_that_has_a_case_gets_no_second_one(floor: Floor) -> None:
    """A person was quicker."""
    suspect = {"sort": "shell-lot", "name": "SL-2"}
    floor.say(
        {"kind": "case-opened", "at": at(4_900), "case": "C-7", "why": "found", "reason": "seen", "suspect": suspect}
    )
    runner(floor).turn()
    assert ["C-7"] == [case.case for case in cases(floor) if '"SL-2"' in case.suspect]


def test_what_was_not_entered_stays_due(floor: Floor) -> None:
    """Until the book has the case, a look goes on to say it, with the same key."""
    looks = SignalLooks()
    first, second = due(floor, looks), due(floor, looks)
    assert [one.key for one in first] == [one.key for one in second]
    assert len(MEMBERS) == len(first)


def test_a_look_is_as_of_monday(floor: Floor) -> None:
    """What comes within a week is for the next look; the instants of looks are Mondays, 00:00 UTC."""
    monday = last_monday_ms(floor.now_ms)
    assert instant_ms("2027-04-12T00:00:00.000+00:00") == monday == last_monday_ms(monday)
    assert monday - WEEK_MS == last_monday_ms(monday - 1)
    looks = SignalLooks()
    floor.now_ms = instant_ms("2026-10-27T12:00:00.000+00:00")
    assert [] == due(floor, looks)
    floor.now_ms = monday
    assert len(MEMBERS) == len(due(floor, looks))


def test_a_week_of_pours_has_one_case(floor: Floor) -> None:
    """All that was poured in it, on whichever line; a case that says so leads to the balls of that week alone."""
    poured = next(told.fact for told in floor.book.lot("SL-2").history if told.kind == "shells-poured")
    earlier = shells("SL-2", -20, ("CL-2", 30), line="L-2")
    floor.say(corrected({"fact": poured, "replacement": earlier}, hours=4_900))
    [week] = [one.records[0] for one in due(floor, SignalLooks()) if "WEEK" in one.key]
    assert isinstance(week, CaseOpened)
    assert ("SIG-WEEK-2026-W38", "claims-by-week") == (week.case, week.reason)
    assert Suspect(sort="week", name="2026-W38") == week.suspect
    assert {unit_of(2, number) for number in range(30)} == set(suspect_set(floor, sort="week", name="2026-W38"))


def test_few_claims_are_not_looked_into(tmp_path: Path) -> None:
    """With fewer than three no member can signal."""
    floor = Floor(tmp_path)
    assert [] == due(floor, SignalLooks())
    floor.book.close()


def test_the_claims_stand_in_the_reason(floor: Floor) -> None:
    """The reason says by what family; there were claims enough."""
    assert {"claims-by-block", "claims-by-core", "claims-by-shell", "claims-by-mould", "claims-by-station"} == {
        one.records[0].reason  # type: ignore[attr-defined]  # cases
        for one in due(floor, SignalLooks())
    }
    assert BAD_CLAIMS > 3
