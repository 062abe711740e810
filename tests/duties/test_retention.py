"""What was kept long enough is erased by the duties: once, all of it, and nothing else."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.application.files_check import FilesReport, check_files
from ledger.duties.rechecks import DUTIES
from ledger.duties.retention import Retention, due_claims
from ledger.duties.runner import DutyRunner
from ledger.errors import NotFound
from ledger.line.claim_rows import Claim
from ledger.line.submission import Submission
from ledger.store.blobs import put_blob, read_blob
from ledger.store.reader import open_reader
from tests.application.files import png
from tests.application.floor import DAY_S, Floor, at, claimed, corrected
from tests.stores import every_row

PHOTOS = [hashlib.sha256(png(shade)).hexdigest() for shade in range(4)]
DAY_MS = DAY_S * 1_000
UNTIL = "2026-12-31"


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with four photos among its files."""
    made = Floor(tmp_path)
    for shade in range(4):
        put_blob(made.book.store, png(shade), "image/png")
    yield made
    made.book.close()


def photos(*numbers: int) -> list[dict[str, str]]:
    """Photos as evidence."""
    return [{"digest": PHOTOS[number], "what": "photo"} for number in numbers]


def settled(claim: str, **fields: Any) -> dict[str, Any]:
    """A decision by goodwill with a note of who."""
    said = {"kind": "claim-decided", "at": at(310), "claim": claim, "decision": "goodwill", "reason": "goodwill"}
    return {**said, "note": "granted by the head of the desk", **fields}


def runner(floor: Floor) -> DutyRunner:
    """A runner as a service wires it; its turns are called by hand."""

    def say(submission: Submission) -> Any:
        return floor.book._writer.submit(submission, DUTIES)

    return DutyRunner(floor.book.store, say, holder="one", clock_ms=floor.clock, every_s=3_600)


