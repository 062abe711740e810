"""May this be done now? What a station is told before the act."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.application.asking import AskAnswer
from ledger.errors import MalformedRecord
from tests.application.floor import GTIN, Floor, at, cores, engraved, held, inspected, model, record, shells
from tests.stores import every_row


def ask(floor: Floor, *records: dict[str, Any]) -> list[AskAnswer]:
    """The answers to a list of records, asked in the lead's name."""
    return floor.book.ask([record(one) for one in records], floor.lead)


def test_what_keeps_every_rule_may_be_done(ready: Floor) -> None:
    """A ball whose lot has cured may be engraved: yes, without reasons."""
    assert [AskAnswer(may=True)] == ask(ready, engraved("U-1", "P-1", 65))


def test_a_step_too_early_may_not_be_done_before_its_time(ready: Floor) -> None:
    """The answer is no, with the window in the way, the fact that began it, and the first instant at which it is kept."""
    (answer,) = ask(ready, engraved("U-1", "P-1", 50))
    (reason,) = answer.reasons
    assert (False, at(64.25), "final-cure-short") == (answer.may, answer.earliest, reason.code)
    assert ready.book.lot("SL-1").history[0].fact == reason.fact


def test_the_latest_of_several_times_counts(floor: Floor) -> None:
    """Where two windows stand in the way, the earliest time is when both are kept."""
    floor.stock(40)
    floor.say({**cores("CL-1", 30, ("BL-1", 20)), "at": at(39)}, cores("CL-2", 32, ("BL-1", 20)))
    (answer,) = ask(floor, shells("SL-1", 36, ("CL-1", 20), ("CL-2", 20)))
    assert (False, at(43)) == (answer.may, answer.earliest)


def test_a_hold_says_no_without_a_time(ready: Floor) -> None:
    """Work under a hold that stops it may not be done, and no instant makes it right."""
    ready.say(held("H-1", node="lot:SL-1", stops=["use"]))
    (answer,) = ask(ready, engraved("U-1", "P-1", 110))
    assert (False, None, ["under-hold"]) == (answer.may, answer.earliest, [reason.code for reason in answer.reasons])
    assert "H-1" in answer.reasons[0].mend


def test_a_refusal_names_the_field_and_the_mend(ready: Floor) -> None:
    """What the book would refuse is answered no, with the record's place in front of the field."""
    yes, no = ask(ready, engraved("U-1", "P-1"), engraved("U-2", "P-2", lot="SL-9"))
    assert (True, False, "unknown-subject", "records[1].lot") == (
        yes.may, no.may, no.reasons[0].code, no.reasons[0].where,
    )  # fmt: skip
    assert no.reasons[0].mend


def test_each_record_sees_those_before_it(ready: Floor) -> None:
    """A ball that is engraved in the first record may be measured in the second, and not engraved again in the third."""
    answers = ask(ready, engraved("U-1", "P-1"), inspected("U-1", mass="15.1"), engraved("U-1", "P-2"))
    assert [True, True, False] == [answer.may for answer in answers]
    assert [False] == [answer.may for answer in ask(ready, inspected("U-1", mass="15.1"))]


def test_what_is_asked_together_draws_on_one_account(ready: Floor) -> None:
    """Of the last piece of a lot, the first record may take it and the second may not."""
    lost = {"kind": "pieces-lost", "at": at(60), "lot": "SL-1", "count": 39, "how": "scrap", "reason": "chipped"}
    ready.say(lost)
    first, second = ask(ready, engraved("U-1", "P-1"), engraved("U-2", "P-2"))
    assert (True, False, ["over-drawn"]) == (first.may, second.may, [reason.code for reason in second.reasons])


def test_a_lot_made_in_the_question_leads_on_to_all_above_it(ready: Floor) -> None:
    """Pieces split off in the first record stand under the holds of the lots above, as the second is told."""
    ready.say(held("H-1", node="lot:BL-1", stops=["use"]))
    split = {"kind": "lot-split", "at": at(60), "lot": "SL-1", "into": "SL-2", "count": 5}
    first, second = ask(ready, split, engraved("U-1", "P-1", lot="SL-2"))
    assert (True, ["under-hold"]) == (first.may, [reason.code for reason in second.reasons])


def test_a_time_to_come_is_not_held_against_a_question(ready: Floor) -> None:
    """A station may ask about next month; a time ahead of the service's clock makes nothing undecided."""
    ready.now_ms -= 900 * 3_600_000
    assert [True] == [answer.may for answer in ask(ready, engraved("U-1", "P-1", 700))]


def test_nothing_is_entered(ready: Floor) -> None:
    """A question leaves every row of the store as it was."""
    before = every_row(ready.book.store)
    ask(ready, engraved("U-1", "P-1"), model("M2", GTIN), held("H-1", node="lot:SL-1"))
    assert before == every_row(ready.book.store)


def test_what_cannot_be_read_is_no_question(ready: Floor) -> None:
    """A record that contradicts itself is malformed, and its place is named."""
    broken = {**inspected("U-1", mass="15.1"), "lot": "SL-1"}
    with pytest.raises(MalformedRecord) as caught:
        ask(ready, engraved("U-1", "P-1"), broken)
    assert "records[1].unit" == caught.value.where


def test_asked_apart_no_record_sees_another(ready: Floor) -> None:
    """Each is answered as if it were said alone: the same ball may be engraved with either number."""
    both = [record(engraved("U-1", "P-1")), record(engraved("U-1", "P-2"))]
    assert [True, True] == [answer.may for answer in ready.book.ask(both, ready.lead, apart=True)]
    assert [True, False] == [answer.may for answer in ready.book.ask(both, ready.lead)]
