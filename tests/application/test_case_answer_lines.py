"""Answers line by line: each accepted or refused with its reason, nothing in between."""

from __future__ import annotations

import io

import pytest

from ledger.application.case_answer_lines import (
    MOST_LINES,
    TOGETHER,
    AnswerLine,
    AnswersTaken,
    read_answers,
    take_answers,
)
from ledger.application.case_view import reconciliation_of
from ledger.application.notices import write_notices
from ledger.errors import Contradiction, Forbidden, KeyReused, MalformedInput, NotFound, TooLarge
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, engraved
from tests.application.suspected import mixed_floor, opening, recall, register, ship


@pytest.fixture
def sent(floor: Floor) -> Floor:
    """A recall of BL-1: A-1, B-1 and B-2 are at SHOP-1, A-0 at SHOP-2."""
    mixed_floor(floor)
    register(floor, "SHOP-1", "SHOP-2")
    ship(floor, "SH-1", "A-1", "B-1", "B-2", to="SHOP-1")
    ship(floor, "SH-2", "A-0", to="SHOP-2")
    recall(floor)
    return floor


def take(floor: Floor, text: str, key: str = "file-1", consignee: str = "") -> AnswersTaken:
    """Enter the lines of a file."""
    return take_answers(floor.book, "C-1", read_answers(text.encode(), consignee), key, floor.lead)


def test_a_notice_list_comes_back_filled_in(sent: Floor) -> None:
    """The columns that it went with are passed over; lines that were left empty are silence."""
    out = io.BytesIO()
    with open_reader(sent.book.store) as reader:
        write_notices(reader, "C-1", out=out)
    filled = out.getvalue().decode().split("\r\n")
    filled[1] = filled[1].removesuffix(",,") + ",In Stock,"
    filled[2] = filled[2].removesuffix(",,") + ",moved,SHOP-2"
    taken = take(sent, "\ufeff" + "\r\n".join(filled))
    assert (2, 2, (), ()) == (taken.accepted, taken.silent, taken.refused, taken.doubted)
    with open_reader(sent.book.store) as reader:
        summed = reconciliation_of(reader, "C-1")
    assert ({"in-stock": 1, "moved": 1, "unaccounted": 2}, 2) == (
        {answer: count for answer, count in summed.answers.items() if count}, summed.unaccounted,
    )  # fmt: skip


def test_every_line_is_accepted_or_refused_with_its_reason(sent: Floor) -> None:
    """What is wrong with one line keeps no other back."""
    sent.say(engraved("D-1", "TWICE", 75, lot="SL-2"), engraved("D-2", "TWICE", 75, lot="SL-2"))
    taken = take(
        sent,
        "consignee,unit,serial,answer,to\n"
        "SHOP-1,A-1,,sold,\n"
        "SHOP-9,B-1,,sold,\n"
        "SHOP-1,B-1,,lost,\n"
        "SHOP-1,B-1,,sold,SHOP-2\n"
        "SHOP-1,B-1,,moved,SHOP-9\n"
        "SHOP-1,X-1,,sold,\n"
        "SHOP-1,,NO-SUCH,sold,\n"
        "SHOP-1,,,sold,\n"
        "SHOP-1,,TWICE,sold,\n"
        "SHOP-1,A-1,,in stock,\n"
        "SHOP-1,,p-b-2,\n"
        "SHOP-2,,P-A-0,not received\n",
    )
    assert (2, 1) == (taken.accepted, taken.silent)
    reasons = {line.line: line.reason for line in taken.refused}
    for line, words in {
        3: "SHOP-9 is not in the register", 4: "not one of in-stock", 5: "leave the column to empty",
        6: "SHOP-9 is not in the register", 7: "unit X-1 is not in the book", 8: "no ball of this book bears NO-SUCH",
        9: "neither unit nor serial", 10: "2 balls bear TWICE: send the unit", 11: "line 2 answers for this ball already",
    }.items():  # fmt: skip
        assert words in reasons.pop(line)
    assert {} == reasons


def test_a_number_of_several_balls_is_that_of_the_one_which_is_there(floor: Floor) -> None:
    """The one that was shipped to who answers, or moved there."""
    mixed_floor(floor)
    register(floor, "SHOP-1", "SHOP-2")
    floor.say(engraved("D-1", "TWICE", 75, lot="SL-2"), engraved("D-2", "TWICE", 75, lot="SL-2"))
    ship(floor, "SH-3", "D-1", hours=82, to="SHOP-1")
    recall(floor)
    taken = take(floor, "serial,answer,to\nTWICE,moved,SHOP-2\n", consignee="SHOP-1")
    again = take(floor, "serial,answer\nTWICE,sold\n", key="file-2", consignee="SHOP-2")
    assert ((1, ()), (1, ())) == ((taken.accepted, taken.doubted), (again.accepted, again.doubted))


