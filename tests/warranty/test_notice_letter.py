"""The letters of a case: a stop of sale and a recall ask for different things, and neither says what it cannot."""

from __future__ import annotations

import datetime as dt
from typing import Any

from ledger.warranty.notice_letter import CAUTION, COLUMNS, NoticeBall, NoticeFacts, notice_letter

BALLS = (
    NoticeBall("P000001", "Example Orbit", 15, "SH-1", dt.date(2026, 3, 4), possible=False),
    NoticeBall("U-2", "Example Orbit", None, "", None, possible=True),
)


def facts(action: Any = "recall", **fields: Any) -> NoticeFacts:
    """A notice over two balls, one of them possible."""
    said: dict[str, Any] = {
        "plant": "Example Ball Works",
        "to": ("A shop", "1 High Street"),
        "on": dt.date(2026, 5, 4),
        "case": "C-12",
        "consignee": "SHOP-1",
        "reason": "soft-blocks",
        "balls": BALLS,
    }
    return NoticeFacts(**{**said, "action": action, **fields})


def test_a_recall_and_a_stop_of_sale_ask_for_different_things() -> None:
    """A recall asks to reach the buyers; a stop of sale says that it does not."""
    recall, stop = (" ".join(notice_letter(facts(action)).paragraphs) for action in ("recall", "stop-sale"))
    assert ("Recall", "Stop of sale") == tuple(
        notice_letter(facts(action)).subject.partition(" of the")[0].partition(":")[0]
        for action in ("recall", "stop-sale")
    )
    assert "Ask every buyer" in recall
    assert "bring it back" in recall
    assert "Ask every buyer" not in stop
    assert "not called back by this letter" in stop


def test_both_say_how_to_answer_and_to_follow_the_law() -> None:
    """For every serial, with what silence means; and that counsel should be asked."""
    for action in ("recall", "stop-sale"):
        text = " ".join(notice_letter(facts(action)).paragraphs)
        for words in ("in stock", "sold", "moved", "destroyed", "returned to us", "not received", "unaccounted"):
            assert words in text
        assert "law of the place where you are" in text
        assert "licensed counsel" in text
    assert "licensed counsel" in CAUTION


def test_every_ball_stands_in_the_table_with_room_for_the_answer() -> None:
    """What is not known is left empty."""
    letter = notice_letter(facts())
    assert (COLUMNS, "C-12 / SHOP-1") == (letter.columns, letter.reference)
    assert (
        ("P000001", "Example Orbit", "15 lb", "SH-1", "2026-03-04", ""),
        ("U-2", "Example Orbit", "", "", "", ""),
    ) == letter.rows
    assert all(len(row) == len(letter.columns) for row in letter.rows)


def test_what_is_only_possible_is_said_so() -> None:
    """Some of the balls, all of them, or none."""
    some, every, none = (
        notice_letter(facts(balls=balls)).paragraphs[1]
        for balls in (BALLS, BALLS[1:], BALLS[:1])
    )  # fmt: skip
    assert "2 balls" in some
    assert "For 1 of them our records do not tell surely" in some
    assert "1 ball that we sent" in every
    assert "do not tell surely that they are among those" in every
    assert "surely" not in none
    assert "soft blocks" in some
