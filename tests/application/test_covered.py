"""Balls that were not measured for what their plan has inspected by sample or type test."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.application.releasing import Wanted, release_records
from ledger.errors import RuleStands
from ledger.line.releases import Release
from ledger.line.submission import Submission
from tests.application.floor import GOOD, OFFICE, Floor, at, engraved, inspected, plan, worked
from tests.application.own_files import OWN, STRICTER, adopt, policy

EVERY = [{"quantity": "mass", "every": "unit"}]
SAMPLE = [*EVERY, {"quantity": "hardness", "every": "sample", "n": 3, "accept": 0, "reject": 1}]
MODEL = [*EVERY, {"quantity": "hardness", "every": "model"}]


def sampled(accepted: bool = True, **fields: Any) -> dict[str, Any]:  # noqa: FBT001, FBT002  # said by name
    """The hardness sample of SL-1."""
    said = {"kind": "sample-judged", "at": at(60), "lot": "SL-1", "quantity": "hardness", "n": 3, "rests_on": "a" * 64}
    return {**said, "nonconforming": int(not accepted), "accepted": accepted, **fields}


def model_tested(accepted: bool = True, **fields: Any) -> dict[str, Any]:  # noqa: FBT001, FBT002  # said by name
    """The type test of M1 for its hardness."""
    said = {"kind": "model-judged", "at": at(60), "model": "M1", "quantity": "hardness", "n": 3, "rests_on": "a" * 64}
    return {**said, "nonconforming": int(not accepted), "accepted": accepted, **fields}


def unhardened(ready: Floor, *judged: dict[str, Any], inspect: Any = SAMPLE) -> str:
    """U-1, measured well for all but its hardness; gives the fact of the plan."""
    planned: str = ready.say(plan("M1", at=at(50), inspect=inspect)).addresses[0]
    for one in judged:
        ready.say(one)
    others: dict[str, Any] = {quantity: value for quantity, value in GOOD.items() if quantity != "hardness"}
    ready.say(engraved("U-1", "P-1"), inspected("U-1", **others))
    return planned


def release(floor: Floor, key: str = "release") -> Any:
    """Release U-1 as first quality."""
    return floor.book.release(["U-1"], "first", key, floor.lead).result(30)


@pytest.mark.parametrize(
    ("judged", "inspect", "words"),
    [
        (sampled(), SAMPLE, "by lot sample: SL-1, 0 of 3 did not conform, accepted (fact "),
        (model_tested(), MODEL, "by model test of revision 1: 0 of 3 did not conform, accepted (fact "),
    ],
)
def test_what_is_covered_is_not_measured_and_counts_as_met(
    ready: Floor, judged: dict[str, Any], inspect: Any, words: str
) -> None:
    """The verdict stays not measured, and says by what it is covered; the release counts it, and says what it counted."""
    unhardened(ready, judged, inspect=inspect)
    (by,) = ready.book.judged("U-1")
    hardness = [one for one in by.verdicts if one.quantity == "hardness" and one.outcome != "not_applicable"]
    assert {"not_measured"} == {one.outcome for one in hardness}
    assert all(one.reasons[-1].startswith(words) for one in hardness)
    assert ("not_measured", "conforms", ("hardness",)) == (by.outcome, by.for_release, by.covered)
    entered = release(ready)
    (said,) = ready.book.entry(entered.index).entry["said"]["records"]
    assert [("conforms", ["hardness"])] == [(basis["outcome"], basis["covered"]) for basis in said["bases"]]
    assert "first" == ready.book.ball("U-1").grade


@pytest.mark.parametrize(
    ("judged", "inspect"),
    [
        ((), SAMPLE),
        ((sampled(accepted=False),), SAMPLE),
        ((sampled(), sampled(accepted=False, at=at(61))), SAMPLE),
        ((sampled(quantity="roughness"),), SAMPLE),
        ((sampled(),), EVERY),
        ((sampled(),), MODEL),
        ((model_tested(accepted=False),), MODEL),
    ],
)
def test_nothing_else_makes_it_first_quality(ready: Floor, judged: tuple[dict[str, Any], ...], inspect: Any) -> None:
    """No sample, one that was rejected or of something else, or a plan that asks for another way."""
    unhardened(ready, *judged, inspect=inspect)
    (by,) = ready.book.judged("U-1")
    assert ("not_measured", ()) == (by.released_as, by.covered)
    with pytest.raises(RuleStands, match="hardness"):
        release(ready)


def test_a_ball_that_was_measured_stands_for_itself(ready: Floor) -> None:
    """A reading that fails fails, whatever the sample says; so does one by a gauge that may not be used stay in the way."""
    unhardened(ready, sampled())
    ready.say(inspected("U-1", 80, hardness="71"))
    (by,) = ready.book.judged("U-1")
    assert ("does_not_conform", ()) == (by.released_as, by.covered)
    ready.say({"kind": "gauge-faulted", "at": at(79), "gauge": "G-HARDNESS", "reason": "dropped"})
    (by,) = ready.book.judged("U-1")
    assert ("not_measured", ()) == (by.released_as, by.covered)
    with pytest.raises(RuleStands, match="hardness"):
        release(ready)


def test_a_reworked_ball_stands_for_itself(ready: Floor) -> None:
    """Polishing can have changed what the sample showed."""
    unhardened(ready, sampled())
    ready.say({"kind": "rework", "at": at(75), "unit": "U-1", "operation": "polish", "station": "R-1"})
    assert () == ready.book.judged("U-1")[0].covered


def test_an_own_statement_is_judged_with_its_cover(ready: Floor) -> None:
    """A release that comes as a record names what it counts as covered: no less, no more, and nothing that is not."""
    unhardened(ready, sampled())
    (true,) = release_records(ready.book.store, Wanted(["U-1"], "first"), ready.now_ms, OFFICE)
    assert isinstance(true, Release)

    def stated(*covered: str) -> Submission:
        bases = tuple(msgspec.structs.replace(basis, covered=covered) for basis in true.bases)
        return Submission(key=f"own-{len(covered)}", records=(msgspec.structs.replace(true, bases=bases),))

    for covered in ((), ("hardness", "mass")):
        with pytest.raises(RuleStands) as refusal:
            ready.book.submit(stated(*covered), ready.lead).result(30)
        assert "records[0].bases[0].covered" == refusal.value.where
    ready.book.submit(stated("hardness"), ready.lead).result(30)
    assert "first" == ready.book.ball("U-1").grade


def test_the_rule_of_the_house_counts_it_too(ready: Floor) -> None:
    """Where the answer by the house's rule is needed, what is covered is no obstacle to that either."""
    ready.say(policy(house="needed", decision="simple", quantities=[]))
    unhardened(ready, sampled())
    (by,) = ready.book.judged("U-1")
    assert ("not_measured", "conforms") == (by.house, by.house_released_as)
    release(ready)
    assert "first" == ready.book.ball("U-1").grade