def test_a_doubtful_answer_is_entered_and_told(sent: Floor) -> None:
    """A ball that was sent to another, and one that is not of the case: with the fact that says so."""
    taken = take(sent, "unit,answer\nA-0,sold\nC-1,sold\n", consignee="SHOP-1")
    assert (2, ["answer-not-of-case", "answer-not-sent", "answer-not-sent"]) == (
        taken.accepted, sorted(one.code for one in taken.doubted),
    )  # fmt: skip
    assert {f"{taken.entries[0]}.0"} == {one.fact for one in taken.doubted}


def test_the_same_file_under_the_same_key_is_entered_once(sent: Floor) -> None:
    """Another file under it is refused, and so is one about a case that is closed."""
    text = "unit,answer\nA-1,sold\nB-1,sold\nB-2,destroyed\n"
    first = take(sent, text, consignee="SHOP-1")
    sent.now_ms += 5_000
    assert first == take(sent, text, consignee="SHOP-1")
    with pytest.raises(KeyReused):
        take(sent, "unit,answer\nA-1,in-stock\n", consignee="SHOP-1")
    take(sent, "unit,answer\nA-0,sold\n", key="file-2", consignee="SHOP-2")
    sent.say(opening("C-2", sort="shell-lot", name="SL-3"))
    sent.say({"kind": "case-closed", "at": at(95), "case": "C-2", "decision": "other", "reason": "done"})
    lines = [AnswerLine(2, "SHOP-1", "A-1", "", "sold", "")]
    with pytest.raises(Contradiction):
        take_answers(sent.book, "C-2", lines, "file-3", sent.lead)


def test_many_answers_are_entered_in_parts(floor: Floor) -> None:
    """Each part is an entry of its own, and all of them are answered alike on a retry."""
    mixed_floor(floor)
    register(floor, "SHOP-1")
    count = TOGETHER + 5
    floor.say({"kind": "lot-recounted", "at": at(75), "lot": "SL-3", "left": count, "reason": "stocktaking"})
    for start in range(0, count, 250):
        floor.say(*(engraved(f"M-{n}", f"M{n}", 76, lot="SL-3") for n in range(start, min(start + 250, count))))
    for start in range(0, count, 250):
        ship(floor, f"SH-{start}", *(f"M-{n}" for n in range(start, min(start + 250, count))), to="SHOP-1")
    floor.say(opening(sort="mould", name="MS-3"))
    text = "serial,answer\n" + "".join(f"M{n},sold\n" for n in range(count))
    taken = take(floor, text, consignee="SHOP-1")
    assert (count, 2, ()) == (taken.accepted, len(taken.entries), taken.doubted)
    assert taken == take(floor, text, consignee="SHOP-1")


@pytest.mark.parametrize(
    "raw",
    [
        b"", b"unit\nA-1\n", b"answer\nsold\n", b"unit,answer,unit\nA-1,sold,A-1\n", b"unit,answer\n\xff\xfe,sold\n",
        b'unit,answer\n"A-1,sold\n',
    ],
)  # fmt: skip
def test_what_is_no_file_of_answers_is_refused(raw: bytes) -> None:
    """Columns that are missing or twice, other encodings, an open quote."""
    with pytest.raises(MalformedInput):
        read_answers(raw, "SHOP-1")


def test_a_file_has_an_end_and_names_who_answers() -> None:
    """Either in a column, or for all of it."""
    with pytest.raises(MalformedInput):
        read_answers(b"unit,answer\nA-1,sold\n")
    with pytest.raises(TooLarge):
        read_answers(b"unit,answer\n" + b"A-1,sold\n" * (MOST_LINES + 1), "SHOP-1")


def test_who_may_not_answer_is_told_before_anything_is_read(sent: Floor) -> None:
    """And a case that is not there, too; a key that leaves no room for its parts."""
    auditor = sent.book.open_account("Auditor", ("auditor",))[0]
    lines = read_answers(b"unit,answer\nA-1,sold\n", "SHOP-1")
    with pytest.raises(Forbidden):
        take_answers(sent.book, "C-1", lines, "file-1", auditor)
    with pytest.raises(NotFound):
        take_answers(sent.book, "C-9", lines, "file-1", sent.lead)
    with pytest.raises(MalformedInput):
        take_answers(sent.book, "C-1", lines, "k" * 100, sent.lead)
