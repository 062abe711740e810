"""Releases said as records: what they state is checked against the ball, and who says them against the policy named."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.access.tokens import Account
from ledger.application.releasing import Wanted, release_records
from ledger.application.said_first import is_looked_at
from ledger.errors import Forbidden, KeyReused, LedgerError, RuleStands, UnknownSubject
from ledger.line.releases import Release
from ledger.line.submission import Submission
from tests.application.floor import OFFICE, Floor, approval, at, corrected, engraved, inspected, record
from tests.application.own_files import doubted, judged_by_own, state_policy
from tests.plant import said


def judged(floor: Floor, grade: Any = "first", *, undecided: bool = False, unit: str = "U-1") -> Release:
    """The release that the service would say of a ball."""
    (one,) = release_records(floor.book.store, Wanted([unit], grade, undecided), floor.now_ms, OFFICE)
    assert isinstance(one, Release)
    return one


def lying(release: Release, outcome: Any = "conforms", house: Any = None) -> Release:
    """The same at first quality, with another outcome stated."""
    bases = tuple(
        msgspec.structs.replace(basis, outcome=outcome, house=basis.house if house is None else house)
        for basis in release.bases
    )
    return msgspec.structs.replace(release, grade="first", bases=bases)


def say(floor: Floor, *records: Any, key: str = "said", account: Account | None = None) -> Any:
    """Say records by the general way in; the entry."""
    return floor.book.submit(Submission(key=key, records=records), account or floor.lead).result(30)


def refused(floor: Floor, *records: Any, account: Account | None = None) -> LedgerError:
    """What refuses records; nothing is entered."""
    before = floor.book.standing().entries
    with pytest.raises(LedgerError) as caught:
        say(floor, *records, key="refused", account=account)
    assert (before, True) == (floor.book.standing().entries, bool(caught.value.mend))
    return caught.value


def person(floor: Floor, *roles: str) -> Account:
    """An account with these roles."""
    return floor.book.open_account("Somebody", roles)[0]


def test_a_release_that_states_what_is_so_is_entered(ready: Floor) -> None:
    """As the service would have said it."""
    ready.ball("U-1", "P-1")
    say(ready, judged(ready))
    assert "first" == ready.book.ball("U-1").grade


def test_a_release_that_states_another_outcome_is_refused(ready: Floor) -> None:
    """A failing ball does not become first quality by being called conforming: not alone, nor by a correction."""
    ready.ball("U-1", "P-1", readings={"hardness": "71.5"})
    second = judged(ready, "second")
    error = refused(ready, lying(second))
    assert (RuleStands, "records[0].bases[0].outcome", "does_not_conform", "conforms") == (
        type(error), error.where, error.expected, error.got,
    )  # fmt: skip
    entered = say(ready, second)
    replaced = {"fact": entered.addresses[0], "replacement": msgspec.to_builtins(lying(second))}
    error = refused(ready, record(corrected(replaced)))
    assert "records[0].changes[0].replacement.bases[0].outcome" == error.where
    assert "second" == ready.book.ball("U-1").grade


def test_a_lower_grade_is_not_looked_into(ready: Floor) -> None:
    """Nothing hangs on what it states."""
    ready.ball("U-1", "P-1", readings={"hardness": "71.5"})
    say(ready, msgspec.structs.replace(lying(judged(ready, "second")), grade="second"))
    assert "second" == ready.book.ball("U-1").grade


def test_a_ball_that_nothing_here_judges_is_not_first(ready: Floor) -> None:
    """An edition whose file is not here, or that bears another name than the one stated."""
    ready.ball("U-1", "P-1")
    one = judged(ready)
    for basis in ({"digest": "e" * 64}, {"rulebook": "pba"}):
        changed = msgspec.structs.replace(one, bases=(msgspec.structs.replace(one.bases[0], **basis),))
        error = refused(ready, changed)
        assert ("records[0].bases[0].digest", True) == (error.where, "POST /rulebooks" in error.mend)


def test_a_release_at_first_quality_stands_apart(ready: Floor) -> None:
    """What was judged stood before its entry: with anything but releases before it it is refused, in a correction too."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    ready.say(approval("M1", at=at(75)))
    one, two = judged(ready), judged(ready, unit="U-2")
    error = refused(ready, record(approval("M1", at=at(76))), one)
    assert ("records[1]", True) == (error.where, "enter the other records first" in error.mend)
    error = refused(ready, record(engraved("U-9", "P-9")), msgspec.structs.replace(one, unit="U-9"))
    assert "records[1]" == error.where
    say(ready, one, two)
    entered = ready.book.ball("U-1").release or ""
    changes = [
        {"fact": entered, "replacement": msgspec.to_builtins(one)},
        {"fact": "2.2", "replacement": approval("M1")},
    ]
    assert "records[0].changes[0].replacement" == refused(ready, record(corrected(*changes))).where


