"""What a ball was judged with may not change before its release is entered, by whichever way the release is said."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.access.tokens import Account
from ledger.application import pourbook, said_releases
from ledger.application.judged_grounds import judged_with
from ledger.application.releasing import Wanted, release_records, released_before
from ledger.application.said_releases import check_said_releases
from ledger.errors import RuleStands
from ledger.line.reading_rows import Calibration, Gauge
from ledger.line.record import Record
from ledger.line.submission import Submission
from ledger.store.reader import open_reader
from tests.application.floor import GTIN, OFFICE, Floor, approval, at, calibrated, corrected, model, registered, studied

BAD = calibrated("hardness", 80, as_found_good=False)


def fact_of(floor: Floor, row: type[Calibration | Gauge]) -> str:
    """The fact that calibrated, or registered, the gauge of hardness."""
    with open_reader(floor.book.store) as reader:
        found: Any = reader.rows(row, "gauge", "G-HARDNESS")[0]
    return str(found.calibration if row is Calibration else found.address)


def entered_between(floor: Floor, *meanwhile: dict[str, Any]) -> Any:
    """U-1 is judged, then other things are said, then its release is entered."""
    judged = judged_with(floor.book.store, ["U-1"])
    records = release_records(floor.book.store, Wanted(["U-1"], "first"), floor.now_ms, OFFICE)
    for one in meanwhile:
        floor.say(one)
    submission = Submission(key="release", records=records)
    return floor.book._writer.submit(submission, floor.lead.account, judged=judged).result(30)


@pytest.mark.parametrize(
    "meanwhile",
    [
        BAD,
        calibrated("hardness", 80, expanded="9"),
        studied("mass", 80),
        approval("M1", at=at(80), bars=["tour"]),
        model("M1", GTIN, revision=2, at=at(80), finish="polished"),
    ],
    ids=["bad calibration", "wide calibration", "study", "approval", "model"],
)
def test_what_comes_between_is_not_passed_over(ready: Floor, meanwhile: dict[str, Any]) -> None:
    """The release is refused, and judged again it stands or not by what is known then."""
    ready.ball("U-1", "P-1")
    with pytest.raises(RuleStands, match="what U-1 was judged with changed") as refused:
        entered_between(ready, meanwhile)
    assert ("records[0].unit", True) == (refused.value.where, "judge the ball again" in str(refused.value.mend))
    assert "engraved" == ready.book.ball("U-1").state


def test_a_correction_between_is_not_passed_over(ready: Floor) -> None:
    """The address of what it corrects stays, and what is said there does not."""
    ready.ball("U-1", "P-1")
    for row, right in ((Calibration, calibrated("hardness", as_found="0.4")), (Gauge, registered("hardness"))):
        change = {"fact": fact_of(ready, row), "replacement": {**right, **({"high": "99"} if row is Gauge else {})}}
        with pytest.raises(RuleStands, match="what U-1 was judged with changed"):
            entered_between(ready, corrected(change))


def test_what_is_no_matter_of_the_ball_stops_nothing(ready: Floor) -> None:
    """Another ball, another model; and its own release is no change to it."""
    ready.ball("U-1", "P-1")
    ready.say(model("M2", "09521234543220"))
    entered_between(ready, approval("M2", at=at(80)), {**registered("mass"), "gauge": "G-OTHER"})
    ready.ball("U-2", "P-2")
    assert "first" == ready.book.ball("U-1").grade


def test_the_service_sends_what_it_judged_with(ready: Floor, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bad calibration that comes after the verdict and before the entry is seen by either way in."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    said = release_records(ready.book.store, Wanted(["U-2"], "first"), ready.now_ms, OFFICE)

    def judge_first(*arguments: Any) -> tuple[Record, ...]:
        records = release_records(*arguments)
        ready.say(BAD)
        return records

    def check_first(*arguments: Any) -> dict[str, str]:
        judged = check_said_releases(*arguments)
        monkeypatch.undo()
        ready.say(calibrated("hardness", 81))
        return judged

    lead: Account = ready.lead
    monkeypatch.setattr(said_releases, "check_said_releases", check_first)
    with pytest.raises(RuleStands, match="what U-2 was judged with changed"):
        ready.book.submit(Submission(key="two", records=said), lead).result(30)
    monkeypatch.setattr(pourbook, "release_records", judge_first)
    with pytest.raises(RuleStands, match="what U-1 was judged with changed"):
        ready.book.release(["U-1"], "first", "one", lead).result(30)
    assert released_before(ready.book.store, Wanted(["U-1"], "first"), key="one", author=lead.account) is None
