"""No path to first quality for a failing ball: random plants of people who say whatever they like, by every way in.

Whatever was said, a ball that came to be released at first quality was, by what stood before that entry, one that
conforms, or is barred from some events, or is undecided and was let out by somebody whom the policy in force lets.
And what was read of it since lets no failing ball be sold: the shipment is refused, and once the duties have had their turn
the ball is held.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import msgspec
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.access.tokens import Account
from ledger.application.release_policies import policy_seen
from ledger.application.releasing import Wanted, release_records
from ledger.errors import LedgerError
from ledger.line.inspections import readings_digest
from ledger.line.record import Record
from ledger.line.releases import Release
from ledger.line.submission import Submission
from ledger.store.reader import open_reader
from ledger.store.selections import Selection, select_balls
from tests.application.floor import OFFICE, Floor, at, corrected, inspected, record
from tests.application.late_balls import runner, sold
from tests.application.own_files import doubted, judged_by_own, policy

UNIT = "U-1"
OUTCOMES = ("as it is", "as it is", "conforms", "conforms", "barred", "undecided", "does_not_conform", "not_measured")
PEOPLE = (("quality",), ("quality", "admin"), ("quality", "inspector", "station"))

STEPS = st.one_of(
    st.tuples(st.just("ask"), st.booleans(), st.sampled_from(["first", "second"])),
    st.tuples(st.just("say"), st.booleans(), st.sampled_from(OUTCOMES)),
    st.tuples(st.just("correct"), st.booleans(), st.sampled_from(OUTCOMES)),
    st.tuples(st.just("read"), st.sampled_from(["60", "73", "74", "80"]), st.none()),
    st.tuples(st.just("read-wrong"), st.sampled_from(["60", "74"]), st.none()),
    st.tuples(st.just("lift"), st.sampled_from(["hold-lifted", "concession"]), st.none()),
    st.tuples(st.just("end"), st.sampled_from(["rework", "regrade", "scrap"]), st.none()),
    st.tuples(st.just("work"), st.sampled_from(["sanded", "turned", "pin-marked"]), st.none()),
    st.tuples(st.just("withdraw"), st.none(), st.none()),
    st.tuples(st.just("duties"), st.none(), st.none()),
    st.tuples(
        st.just("policy"), st.sampled_from(["shown", "needed"]), st.sampled_from([(), ("admin",), ("inspector",)])
    ),
)


class Person:
    """Somebody who says things about one ball, and remembers what he said."""

    def __init__(self, floor: Floor, first: str) -> None:
        """``first`` is the fact that read the ball. Three people with the quality role, who wear other hats too."""
        self.floor = floor
        self.people = [floor.book.open_account(" ".join(roles), roles)[0] for roles in PEOPLE]
        self.number = 0
        self.releases: list[str] = []
        self.readings = [first]
        self.ends: list[str] = []
        self.duties = runner(floor)

    def say(self, *records: Record, by: Account) -> Any:
        """Say records; the entry, or None where they were refused."""
        self.number += 1
        try:
            return self.floor.book.submit(Submission(key=f"p-{self.number}", records=records), by).result(30)
        except LedgerError:
            return None

    def stated(self, outcome: str, *, undecided: bool) -> Release:
        """A release at first quality that rests on what stands; of the ball it states what is so, or another outcome."""
        (true,) = release_records(self.floor.book.store, Wanted([UNIT], "second"), self.floor.now_ms, OFFICE)
        assert isinstance(true, Release)
        bases = true.bases
        if outcome != "as it is":
            bases = tuple(
                msgspec.structs.replace(basis, outcome=outcome, house=UNSET if basis.house is UNSET else outcome)
                for basis in bases
            )
        return msgspec.structs.replace(true, grade="first", undecided=undecided, bases=bases)

    def step(self, step: tuple[Any, Any, Any], by: Account) -> None:
        """Do one thing, if the book lets him."""
        what, one, two = step
        done = getattr(self, "_" + what.replace("-", "_"))(one, two, by)
        if done is not None and what in {"ask", "say"}:
            self.releases.append(done.addresses[0])
        if done is not None and what == "read":
            self.readings.append(done.addresses[0])
        if done is not None and what in {"end", "work"}:
            self.ends.append(done.addresses[0])

    def _ask(self, undecided: Any, grade: Any, by: Account) -> Any:
        self.number += 1
        try:
            return self.floor.book.release([UNIT], grade, f"p-{self.number}", by, undecided=undecided).result(30)
        except LedgerError:
            return None

    def _say(self, undecided: Any, outcome: Any, by: Account) -> Any:
        return self.say(self.stated(outcome, undecided=undecided), by=by)

    def _correct(self, undecided: Any, outcome: Any, by: Account) -> Any:
        if not self.releases:
            return None
        replaced = msgspec.to_builtins(self.stated(outcome, undecided=undecided))
        return self.say(record(corrected({"fact": self.releases[-1], "replacement": replaced})), by=by)

    def _read(self, hardness: Any, _two: Any, by: Account) -> Any:
        return self.say(record(inspected(UNIT, 90 + self.number, hardness=hardness)), by=by)

    def _read_wrong(self, hardness: Any, _two: Any, by: Account) -> Any:
        if not self.readings:
            return None
        right = inspected(UNIT, 200, hardness=hardness)
        return self.say(record(corrected({"fact": self.readings[-1], "replacement": right})), by=by)

    def _lift(self, how: Any, _two: Any, by: Account) -> None:
        for hold in (one.hold for one in self.floor.book.ball(UNIT).holds if one.open):
            said = {"kind": how, "at": at(300), "reason": "as-it-is"}
            more = {"hold": hold} if how == "hold-lifted" else {"node": f"unit:{UNIT}", "holds": [hold]}
            self.say(record({**said, **more}), by=by)

    def _end(self, how: Any, _two: Any, by: Account) -> Any:
        more: dict[str, dict[str, Any]] = {
            "rework": {"operation": "plug", "station": "P-1"},
            "regrade": {"grade": "second", "reason": "soft"},
            "scrap": {"how": "scrap", "reason": "soft"},
        }
        return self.say(record({"kind": how, "at": at(80), "unit": UNIT, **more[how]}), by=by)

    def _work(self, step: Any, _two: Any, by: Account) -> Any:
        return self.say(
            record({"kind": "unit-worked", "at": at(85), "unit": UNIT, "step": step, "station": "P-1"}), by=by
        )

    def _withdraw(self, _one: Any, _two: Any, by: Account) -> None:
        if self.ends:
            self.say(record(corrected({"fact": self.ends.pop()})), by=by)

    def _duties(self, _one: Any, _two: Any, _by: Account) -> None:
        self.duties.turn()

    def _policy(self, house: Any, roles: Any, by: Account) -> Any:
        return self.say(record(policy(house=house, undecided_by=list(roles), guard_r="0.5")), by=by)


def fit(floor: Floor, by: Account) -> bool:
    """Whether the ball may be first quality as it stands, if this person lets it out: told from the answers to anyone."""
    with open_reader(floor.book.store) as reader:
        stated = policy_seen(reader)
    outcomes: list[Any] = []
    for judged in floor.book.judged(UNIT):
        outcomes += [judged.outcome, *([judged.house] if stated.house == "needed" else [])]
    let = bool(set(stated.undecided_by) & set(by.roles))
    return len(outcomes) > 0 and all(one in {"conforms", "barred"} or (one == "undecided" and let) for one in outcomes)


def first_and_free(floor: Floor) -> tuple[str, str] | None:
    """The release and the readings of the ball where it could leave as first quality."""
    ball = floor.book.ball(UNIT)
    with open_reader(floor.book.store) as reader:
        (one,) = select_balls(reader.transaction, Selection(unit=UNIT))
        about = [fact.address for fact in reader.facts_about(f"unit:{UNIT}") if isinstance(fact.record, Release)]
        bodies = [fact.body for fact in reader.facts_about(f"unit:{UNIT}") if isinstance(fact.record, Release)]
    if (ball.state, ball.grade) != ("released", "first") or any(hold.open for hold in ball.holds):
        return None
    return f"{about}{bodies}", readings_digest(one.measured)


def fails(floor: Floor) -> bool:
    """Whether the ball does not conform to a body's limit by the readings that stand."""
    return "does_not_conform" in {verdict.outcome for judged in floor.book.judged(UNIT) for verdict in judged.verdicts}


