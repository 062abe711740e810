"""Anyone who scans a label is told whether the number was issued here and what it is, and nothing internal."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.application.public import PublicAnswer
from tests.application.floor import GTIN, Floor, approval, at, blocks, cores, engraved, held, model, shells

OTHER_GTIN = "09521234000013"


def status(floor: Floor, serial: str = "P-1") -> list[str]:
    """The status of each ball that bears the number."""
    return [ball.status for ball in floor.book.public(GTIN, serial).balls]


def test_an_issued_number_tells_model_class_day_and_status(ready: Floor) -> None:
    """The answer says that the number was issued, and never that the ball in the hand is genuine."""
    ready.ball("U-1", "P-1")
    ready.book.release(["U-1"], "first", "release", ready.lead).result(30)
    answer = ready.book.public(GTIN, "P-1")
    (ball,) = answer.balls
    assert (True, "number issued by us", "P-1") == (answer.issued, answer.statement, answer.serial)
    assert ("Example", "Model M1", 15, "2026-09-24", "released by the maker", "", False) == (
        ball.brand, ball.model, ball.weight_class_lb, ball.made_on, ball.status, ball.grade, ball.number_replaced,
    )  # fmt: skip


def test_an_unknown_number_and_a_wrong_product_get_the_same_words(ready: Floor) -> None:
    """Whoever guesses learns nothing: no number, a number of another product, one allotted but not engraved: all alike."""
    ready.say(engraved("U-1", "P-1"))
    ready.say(model("M2", OTHER_GTIN), approval("M2"))
    (allotted,) = ready.book.allot_serials("E-1", 1, "allot", ready.lead).serials
    answers = {ready.book.public(*asked) for asked in ((GTIN, "P-9"), (OTHER_GTIN, "P-1"), (GTIN, allotted))}
    assert {(False, "unknown number: not issued by us under this product", ())} == {
        (answer.issued, answer.statement, answer.balls) for answer in answers
    }


def test_nothing_internal_is_told(ready: Floor) -> None:
    """No lot, unit, station, supplier, person, gauge, hold or reading of a ball with all of these is in its answer."""
    ready.ball("U-1", "P-1")
    ready.say(held("H-1", node="unit:U-1"))
    text = msgspec.json.encode(ready.book.public(GTIN, "P-1")).decode()
    internal = ("U-1", "SL-1", "CL-1", "BL-1", "MIX", "DRUM", "Acme", "Bob", "E-1", "I-1", "G-MASS", "H-1", "15.1")
    assert [] == [word for word in internal if word in text]
    assert "in production" in text


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ("scrap", "not for use: scrapped by the maker"),
        ("destructive-test", "not for use: tested to destruction"),
        ("retained", "retained by the maker"),
    ],
)
def test_an_ended_ball_says_so(ready: Floor, how: str, words: str) -> None:
    """A ball that was scrapped, cut open or kept is told as such, also under a recall."""
    ready.say(engraved("U-1", "P-1"))
    ready.say({"kind": "scrap", "at": at(80), "unit": "U-1", "how": how, "reason": "chipped"})
    ready.say(held("R-1", node="lot:SL-1", recall=True))
    assert [words] == status(ready)


def test_a_replaced_number_says_so(ready: Floor) -> None:
    """The old number of a ball engraved anew is still one of ours, and was replaced; the new one was not."""
    ready.say(engraved("U-1", "P-1"))
    anew = {"kind": "ball-engraved-anew", "at": at(80), "unit": "U-1", "serial": "P-2", "station": "E-1"}
    ready.say({**anew, "reason": "cut-badly", "scheme": "prior"})
    replaced = {
        serial: [ball.number_replaced for ball in ready.book.public(GTIN, serial).balls] for serial in ("P-1", "P-2")
    }
    assert {"P-1": [True], "P-2": [False]} == replaced


def test_a_repeated_number_tells_of_each_ball(ready: Floor) -> None:
    """A prior number on two balls tells of both."""
    ready.say(engraved("U-1", "P-1"), engraved("U-2", "P-1", 100, weight_class=14))
    assert [15, 14] == [ball.weight_class_lb for ball in ready.book.public(GTIN, "P-1").balls]


@pytest.mark.parametrize(
    "where",
    [{"node": "unit:U-1"}, {"node": "lot:SL-1"}, {"node": "lot:DRUM"}, {"rule": {"stage": "core", "model": "M1"}}],
)
def test_a_recalled_ball_is_held_by_the_maker(ready: Floor, where: dict[str, Any]) -> None:
    """An open recall of the ball or of anything above it, by node or by rule, is told in these words alone."""
    ready.ball("U-1", "P-1")
    before = ready.book.public(GTIN, "P-1")
    ready.say(held("R-1", recall=True, **where))
    assert ["held by the maker: ask the maker"] == status(ready)
    second, _ = ready.book.open_account("Second", ("quality",))
    lifted = {"kind": "hold-lifted", "at": at(110), "hold": "R-1", "reason": "looked-at"}
    ready.say(lifted)
    assert ["held by the maker: ask the maker"] == status(ready)
    ready.lead = second
    ready.say(lifted)
    assert before == ready.book.public(GTIN, "P-1")


def test_a_hold_that_is_no_recall_is_not_told(ready: Floor) -> None:
    """An inner hold of the plant is nobody's business outside."""
    ready.ball("U-1", "P-1")
    ready.book.release(["U-1"], "first", "release", ready.lead).result(30)
    ready.say(held("H-1", node="lot:DRUM"))
    assert ["released by the maker"] == status(ready)


def test_a_recall_takes_in_what_may_hold_the_lot(floor: Floor) -> None:
    """A ball that may descend from a recalled core lot is held; one that its place clears, and one of another lot, are not."""
    floor.stock(80)
    floor.say(blocks("BL-2", 3, 40))
    floor.say(cores("CL-1", 30, ("BL-1", 40)), cores("CL-2", 30, ("BL-2", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 20, 1, 20), ("CL-2", 20, 21, 40)), shells("SL-2", 40, ("CL-2", 20)))
    floor.say(engraved("U-1", "P-1"), engraved("U-2", "P-2", place=30), engraved("U-3", "P-3", lot="SL-2"))
    floor.say(held("R-1", node="lot:CL-1", recall=True))
    held_ = [status(floor, serial) == ["held by the maker: ask the maker"] for serial in ("P-1", "P-2", "P-3")]
    assert [True, False, False] == held_


def test_the_answer_is_of_its_form(ready: Floor) -> None:
    """The JSON form of an answer reads back as the same answer."""
    ready.say(engraved("U-1", "P-1"))
    answer = ready.book.public(GTIN, "P-1")
    assert answer == msgspec.json.decode(msgspec.json.encode(answer), type=PublicAnswer)
