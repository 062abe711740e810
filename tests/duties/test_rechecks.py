"""After a correction, what rests on it is looked at again once, whatever happens between."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.duties import rechecks
from ledger.duties.rechecks import DUTIES, due_rechecks
from ledger.line.corrections import Recheck
from ledger.line.submission import Submission
from ledger.store.answer import Entered
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, blocks, cores, corrected, engraved, inspected, shells, worked
from tests.plant import said


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with BL-1 (40), CL-1 and SL-1 of it, two balls, all as planned."""
    made = Floor(tmp_path)
    made.line()
    made.say(worked("SL-1", "turned", 66))
    made.ball("U-1", "P-1")
    made.ball("U-2", "P-2")
    yield made
    made.book.close()


def due(floor: Floor, done: set[str] | None = None) -> list[Submission]:
    """What is due now, to a process that has just started unless ``done`` says otherwise."""
    with open_reader(floor.book.store) as reader:
        return list(due_rechecks(reader, floor.now_ms, set() if done is None else done))


def enter(floor: Floor, submission: Submission) -> Entered:
    """Say it as the duties do."""
    entered: Entered = floor.book._writer.submit(submission, DUTIES).result(30)
    return entered


def facts_of(submissions: list[Submission]) -> list[str]:
    """Every fact that the submissions look at."""
    found: list[str] = []
    for submission in submissions:
        for record in submission.records:
            assert isinstance(record, Recheck)
            found += record.facts
    return found


def fact(floor: Floor, lot: str, kind: str) -> str:
    """The fact of a kind about a lot."""
    return next(told.fact for told in floor.book.lot(lot).history if told.kind == kind)


def correct(floor: Floor, lot: str, kind: str, right: dict[str, Any]) -> str:
    """Put the fact of a kind about a lot right; the correction."""
    return floor.say(corrected({"fact": fact(floor, lot, kind), "replacement": right})).addresses[0]


def later_blocks(floor: Floor) -> str:
    """The blocks were demoulded seventeen hours later than was said: the cores were poured too early."""
    return correct(floor, "BL-1", "blocks-moulded", blocks("BL-1", 20, 40))


def test_without_corrections_nothing_is_due(floor: Floor) -> None:
    """A book in which nothing was corrected needs no second look."""
    assert [] == due(floor)


def test_a_broken_window_below_a_correction_is_found(floor: Floor) -> None:
    """The rest that the cores turn out not to have had becomes a breach of the re-check, and holds them."""
    correction = later_blocks(floor)
    (submission,) = due(floor)
    record = submission.records[0]
    assert isinstance(record, Recheck)
    assert correction == record.because
    entered = enter(floor, submission)
    (breach,) = entered.breaches[0]
    assert ("block-rest-short", "lot:CL-1") == (breach.code, breach.node)
    (hold,) = floor.book.lot("CL-1").holds
    assert ("block-rest-short", True) == (hold.reason, hold.open)
    assert ["block-rest-short"] == [one.reason for one in floor.book.ball("U-1").holds]


def test_what_rests_on_the_corrected_facts_is_looked_at(floor: Floor) -> None:
    """Pours, steps and engravings below are looked at; readings, the corrected fact and what came later are not."""
    cured = fact(floor, "SL-1", "lot-worked")
    poured = [fact(floor, lot, kind) for lot, kind in (("CL-1", "cores-poured"), ("SL-1", "shells-poured"))]
    engraving = [floor.book.ball(unit).history[0].fact for unit in ("U-1", "U-2")]
    later_blocks(floor)
    floor.ball("U-3", "P-3")
    assert [*poured, cured, *engraving] == facts_of(due(floor))


def test_a_shell_lot_corrected_reaches_its_balls(floor: Floor) -> None:
    """Shells demoulded later than said make their balls' final cure short, each by itself."""
    correct(floor, "SL-1", "shells-poured", shells("SL-1", 60, ("CL-1", 40)))
    (submission,) = due(floor)
    breaches = enter(floor, submission).breaches[0]
    assert {("final-cure-short", "lot:SL-1"), ("final-cure-short", "unit:U-1"), ("final-cure-short", "unit:U-2")} == {
        (breach.code, breach.node) for breach in breaches
    }


def test_nothing_is_said_twice(floor: Floor) -> None:
    """Once entered, a re-check is due neither to this process nor to one that starts afresh."""
    later_blocks(floor)
    done: set[str] = set()
    for submission in due(floor, done):
        enter(floor, submission)
    assert [] == due(floor, done)
    assert [] == due(floor)
    floor.ball("U-3", "P-3")
    assert [] == due(floor)


def test_what_was_not_entered_stays_due(floor: Floor) -> None:
    """A process whose submission was not taken finds it due at its next turn."""
    correction = later_blocks(floor)
    done: set[str] = set()
    first = due(floor, done)
    assert (facts_of(first), set()) == (facts_of(due(floor, done)), done)
    enter(floor, first[0])
    assert ([], {correction}) == (due(floor, done), done)


