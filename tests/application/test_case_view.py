"""A case as it is seen: added up, streamed and listed to the last ball; consignees and what they have."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from ledger.application.case_balls import HEAD, write_balls
from ledger.application.case_view import case_view, cases_of, reconciliation_of
from ledger.application.consignees import consignee_view, consignees_of
from ledger.application.containment import suspect_answer
from ledger.application.notices import HEAD as NOTICE_HEAD
from ledger.application.notices import write_notices
from ledger.application.plain_cells import plain
from ledger.errors import NotFound, RuleStands, UnknownSubject
from ledger.line.suspects import Suspect
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, engraved
from tests.application.suspected import answered, mixed_floor, opening, recall, register, ship
from tests.plant import said


@pytest.fixture
def scattered(floor: Floor) -> Floor:
    """A recall of BL-1 with a ball in every place: A-1 and B-1 at SHOP-1, A-0 at a lab, B-2 back, others ended or here."""
    mixed_floor(floor)
    floor.say({"kind": "unit-started", "at": at(71), "unit": "A-2", "lot": "SL-1", "station": "LATHE-1", "place": 2})
    floor.say(
        *(engraved(f"A-{n}", f"P-A-{n}", 71, place=n) for n in (3, 4, 5)), engraved("B-3", "P-B-3", 71, lot="SL-2")
    )
    register(floor, "SHOP-1", "SHOP-2")
    ship(floor, "SH-1", "A-1", "B-1", "B-2", to="SHOP-1")
    ship(floor, "SH-2", "A-0", consignee="=A lab")
    floor.say({"kind": "returned", "at": at(85), "unit": "B-2", "reason": "unsold"})
    for unit, how in (("A-3", "scrap"), ("A-4", "destructive-test"), ("A-5", "retained")):
        floor.say({"kind": "scrap", "at": at(86), "unit": unit, "how": how, "reason": "suspect"})
    recall(floor)
    return floor


def ask(floor: Floor, question: Callable[..., Any], *asked: Any, **named: Any) -> Any:
    """Ask a question of the book."""
    with open_reader(floor.book.store) as reader:
        return question(reader, *asked, **named)


def written(floor: Floor, question: Callable[..., Any], **named: Any) -> str:
    """What a question writes about C-1."""
    out = io.BytesIO()
    ask(floor, question, "C-1", out=out, **named)
    return out.getvalue().decode()


def test_every_ball_is_in_one_place(scattered: Floor) -> None:
    """In process, in stock, shipped, returned, scrapped, destroyed, retained; and the sums are those of the dry answer."""
    summed = ask(scattered, reconciliation_of, "C-1")
    assert (9, 5, 4) == (summed.balls, summed.certain, summed.possible)
    assert {
        "in-process": 1, "in-stock": 1, "shipped": 3, "returned": 1, "scrapped": 1, "destroyed": 1, "retained": 1,
        "elsewhere": 0,
    } == summed.places  # fmt: skip
    answer = ask(scattered, suspect_answer, Suspect(sort="block-lot", name="BL-1"))
    assert (5, 4) == (answer.balls.certain, answer.balls.possible)
    assert summed.places == {one.place: one.certain + one.possible for one in answer.places}
    assert [("SHOP-1", 1, 1, 1), (None, 1, 0, 1)] == [
        (one.consignee, one.shipments, one.certain, one.possible) for one in answer.consignees
    ]
    assert (("BL-1",), 0, True) == (answer.holds.lots, answer.holds.units, answer.holds.fits)


def test_pieces_that_are_no_balls_yet_are_counted_from_the_lots(scattered: Floor) -> None:
    """What is left of the lots below, surely or possibly; a drum's grams as well."""
    pieces = {one.stage: one for one in ask(scattered, case_view, "C-1").pieces}
    assert {"block", "core", "shell"} == set(pieces)
    assert (0, 30) == (pieces["block"].certain, pieces["core"].certain)
    assert ("pieces", 0, 10) == (pieces["shell"].unit, pieces["shell"].certain, pieces["shell"].possible)
    drum = ask(scattered, suspect_answer, Suspect(sort="material-lot", name="DRUM")).pieces[0]
    assert ("material", "g", 240_000) == (drum.stage, drum.unit, drum.certain)


def test_answers_settle_the_balls_that_are_out(scattered: Floor) -> None:
    """What a stranger says, and what a returned ball was said to be, is told; silence stays."""
    told = answered("SHOP-1", {"unit": "A-1", "said": "sold"}, {"unit": "B-2", "said": "destroyed"})
    scattered.say(
        told, answered("SHOP-2", {"serial": "P-B-1", "said": "in-stock"}, {"serial": "P-C-1", "said": "sold"})
    )
    view = ask(scattered, case_view, "C-1")
    summed = view.reconciliation
    assert (2, {"sold": 1, "unaccounted": 2}) == (summed.unaccounted, {k: n for k, n in summed.answers.items() if n})
    assert ["P-B-2 (B-2): SHOP-1 answered destroyed, and it is returned here",
            "P-B-1 (B-1): SHOP-2 answered in-stock, and it was sent to SHOP-1"] == sorted(
        summed.contradictions, reverse=True)  # fmt: skip
    assert ("C-1",) == view.answers_elsewhere
    assert {"answer-not-sent", "answer-not-of-case"} <= {
        breach.partition(":")[0] for one in view.history for breach in one.breaches
    }