def test_a_sample_rejected_after_the_verdict_stops_the_release(ready: Floor) -> None:
    """The line looks again when the release is entered."""
    unhardened(ready, sampled())
    judged = release_records(ready.book.store, Wanted(["U-1"], "first"), ready.now_ms, OFFICE)
    ready.say(sampled(accepted=False, at=at(90)))
    with pytest.raises(RuleStands):
        ready.book.submit(Submission(key="late", records=judged), ready.lead).result(30)


def uncovered(floor: Floor, why: str) -> None:
    """U-1 is not first quality, and the verdict on its hardness says why the sample does not cover it."""
    by, *_ = floor.book.judged("U-1")
    assert ("not_measured", ()) == (by.released_as, by.covered)
    said = [one.reasons[-1] for one in by.verdicts if (one.quantity, one.outcome) == ("hardness", "not_measured")]
    assert all(one.startswith("not by ") and why in one for one in said), said
    with pytest.raises(RuleStands, match="hardness"):
        release(floor)


def test_a_sample_by_the_numbers_of_another_plan_does_not_cover(ready: Floor) -> None:
    """Three of the lot were enough for the plan of that day; the ball's own plan asks for five."""
    ready.say(plan("M1", at=at(40), inspect=SAMPLE))
    ready.say(sampled(at=at(45)))
    five = [*EVERY, {"quantity": "hardness", "every": "sample", "n": 5, "accept": 0, "reject": 1}]
    unhardened(ready, inspect=five)
    uncovered(ready, "3 were looked at, and the plan asks for 5")
    ready.say(sampled(n=5))
    release(ready)


def test_a_sample_before_the_lot_was_finished_does_not_cover(ready: Floor) -> None:
    """Nor before the ball was, by itself; one judged afterwards does."""
    unhardened(ready, sampled())
    ready.say(worked("SL-1", "polished", 62))
    assert () == ready.book.judged("U-1")[0].covered
    with pytest.raises(RuleStands, match="hardness"):
        release(ready)
    ready.say(sampled(at=at(64)))
    assert ("hardness",) == ready.book.judged("U-1")[0].covered
    ready.say({"kind": "unit-worked", "at": at(65), "unit": "U-1", "step": "sanded", "station": "W-1"})
    uncovered(ready, "the ball was worked after the sample was judged")


def test_a_sample_judged_under_another_edition_does_not_cover(ready: Floor) -> None:
    """Where it limits the quantity otherwise: how many did not conform was told by another limit."""
    adopt(ready)
    own = plan("M1", at=at(50), inspect=SAMPLE, rulebooks=["own-limits", "usbc-2026"])
    unhardened(ready, sampled())
    ready.say(own)
    assert ("hardness",) == ready.book.judged("U-1")[0].covered
    adopt(
        ready, OWN.replace(b'edition = "1"', b'edition = "1a"').replace(b"plant standard", b"plant standard 7"), "same"
    )
    assert ("hardness",) == ready.book.judged("U-1")[0].covered
    adopt(ready, STRICTER, "stricter")
    uncovered(ready, "while edition 1 of own-limits was in force, which limits hardness otherwise")
    ready.say(sampled(at=at(66)))
    release(ready)


def test_a_sample_judged_before_a_rulebook_was_adopted_does_not_cover(ready: Floor) -> None:
    """Nobody then asked what it limits."""
    unhardened(ready, sampled())
    adopt(ready)
    ready.say(plan("M1", at=at(50), inspect=SAMPLE, rulebooks=["own-limits", "usbc-2026"]))
    uncovered(ready, "it was judged before own-limits was adopted")