def until_past(floor: Floor) -> None:
    """Let the clock stand on the day after the date."""
    floor.now_ms += (120 - (1_000 // 24)) * DAY_MS


def opened(floor: Floor, index: int) -> dict[str, Any]:
    """The sealed fields of an entry that can still be opened."""
    return floor.book.entry(index).openings


def test_a_decided_claim_is_cleared_of_people_once(floor: Floor) -> None:
    """Every erasable field of every fact about it, and its photos; the second turn has nothing to do."""
    told: dict[str, Any] = {
        "claimant": "a person",
        "contact": "a number",
        "drilled": {"by": "a driller", "on": "2026-10-01"},
    }
    entries = [
        floor.say(claimed("C-1", keep_until=UNTIL, evidence=photos(0), note="angry", **told)),
        floor.say({"kind": "claim-examined", "at": at(305), "claim": "C-1", "findings": ["void"],
                   "evidence": photos(1), "note": "seen by a person"}),
        floor.say(settled("C-1")),
        floor.say({"kind": "claim-replied", "at": at(311), "claim": "C-1", "letter": PHOTOS[2], "to": "a person"}),
    ]  # fmt: skip
    duties = runner(floor)
    assert 0 == duties.turn()
    until_past(floor)
    assert [5, 0] == [duties.turn(), duties.turn()]
    assert [{}, {}, {}, {}] == [opened(floor, entry.index) for entry in entries]
    assert {"0/claimant", "0/contact", "0/drilled/by", "0/note"} == set(floor.book.entry(entries[0].index).erased)
    assert (FilesReport(named=3, erased=3), True) == (check_files(floor.book.store), floor.book.check().views_compared)
    assert "a person" not in repr(every_row(floor.book.store))
    assert {DUTIES} == {floor.book.entry(entries[-1].index + 1 + number).entry["author"] for number in range(5)}


def test_what_corrections_said_is_erased_too(floor: Floor) -> None:
    """The words and photos of the first telling, of one corrected again, and of a decision taken from the claim."""
    floor.say(claimed("C-2"))
    first = floor.say(claimed("C-1", claimant="a wrong person", evidence=photos(0)))
    fact = first.addresses[0]
    once = floor.say(corrected({"fact": fact, "replacement": claimed("C-1", claimant="another", evidence=photos(1))}))
    twice = floor.say(corrected({"fact": fact, "replacement": claimed("C-1", claimant="a person", keep_until=UNTIL)}))
    wrong = floor.say(settled("C-1"))
    moved = floor.say(corrected({"fact": wrong.addresses[0], "replacement": settled("C-2")}))
    floor.say(settled("C-1", note="granted again"))
    until_past(floor)
    assert 6 + 1 == runner(floor).turn()
    for entry in (first, once, twice, wrong, moved):
        assert {} == opened(floor, entry.index)
    for digest in PHOTOS[:2]:
        with pytest.raises(NotFound, match="kept-until-passed"):
            read_blob(floor.book.store, digest)


def test_what_is_still_needed_is_kept(floor: Floor) -> None:
    """A claim that is not decided, has no date, or whose day is not over; a file that another claim names."""
    waiting = floor.say(claimed("C-1", keep_until=UNTIL, claimant="one", evidence=photos(0, 1)))
    no_date = floor.say(claimed("C-2", claimant="two", evidence=photos(2)))
    later = floor.say(claimed("C-3", keep_until="2027-12-31", claimant="three", evidence=photos(3)))
    due = floor.say(claimed("C-4", keep_until=UNTIL, claimant="four", evidence=photos(0, 1)))
    for claim in ("C-2", "C-3", "C-4"):
        floor.say(settled(claim))
    until_past(floor)
    assert 2 == runner(floor).turn()
    kept = [opened(floor, entry.index) for entry in (waiting, no_date, later)]
    assert [{"0/claimant": name} for name in ("one", "two", "three")] == kept
    assert ({}, FilesReport(named=4, erased=0)) == (opened(floor, due.index), check_files(floor.book.store))
    floor.say(settled("C-1"))
    assert 3 == runner(floor).turn()
    assert FilesReport(named=4, erased=2) == check_files(floor.book.store)


def test_what_a_person_erased_before_is_left_out(floor: Floor) -> None:
    """The rest is erased, and nothing twice."""
    entry = floor.say(claimed("C-1", keep_until=UNTIL, claimant="one", contact="two", evidence=photos(0, 1)))
    floor.say(settled("C-1"))
    asked = {"at": at(320), "basis": "request", "reason": "asked"}
    floor.say({"kind": "erasure", "entry": entry.index, "fields": ["0/claimant"], **asked})
    floor.say({"kind": "blob-erasure", "blobs": [PHOTOS[0]], **asked})
    until_past(floor)
    assert [3, 0] == [runner(floor).turn(), runner(floor).turn()]
    assert ({}, FilesReport(named=2, erased=2)) == (opened(floor, entry.index), check_files(floor.book.store))


def test_a_date_is_past_from_the_day_after_it() -> None:
    """By the calendar alone; no clock time counts."""
    fields: dict[str, Any] = {"serial": None, "unit": None, "mode": "void", "opened_ms": 0, "bought_on": None}
    claim = Claim(claim="C-1", state="reject", replacement=None, keep_until="2026-12-31", **fields)
    assert ([], ["C-1"]) == (due_claims([claim], "2026-12-31"), due_claims([claim], "2027-01-01"))


def test_nothing_due_is_looked_for_again_after_an_hour(floor: Floor) -> None:
    """What became due meanwhile waits until then; where something was due the next look is at once."""
    retention, store = Retention(), floor.book.store
    until_past(floor)
    with open_reader(store) as reader:
        assert [] == retention.due(reader, floor.now_ms)
    floor.say(claimed("C-1", keep_until=UNTIL, claimant="one"), settled("C-1"))
    with open_reader(store) as reader:
        found = [
            len(retention.due(reader, floor.now_ms + after)) for after in (Retention.EVERY_MS - 1, Retention.EVERY_MS)
        ]
        assert ([0, 1], 1) == (found, len(retention.due(reader, floor.now_ms + Retention.EVERY_MS)))
