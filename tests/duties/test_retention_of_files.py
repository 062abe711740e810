"""What is erased of a claim reaches its letter, the file it was imported from, and what corrections noted of it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.application.claim_letters import LetterAsked, send_letter
from ledger.duties.rechecks import DUTIES
from ledger.duties.runner import DutyRunner
from ledger.errors import NotFound
from ledger.line.submission import Submission
from ledger.store.blobs import put_blob, read_blob
from tests.application.desk_stories import adopt_terms, decided, letter, seen
from tests.application.floor import DAY_S, Floor, at, claimed, corrected
from tests.application.import_files import csv_of, ran
from tests.stores import every_row

DAY_MS = DAY_S * 1_000
UNTIL = "2026-12-31"
HEAD = ("claim", "opened_on", "mode", "claimant", "keep_until", "decision", "reason", "decided_on", "note")
OLD = csv_of(
    HEAD,
    ("OLD-1", "2026-01-02", "void", "Ann Example", UNTIL, "goodwill", "goodwill", "2026-01-03", "granted by Bob"),
    ("OLD-2", "2026-01-02", "void", "Eve Example", "", "", "", "", ""),
    ("OLD-3", "Zoe Example", "void", "", "", "", "", "", ""),
)


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant."""
    made = Floor(tmp_path)
    yield made
    made.book.close()


def runner(floor: Floor) -> DutyRunner:
    """A runner as a service wires it; its turns are called by hand."""

    def say(submission: Submission) -> Any:
        return floor.book._writer.submit(submission, DUTIES)

    return DutyRunner(floor.book.store, say, holder="one", clock_ms=floor.clock, every_s=3_600)


def pass_days(floor: Floor, days: int) -> None:
    """Let the clock go on."""
    floor.now_ms += days * DAY_MS


def settled(claim: str, **fields: Any) -> dict[str, Any]:
    """A decision by goodwill."""
    return decided(claim, "goodwill", "goodwill", note="granted by the head of the desk", **fields)


def is_gone(floor: Floor, digest: str) -> bool:
    """Whether the bytes of a file were erased."""
    try:
        read_blob(floor.book.store, digest)
    except NotFound as error:
        return "erased" in error.problem
    return False


def test_a_letter_goes_with_the_claim_that_it_answers(floor: Floor) -> None:
    """It names the claimant: its bytes go, and so does the address in the entry that says that it went."""
    floor.say(claimed("C-1", keep_until=UNTIL, claimant="Ann Example", contact="1 Lane Road"), settled("C-1"))
    written, entered = letter(floor, "C-1")
    assert {"0/to": "Ann Example\n1 Lane Road"} == floor.book.entry(entered.index).openings
    pass_days(floor, 100)
    runner(floor).turn()
    assert ({}, True) == (floor.book.entry(entered.index).openings, is_gone(floor, written.letter))
    assert [("reply", "erased")] == [(one.what, one.file) for one in seen(floor, "C-1").evidence]
    assert "Ann Example" not in repr(every_row(floor.book.store))
    again = send_letter(floor.book, LetterAsked("C-1"), "letter", floor.lead)
    assert (written.letter, True) == (again.letter, again.entered.result(30).repeated)


def test_a_claim_tells_what_is_kept_of_people(floor: Floor) -> None:
    """Which fields of which entries, and which files: so that who asks to be forgotten is, letter and all."""
    said = floor.say(claimed("C-1", claimant="Ann Example", note="angry"))
    fixed = floor.say(corrected({"fact": said.addresses[0], "replacement": claimed("C-1", contact="1 Lane Road")}))
    floor.say(settled("C-1"))
    written, entered = letter(floor, "C-1")
    kept = {one.entry: one.fields for one in seen(floor, "C-1").kept}
    assert {
        said.index: ("0/claimant", "0/note"),
        fixed.index: ("0/changes/0/replacement/contact",),
        fixed.index + 1: ("0/note",),
        entered.index: ("0/to",),
    } == kept
    for entry, fields in kept.items():
        floor.say({"kind": "erasure", "at": at(400), "entry": entry, "fields": list(fields), "basis": "request",
                   "reason": "asked"})  # fmt: skip
    floor.say({"kind": "blob-erasure", "at": at(400), "blobs": [written.letter], "basis": "request", "reason": "asked"})
    assert ((), "erased") == (seen(floor, "C-1").kept, seen(floor, "C-1").evidence[0].file)
    assert "Ann" not in repr(every_row(floor.book.store))


