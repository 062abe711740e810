"""How the plant stands, counted."""

from __future__ import annotations

from ledger.application.standing import LimitsSeen, plant_standing
from ledger.store.reader import open_reader
from tests.application.floor import (
    Floor,
    at,
    calibrated,
    claimed,
    cores,
    corrected,
    engraved,
    gauge_of,
    held,
    inspected,
    shells,
)  # fmt: skip


def test_an_empty_plant_stands_still(floor: Floor) -> None:
    """Before the first pour there are no lots, balls, holds or claims, and every gauge is fit."""
    standing = floor.book.standing()
    assert ({}, {}, {}, {}, (), 0, 0, ()) == (
        standing.lots, standing.balls, standing.grades, standing.breaches,
        standing.open_holds, standing.open_claims, standing.claims, standing.gauges_unfit,
    )  # fmt: skip
    assert (11, 8) == (standing.entries, standing.facts["gauge-registered"])


def test_lots_and_balls_are_counted(ready: Floor) -> None:
    """Lots go by stage, balls by state and grade."""
    for number in range(3):
        ready.ball(f"U-{number}", f"P-{number}")
    ready.book.release(["U-0"], "first", "one", ready.lead).result(30)
    ready.book.release(["U-1"], "second", "two", ready.lead).result(30)
    standing = ready.book.standing()
    assert {"batch": 1, "block": 1, "core": 1, "material": 1, "shell": 1} == standing.lots
    assert ({"engraved": 1, "released": 2}, {"first": 1, "second": 1}) == (standing.balls, standing.grades)


def test_open_holds_are_listed_oldest_first(ready: Floor) -> None:
    """Holds by hand and by breach stand in order of opening; lifted ones are gone."""
    early = ready.say(engraved("U-1", "P-1", 50))
    ready.say(
        held("H-2", 102, node="lot:SL-1"), held("H-1", 101, rule={"model": "M1"}), held("H-3", 103, node="unit:U-1")
    )
    ready.say({"kind": "hold-lifted", "at": at(105), "hold": "H-3", "reason": "looked-at"})
    standing = ready.book.standing()
    assert ["H-1", "H-2", f"B{early.addresses[0]}.0"] == [hold.hold for hold in standing.open_holds]
    assert {"final-cure-short": 1} == standing.breaches


def test_claims_are_counted_until_they_are_decided(ready: Floor) -> None:
    """Open and examined claims are open; a decided one is only a claim."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", unit="U-1"), claimed("C-2", unit="U-1"), claimed("C-3", unit="U-1"))
    ready.say({"kind": "claim-examined", "at": at(310), "claim": "C-2", "findings": ["cracked"]})
    ready.say({"kind": "claim-examined", "at": at(310), "claim": "C-3", "findings": ["cracked"]})
    ready.say({"kind": "claim-decided", "at": at(311), "claim": "C-3", "decision": "reject", "reason": "misuse"})
    assert (2, 3) == (ready.book.standing().open_claims, ready.book.standing().claims)


def test_gauges_are_looked_at_now(floor: Floor) -> None:
    """A gauge whose calibration ran out since the last entry is unfit today, and was fit then."""
    floor.say(calibrated("mass", 10, due=1_500))
    floor.now_ms += 600 * 3_600_000
    assert (gauge_of("mass"),) == floor.book.standing().gauges_unfit
    with open_reader(floor.book.store) as reader:
        assert () == plant_standing(reader).gauges_unfit


def test_late_doubtful_and_corrected_facts_are_counted(ready: Floor) -> None:
    """What stands late or doubtful is counted, and no more once it is withdrawn; it is then among the corrected."""
    before = ready.book.standing()
    late = ready.say(engraved("U-1", "P-1", 990))
    doubtful = ready.say(inspected("U-1", 1_001, mass="15.1"))
    after = ready.book.standing()
    assert (1, 1, 0) == (after.late - before.late, after.doubtful - before.doubtful, after.corrected)
    ready.say(corrected({"fact": late.addresses[0]}, {"fact": doubtful.addresses[0]}, hours=999))
    end = ready.book.standing()
    assert (before.late, before.doubtful, 2) == (end.late, end.doubtful, end.corrected)


def test_the_limits_in_force_are_told(floor: Floor) -> None:
    """The defaults, stated by no fact, until the plant sets its own; a station is answered by those."""
    assert LimitsSeen(late_s=3_600, doubtful_s=120, density_cap="3.8", stated="") == floor.book.standing().limits
    floor.stock()
    entered = floor.say({"kind": "plant-rules-set", "at": at(1), "late_s": 7_200, "density_cap": "3.5"})
    expected = LimitsSeen(late_s=7_200, doubtful_s=120, density_cap="3.5", stated=entered.addresses[0])
    assert expected == floor.book.standing().limits


def test_breaches_follow_corrections(floor: Floor) -> None:
    """A breach that a correction took away is counted no more."""
    floor.stock()
    early = floor.say(cores("CL-1", 20, ("BL-1", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 40)))
    assert {"block-rest-short": 1} == floor.book.standing().breaches
    floor.say(corrected({"fact": early.addresses[0], "replacement": cores("CL-1", 30, ("BL-1", 40))}))
    assert ({}, ()) == (floor.book.standing().breaches, floor.book.standing().open_holds)