def test_the_balls_are_listed_as_they_are_counted(scattered: Floor) -> None:
    """As lines of JSON and as CSV: the same balls, each once."""
    scattered.say(answered("SHOP-1", {"unit": "A-1", "said": "sold"}))
    lines = [msgspec.json.decode(line) for line in written(scattered, write_balls).splitlines()]
    rows = list(csv.DictReader(io.StringIO(written(scattered, write_balls, form="csv"))))
    assert (9, list(HEAD)) == (len(lines), list(rows[0]))
    assert [line["unit"] for line in lines] == [row["unit"] for row in rows]
    told = {line["unit"]: line for line in lines}
    assert ("sold", "SHOP-1", "SH-1", "shipped", "certain") == tuple(
        told["A-1"][name] for name in ("answer", "consignee", "shipment", "place", "certainty")
    )
    assert ("unaccounted", "possible") == (told["A-0"]["answer"], told["A-0"]["certainty"])
    assert ("in-process", False, False) == (told["A-2"]["place"], "serial" in told["A-2"], "answer" in told["A-2"])


def test_a_notice_list_names_every_ball_that_is_out_and_who_has_it(scattered: Floor) -> None:
    """The register's names first; a name outside it stands as its shipment says, kept from a spreadsheet's formulas."""
    rows = list(csv.DictReader(io.StringIO(written(scattered, write_notices))))
    assert list(NOTICE_HEAD) == list(rows[0])
    assert [("SHOP-1", "Shop SHOP-1", "A-1"), ("SHOP-1", "Shop SHOP-1", "B-1"), ("", "'=A lab", "A-0")] == [
        (row["consignee"], row["name"], row["unit"]) for row in rows
    ]
    assert ("P-A-1", "Example Model M1", "SH-1", "2026-09-24", "certain", "", "") == tuple(
        rows[0][name] for name in ("serial", "model", "shipment", "sent_on", "certainty", "answer", "to")
    )
    assert ["'=x", "'-1", "'+1", "'@a", "1-2", ""] == [plain(cell) for cell in ("=x", "-1", "+1", "@a", "1-2", "")]


def test_cases_are_listed_the_open_ones_first(scattered: Floor) -> None:
    """With their suspect, action and holds."""
    scattered.say(opening("C-0", sort="serials", serial_prefix="P-C"))
    scattered.say({"kind": "case-closed", "at": at(95), "case": "C-0", "decision": "unfounded", "reason": "sound"})
    seen = ask(scattered, cases_of)
    assert [("C-1", True, "recall", 1, 1), ("C-0", False, "none", 0, 0)] == [
        (one.case, one.open, one.action, one.holds, one.open_holds) for one in seen
    ]
    assert ("unfounded", "P-C") == (seen[1].decision, seen[1].suspect.serial_prefix)
    with pytest.raises(NotFound):
        ask(scattered, case_view, "C-9")


def test_a_case_is_closed_only_over_the_right_count(scattered: Floor) -> None:
    """None named, a wrong one, the right one; a correction may not change it to a wrong one either."""
    close = {"kind": "case-closed", "at": at(110), "case": "C-1", "decision": "contained", "reason": "enough"}
    people = [scattered.lead, scattered.book.open_account("Second", ("quality",))[0]]
    for number, person in enumerate(people):
        lifted = said(f"lift-{number}", {"kind": "hold-lifted", "at": at(109), "hold": "C-1.1", "reason": "sound"})
        scattered.book.submit(lifted, person).result(30)
    for fields in ({}, {"closed_with_unaccounted": 2}):
        with pytest.raises(RuleStands) as refused:
            scattered.say({**close, **fields})
        assert "records[0].closed_with_unaccounted" == refused.value.where
    done = scattered.say({**close, "closed_with_unaccounted": 3})
    change = {"fact": done.addresses[0], "replacement": {**close, "closed_with_unaccounted": 4}}
    with pytest.raises(RuleStands):
        scattered.say({"kind": "correction", "at": at(111), "reason": "typing", "changes": [change]})


def test_a_letter_that_is_not_stored_cannot_be_noted(scattered: Floor) -> None:
    """Whoever says it himself."""
    notice = {"kind": "case-noticed", "at": at(91), "case": "C-1", "consignee": "SHOP-1", "action": "recall"}
    with pytest.raises(UnknownSubject) as refused:
        scattered.say({**notice, "letter": "a" * 64, "balls": 1})
    assert "records[0].letter" == refused.value.where


def test_a_consignee_is_shown_with_what_it_has(scattered: Floor) -> None:
    """By the book: balls that came back are not there; names come from the entry."""
    seen = ask(scattered, consignees_of)
    assert [("SHOP-1", "Shop SHOP-1", 2), ("SHOP-2", "Shop SHOP-2", 0)] == [
        (one.consignee, one.name, one.balls) for one in seen
    ]
    view = ask(scattered, consignee_view, "SHOP-1")
    assert (["A-1", "B-1"], ("1 High Street", "Sampleton"), False) == (
        [ball.unit for ball in view.balls], view.consignee.address, view.more,
    )  # fmt: skip
    with pytest.raises(NotFound):
        ask(scattered, consignee_view, "SHOP-9")


def test_what_was_said_of_an_earlier_journey_is_no_contradiction(scattered: Floor) -> None:
    """A ball that was answered returned, came back, and is in stock again."""
    scattered.say(answered("SHOP-1", {"unit": "B-2", "said": "returned"}, hours=84))
    scattered.say({"kind": "restocked", "at": at(100), "unit": "B-2"})
    summed = ask(scattered, reconciliation_of, "C-1")
    assert (2, ()) == (summed.places["in-stock"], summed.contradictions)