def test_the_file_that_claims_came_from_goes_with_the_first_of_them(floor: Floor) -> None:
    """It holds what all its lines said of people, and so do the words on refused ones; what was entered stands."""
    lines = ran(floor.book, OLD, "claims", floor.lead)
    assert ["accepted", "accepted", "refused"] == [line["outcome"] for line in lines]
    file = put_blob(floor.book.store, OLD, "text/csv").digest
    assert not is_gone(floor, file)
    pass_days(floor, 100)
    runner(floor).turn()
    assert is_gone(floor, file)
    stored = repr(every_row(floor.book.store))
    assert ["Eve Example"] == [name for name in ("Ann Example", "Eve Example", "Zoe Example") if name in stored]
    again = ran(floor.book, OLD, "claims", floor.lead)
    assert ["accepted", "accepted", "refused"] == [line["outcome"] for line in again]
    assert is_gone(floor, file)


def test_a_file_of_claims_goes_on_after_it_was_erased(floor: Floor) -> None:
    """An import that was stopped is sent again, and enters the rest without keeping the file."""
    rows = [
        (f"OLD-{n}", "2026-01-02", "void", "Ann", UNTIL, "goodwill", "goodwill", "2026-01-03", "x") for n in range(40)
    ]
    raw = csv_of(HEAD, *rows)
    turns = iter((False, True))
    assert 24 == len(ran(floor.book, raw, "claims", floor.lead, stop=lambda: next(turns)))
    pass_days(floor, 100)
    runner(floor).turn()
    assert 40 == len(ran(floor.book, raw, "claims", floor.lead))
    assert is_gone(floor, hashlib.sha256(raw).hexdigest())


def test_the_note_of_a_correction_goes_where_it_speaks_of_the_claim_alone(floor: Floor) -> None:
    """One that corrects another claim too stays until that is due as well."""
    facts = [
        floor.say(claimed(claim, keep_until=until)).addresses[0]
        for claim, until in (("C-1", UNTIL), ("C-2", "2029-01-01"))
    ]
    alone = floor.say(corrected({"fact": facts[0], "replacement": claimed("C-1", keep_until=UNTIL)}) | {"note": "Ann"})
    both = [{"fact": fact, "replacement": claimed(claim, keep_until=until)}
            for fact, claim, until in zip(facts, ("C-1", "C-2"), (UNTIL, "2029-01-01"), strict=True)]  # fmt: skip
    shared = floor.say(corrected(*both) | {"note": "Ann and Eve"})
    floor.say(settled("C-1"))
    pass_days(floor, 100)
    runner(floor).turn()
    openings = [floor.book.entry(entry.index).openings for entry in (alone, shared)]
    assert [{}, {"0/note": "Ann and Eve"}] == openings


def test_the_plants_terms_say_how_long_a_claim_without_a_date_is_kept(floor: Floor) -> None:
    """So many days after its decision; where the plant adopted no terms nothing is erased by itself."""
    said = floor.say(claimed("C-1", claimant="Ann"), settled("C-1"))
    pass_days(floor, 1_000)
    assert 0 == runner(floor).turn()
    adopt_terms(floor, "format = 1\nkeep_days = 2000\nterm = []\n", "long")
    assert 0 == runner(floor).turn()
    adopt_terms(floor, "format = 1\nkeep_days = 90\nterm = []\n", "short")
    late = floor.say(claimed("C-2", 24_900, claimant="Eve"), settled("C-2", hours=24_901))
    assert 1 == runner(floor).turn()
    assert [{}, {"0/claimant": "Eve"}] == [
        {path: value for path, value in floor.book.entry(entry.index).openings.items() if path == "0/claimant"}
        for entry in (said, late)
    ]