def test_an_unknown_ball_or_another_reading_is_refused(ready: Floor) -> None:
    """Before it is queued, with the same words as the line's."""
    ready.ball("U-1", "P-1")
    one = judged(ready)
    error = refused(ready, msgspec.structs.replace(one, unit="U-9"))
    assert (UnknownSubject, "records[0].unit") == (type(error), error.where)
    ready.say(inspected("U-1", 80, hardness="75"))
    assert "records[0].readings" == refused(ready, one).where


def test_a_key_that_was_used_is_answered_from_the_book(ready: Floor) -> None:
    """Though nothing of it could be said again now; something else under that key is refused by the writer."""
    ready.ball("U-1", "P-1")
    one = judged(ready)
    first = say(ready, one)
    ready.say(inspected("U-1", 80, hardness="60"))
    again = say(ready, one)
    assert (first.index, True) == (again.index, again.repeated)
    with pytest.raises(KeyReused):
        say(ready, lying(one, "barred"))


def test_an_undecided_ball_goes_by_a_role_that_the_policy_names(ready: Floor) -> None:
    """By either way in: an account without the role is forbidden it, one with it may."""
    judged_by_own(ready)
    doubted(ready, "U-1", "P-1")
    state_policy(ready, undecided_by=["admin"])
    quality, both = person(ready, "quality"), person(ready, "quality", "admin")
    one = judged(ready, undecided=True)
    assert one.undecided
    error = refused(ready, one, account=quality)
    assert (Forbidden, "records[0].undecided", "admin") == (type(error), error.where, error.expected)
    with pytest.raises(Forbidden) as caught:
        ready.book.release(["U-1"], "first", "release", quality, undecided=True)
    assert "units[0]" == caught.value.where
    with pytest.raises(RuleStands, match="own-limits: hardness") as stands:
        ready.book.release(["U-1"], "first", "release", both)
    assert "undecided: true by an account that has the role admin" in stands.value.mend
    entered = ready.book.release(["U-1"], "first", "release", both, undecided=True).result(30)
    (record_said,) = ready.book.entry(entered.index).entry["said"]["records"]
    assert (True, "undecided") == (record_said["undecided"], record_said["bases"][1]["outcome"])
    assert "first" == ready.book.ball("U-1").grade
    again = ready.book.release(["U-1"], "first", "release", both, undecided=True).result(30)
    assert again.repeated
    with pytest.raises(KeyReused):
        ready.book.release(["U-1"], "first", "release", both)


def test_a_permission_ends_with_its_policy(ready: Floor) -> None:
    """A release that a role was let say under one policy is refused by the line under the next, in either order of words."""
    judged_by_own(ready)
    doubted(ready, "U-1", "P-1")
    state_policy(ready, undecided_by=["quality"])
    one = judged(ready, undecided=True)
    state_policy(ready, undecided_by=["admin"])
    error = refused(ready, one, account=person(ready, "quality"))
    assert (RuleStands, "records[0].policy") == (type(error), error.where)
    later = judged(ready, undecided=True)
    assert Forbidden is type(refused(ready, later, account=person(ready, "quality")))
    # Naming the policy that would have let him is of no use.
    named = msgspec.structs.replace(later, policy=one.policy)
    assert "records[0].policy" == refused(ready, named, account=person(ready, "quality")).where


def test_a_correction_lets_no_undecided_ball_out(ready: Floor) -> None:
    """It would revive the policy of its entry; withdrawn, the ball is released by the one in force."""
    judged_by_own(ready)
    doubted(ready, "U-1", "P-1")
    state_policy(ready, undecided_by=["quality"])
    second = judged(ready, "second")
    entered = say(ready, second)
    as_first = msgspec.structs.replace(second, grade="first", undecided=True)
    state_policy(ready, undecided_by=["admin"])
    replaced = {"fact": entered.addresses[0], "replacement": msgspec.to_builtins(as_first)}
    error = refused(ready, record(corrected(replaced)))
    assert ("records[0].changes[0].replacement.undecided", True) == (error.where, "withdraw" in error.mend)
    ready.say(corrected({"fact": entered.addresses[0]}))
    say(ready, judged(ready, undecided=True), key="anew")
    assert "first" == ready.book.ball("U-1").grade