def test_a_recheck_cut_short_is_finished(floor: Floor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a re-check in three entries, a process that starts after the first says the other two."""
    monkeypatch.setattr(rechecks, "MOST_FACTS", 2)
    later_blocks(floor)
    whole = due(floor)
    assert [2, 2, 1] == [len(facts_of([submission])) for submission in whole]
    enter(floor, whole[0])
    rest = due(floor)
    assert (whole[1:], facts_of(whole)) == (rest, facts_of(whole[:1]) + facts_of(rest))
    for submission in rest:
        enter(floor, submission)
    assert [] == due(floor)


def test_a_recheck_of_full_entries_ends_too(floor: Floor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the last entry is as full as the others, nothing is due after it."""
    monkeypatch.setattr(rechecks, "MOST_FACTS", 5)
    later_blocks(floor)
    (submission,) = due(floor)
    enter(floor, submission)
    assert [] == due(floor)


def long_named(number: int) -> dict[str, Any]:
    """A ball whose id and number are as long as they may be."""
    return engraved(f"U-{number:038d}", f"P-{number:018d}", lot="SL-2")


def test_a_full_recheck_in_which_all_is_wrong_can_be_entered(floor: Floor) -> None:
    """A hundred balls whose cure turns out short fit into one entry, and so do the rest into the next."""
    floor.say(blocks("BL-2", 3, 130), cores("CL-2", 30, ("BL-2", 130)))
    floor.say(shells("SL-2", 40, ("CL-2", 130)))
    for future in [floor.book.submit(said(f"many-{number}", long_named(number)), floor.lead) for number in range(120)]:
        future.result(30)
    correct(floor, "SL-2", "shells-poured", shells("SL-2", 60, ("CL-2", 130)))
    found = [enter(floor, submission) for submission in due(floor)]
    assert [100, 20] == [len(entered.breaches[0]) for entered in found]
    assert [] == due(floor)


def test_what_shares_a_parent_is_left_alone(floor: Floor) -> None:
    """A pour moved to other parents changes nothing for the other lots of those parents."""
    floor.say(blocks("BL-2", 3, 40))
    floor.say(cores("CL-2", 30, ("BL-2", 20)))
    floor.say(shells("SL-2", 40, ("CL-2", 20)))
    correct(floor, "CL-2", "cores-poured", cores("CL-2", 30, ("BL-1", 20)))
    assert [fact(floor, "SL-2", "shells-poured")] == facts_of(due(floor))


def test_a_corrected_drum_asks_for_nothing(floor: Floor) -> None:
    """No window begins at a material, so that a plant is not gone through for its supplier's name."""
    drum = floor.book.entry(int(fact(floor, "DRUM", "material-received").split(".")[0]))
    told = drum.entry["said"]["records"][0]
    plain = {name: value for name, value in told.items() if name not in {"note", "supplier", "kg"}}
    correct(floor, "DRUM", "material-received", {**plain, "kg": "500", "supplier_lot": "X-2"})
    assert [] == due(floor)


def test_heirs_of_a_corrected_lot_are_looked_at(floor: Floor) -> None:
    """What was done to the part that was split off a lot rests on the lot's pouring too."""
    floor.say({"kind": "lot-split", "at": at(50), "lot": "SL-1", "into": "SL-2", "count": 5})
    turned = floor.say(worked("SL-2", "turned", 66)).addresses[0]
    correct(floor, "SL-1", "shells-poured", shells("SL-1", 60, ("CL-1", 40)))
    (submission,) = due(floor)
    assert turned in facts_of([submission])
    assert "lot:SL-2" in {breach.node for breach in enter(floor, submission).breaches[0]}


def test_a_withdrawn_fact_is_not_looked_at(floor: Floor) -> None:
    """What no longer stands is left out, and a correction of readings asks for nothing."""
    ball = floor.book.ball("U-2").history
    floor.say(corrected(*({"fact": told.fact} for told in ball)))
    reading = floor.book.ball("U-1").history[1].fact
    done: set[str] = set()
    for submission in due(floor):
        enter(floor, submission)
    correction = floor.say(corrected({"fact": reading, "replacement": inspected("U-1", 71, mass="15")})).addresses[0]
    assert ([], True) == (due(floor, done), correction in done)
    later_blocks(floor)
    assert ball[0].fact not in facts_of(due(floor))


def test_a_persons_own_recheck_does_not_stand_for_the_duty(floor: Floor) -> None:
    """A quality lead who looks at one fact again leaves the rest to be looked at."""
    correction = later_blocks(floor)
    whole = facts_of(due(floor))
    floor.say({"kind": "recheck", "at": at(201), "because": correction, "facts": whole[:1]})
    assert whole == facts_of(due(floor))


def test_each_correction_has_its_own_recheck(floor: Floor) -> None:
    """Two corrections are followed up by two re-checks, and the second finds nothing that the first has found."""
    first = later_blocks(floor)
    second = correct(floor, "BL-1", "blocks-moulded", blocks("BL-1", 20, 41))
    found = due(floor)
    because = [record.because for submission in found for record in submission.records if isinstance(record, Recheck)]
    assert [first, second] == because
    assert [1, 0] == [len(enter(floor, submission).breaches[0]) for submission in found]


def test_the_time_of_a_recheck_is_now(floor: Floor) -> None:
    """A re-check happens when it is made."""
    later_blocks(floor)
    assert [at(1_000)] == [record.at for submission in due(floor) for record in submission.records]