def check_not_sold(floor: Floor, person: Person) -> None:
    """A failing first-quality ball is not sold before the duties have had their turn, and is held after it."""
    if first_and_free(floor) is None or not fails(floor):
        return
    shipped = person.say(record(sold("S-1", UNIT)), by=person.people[2])
    assert shipped is None
    person.duties.turn()
    assert first_and_free(floor) is None


LIE = ("say", False, "conforms")
RELEASE = ("ask", False, "first")
SOFT = (("read", "60", None), 2)
TURN = (("duties", None, None), 0)


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@example(own=False, hardness="60", steps=[(LIE, 0)])
@example(own=False, hardness="60", steps=[(("ask", False, "second"), 0), (("correct", False, "conforms"), 0)])
@example(
    own=False,
    hardness="76",
    steps=[(RELEASE, 0), (("read-wrong", "60", None), 0), (("lift", "concession", None), 1)],
)
@example(
    own=False,
    hardness="76",
    steps=[(RELEASE, 0), (("read-wrong", "60", None), 0), (("lift", "hold-lifted", None), 1)],
)
@example(
    own=False,
    hardness="76",
    steps=[
        (RELEASE, 0),
        (("read-wrong", "60", None), 0),
        (("end", "regrade", None), 0),
        (("lift", "hold-lifted", None), 0),
        (("withdraw", None, None), 0),
        (("lift", "concession", None), 1),
    ],
)
@example(
    own=False,
    hardness="76",
    steps=[(RELEASE, 0), (("end", "scrap", None), 0), (("read", "60", None), 0), (("withdraw", None, None), 0)],
)
@example(own=False, hardness="76", steps=[(RELEASE, 0), SOFT])
@example(own=False, hardness="76", steps=[(RELEASE, 0), SOFT, TURN, (("lift", "hold-lifted", None), 0)])
@example(own=False, hardness="76", steps=[(RELEASE, 0), SOFT, TURN, (("lift", "concession", None), 1)])
@example(
    own=False,
    hardness="76",
    steps=[
        (RELEASE, 0),
        SOFT,
        TURN,
        (("end", "regrade", None), 0),
        (("lift", "hold-lifted", None), 0),
        (("withdraw", None, None), 0),
    ],
)
@example(own=False, hardness="76", steps=[(("work", "sanded", None), 0), (RELEASE, 0)])
@example(own=True, hardness="73.5", steps=[(("policy", "shown", ("admin",)), 0), (("ask", True, "first"), 0)])
@example(own=True, hardness="73.5", steps=[(("policy", "shown", ("admin",)), 0), (("say", True, "as it is"), 0)])
@example(own=True, hardness="73.5", steps=[(("policy", "shown", ("admin",)), 0), (("say", True, "as it is"), 1)])
@example(own=True, hardness="73.5", steps=[(("policy", "needed", ("admin",)), 0), (LIE, 1)])
@given(
    own=st.booleans(),
    hardness=st.sampled_from(["60", "73.5", "76"]),
    steps=st.lists(st.tuples(STEPS, st.integers(0, 2)), min_size=1, max_size=10),
)
def test_no_path_leads_a_failing_ball_to_first_quality(
    own: bool,  # noqa: FBT001  # drawn by name
    hardness: str,
    steps: list[tuple[tuple[Any, Any, Any], int]],
) -> None:
    """After each step: if the ball could not leave as first quality before and now can, it was fit to, by whom let it."""
    with tempfile.TemporaryDirectory() as folder:
        floor = Floor(Path(folder))
        try:
            floor.line()
            if own:
                judged_by_own(floor)
            read = doubted(floor, UNIT, "P-1", hardness, "1")
            person = Person(floor, read)
            for step, who in steps:
                by = person.people[who]
                was, before = fit(floor, by), first_and_free(floor)
                person.step(step, by)
                after = first_and_free(floor)
                # A later reading of a ball that is out by then lets nothing out: what holds it is looked at in the end.
                if after is not None and after != before and step[0] not in {"read", "policy"}:
                    assert was or (step[0] == "lift" and fit(floor, by))
            check_not_sold(floor, person)
        finally:
            floor.book.close()