def test_without_a_policy_nobody_releases_an_undecided_ball(ready: Floor) -> None:
    """Whatever his roles."""
    judged_by_own(ready)
    doubted(ready, "U-1", "P-1")
    with pytest.raises(RuleStands, match="own-limits: hardness"):
        ready.book.release(["U-1"], "first", "release", ready.lead, undecided=True)
    one = judged(ready, "second")
    error = refused(ready, msgspec.structs.replace(one, grade="first", undecided=True))
    assert ("records[0].undecided", True) == (error.where, "a release policy" in str(error.expected))


def test_the_rule_of_the_house_may_be_needed(ready: Floor) -> None:
    """A ball inside the limit by less than the guard band: shown, it goes; needed, it takes the word and the role."""
    doubted(ready, "U-1", "P-1")
    doubted(ready, "U-2", "P-2")
    doubted(ready, "U-3", "P-3")
    state_policy(ready)
    ready.book.release(["U-1"], "first", "one", ready.lead).result(30)
    state_policy(ready, house="needed")
    with pytest.raises(
        RuleStands, match="P-2 cannot be first quality under usbc-2026 by the rule of the house"
    ) as caught:
        ready.book.release(["U-2"], "first", "two", ready.lead, undecided=True)
    assert "undecided: true" not in caught.value.mend
    error = refused(ready, lying(judged(ready, "second", unit="U-2"), house="conforms"))
    assert ("records[0].bases[0].house", "undecided") == (error.where, error.expected)
    state_policy(ready, house="needed", undecided_by=["quality"])
    ready.book.release(["U-2", "U-3"], "first", "three", ready.lead, undecided=True).result(30)
    assert ["first"] * 3 == [ready.book.ball(unit).grade for unit in ("U-1", "U-2", "U-3")]


def _unfounded(floor: Floor, hardness: str) -> str:
    """A released ball whose hardness turns out to be another; the hold that the correction put on it."""
    entered = floor.ball("U-1", "P-1")
    floor.book.release(["U-1"], "first", "release", floor.lead).result(30)
    instead = inspected("U-1", 71, hardness=hardness)
    fixed = floor.say(corrected({"fact": entered.addresses[1], "replacement": instead}))
    return f"B{fixed.addresses[0]}.0"


@pytest.mark.parametrize("how", ["hold-lifted", "concession"])
def test_no_concession_keeps_a_failing_ball_first(ready: Floor, how: str) -> None:
    """The hold of a release whose readings were corrected is lifted once the ball has a grade that fits it."""
    hold = _unfounded(ready, "60")
    lifts: dict[str, dict[str, Any]] = {
        "hold-lifted": {"kind": how, "at": at(210), "hold": hold, "reason": "as-it-is"},
        "concession": {"kind": how, "at": at(210), "node": "unit:U-1", "holds": [hold], "reason": "as-it-is"},
    }
    error = refused(ready, record(lifts[how]))
    assert ("records[0]", True) == (error.where, "regrade" in error.mend)
    ready.say({"kind": "regrade", "at": at(211), "unit": "U-1", "grade": "second", "reason": "soft"})
    ready.say(lifts[how])
    assert () == tuple(one for one in ready.book.ball("U-1").holds if one.open)


def test_a_hold_is_lifted_where_the_ball_still_conforms(ready: Floor) -> None:
    """All limits measured and met by the readings that stand now."""
    hold = _unfounded(ready, "75")
    missing = inspected("U-1", 71, **{name: value for name, value in _GOOD.items() if name != "hardness"})
    lift = {"kind": "hold-lifted", "at": at(210), "hold": hold, "reason": "judged-again"}
    assert "records[0]" == refused(ready, record(lift)).where
    ready.say(missing)
    ready.say(lift)
    assert () == tuple(one for one in ready.book.ball("U-1").holds if one.open)


_GOOD = {
    "mass": "15.1", "circumference": "26.85", "out_of_round": "0.004", "roughness": "40", "rg_low": "2.5",
    "rg_high": "2.54", "top_weight": "3",
}  # fmt: skip


def test_most_records_are_let_through_unlooked_at(ready: Floor) -> None:
    """An engraving with readings asks nothing of the store; releases, lifts and corrections do."""
    assert not is_looked_at(said("x", engraved("U-1", "P-1"), inspected("U-1", mass="15")).records)
    assert is_looked_at(said("x", engraved("U-1", "P-1"), corrected({"fact": "1.0"})).records)
