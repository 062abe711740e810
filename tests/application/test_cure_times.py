"""Cure and rest times of a ball, each against the plan in force when the step that ended it began."""

from __future__ import annotations

from ledger.application.cure_times import CureTime
from tests.application.floor import DAY_S, Floor, at, cores, engraved, plan, shells, worked


def cures(floor: Floor, unit: str = "U-1", stage: str = "final-cure") -> list[CureTime]:
    """The cures of a stage."""
    return [cure for cure in floor.book.ball(unit).cures if cure.stage == stage]


def spans(floor: Floor, unit: str = "U-1") -> list[tuple[str, str, str, bool]]:
    """Lot, beginning, end and certainty of the final cures."""
    return [(cure.lot, cure.began_at, cure.ended_at, cure.certain) for cure in cures(floor, unit)]


def split(lot: str, into: str, count: int, hours: float) -> dict[str, object]:
    """Pieces that go on as a lot of their own."""
    return {"kind": "lot-split", "at": at(hours), "lot": lot, "into": into, "count": count}


def merged(into: str, hours: float, **parts: int) -> dict[str, object]:
    """Lots that go on as one; an underscore stands for a hyphen."""
    lots = [{"lot": lot.replace("_", "-"), "count": count} for lot, count in parts.items()]
    return {"kind": "lots-merged", "at": at(hours), "into": into, "lots": lots}


def test_every_stage_of_a_ball_is_timed(ready: Floor) -> None:
    """A ball's stages are told in order of time, elapsed to the second, with the window where the plan sets one."""
    ready.ball("U-1", "P-1")
    told = [(cure.stage, cure.elapsed_s, cure.least_s, cure.most_s, cure.kept, cure.margin_s)
            for cure in ready.book.ball("U-1").cures]  # fmt: skip
    assert [
        ("block-demould", 900, 300, None, True, 600),
        ("block-rest", 26.75 * 3_600, DAY_S, None, True, 2.75 * 3_600),
        ("core-demould", 900, None, None, None, None),
        ("core-rest", 9.75 * 3_600, 4 * 3_600, None, True, 5.75 * 3_600),
        ("shell-demould", 900, None, None, None, None),
        ("final-cure", 29.75 * 3_600, DAY_S, 30 * DAY_S, True, 5.75 * 3_600),
    ] == told


def test_a_window_that_was_not_kept_has_a_negative_margin(floor: Floor) -> None:
    """Blocks poured an hour too early fell short by an hour."""
    floor.stock()
    floor.say(cores("CL-1", 26.25, ("BL-1", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 40)))
    floor.say(engraved("U-1", "P-1"))
    (rest,) = cures(floor, stage="block-rest")
    assert (False, -3_600, True) == (rest.kept, rest.margin_s, rest.certain)


def test_the_nearer_end_of_a_window_gives_the_margin(ready: Floor) -> None:
    """A final cure that went on too long is outside by what it went over."""
    ready.say(engraved("U-1", "P-1", 40.25 + 31 * 24))
    (cure,) = cures(ready)
    assert (False, -DAY_S) == (cure.kept, cure.margin_s)


def test_the_final_cure_ends_at_the_first_step_that_needs_it(ready: Floor) -> None:
    """Pin filling or turning of the lot ends it, and not the engraving that came later; drilling does not."""
    ready.say(worked("SL-1", "hole-drilled", 42), worked("SL-1", "turned", 66), worked("SL-1", "pin-filled", 65))
    ready.say(engraved("U-1", "P-1", 70))
    assert [("SL-1", at(40.25), at(65), True)] == spans(ready)


def test_the_final_cure_ends_at_the_turning_of_the_ball(ready: Floor) -> None:
    """A ball that went on the lathe by itself ended its cure there."""
    ready.say({"kind": "unit-started", "at": at(68), "unit": "U-1", "lot": "SL-1", "station": "W-1"})
    ready.say(engraved("U-1", "P-1", 70))
    assert [("SL-1", at(40.25), at(68), True)] == spans(ready)


def test_steps_of_the_first_lot_after_a_split_do_not_concern_the_second(ready: Floor) -> None:
    """Each part of a split lot has its own turning; what was done before the split was done to both."""
    ready.say(split("SL-1", "SL-2", 10, 50))
    ready.say(worked("SL-1", "turned", 55), worked("SL-2", "turned", 66))
    ready.say(engraved("U-1", "P-1", 70), engraved("U-2", "P-2", 70, lot="SL-2"))
    assert [("SL-1", at(40.25), at(55), True)] == spans(ready)
    assert [("SL-1", at(40.25), at(66), True)] == spans(ready, "U-2")
    ready.say(split("SL-2", "SL-3", 5, 68))
    ready.say(engraved("U-3", "P-3", 70, lot="SL-3"))
    assert [("SL-1", at(40.25), at(66), True)] == spans(ready, "U-3")


def test_each_part_of_a_merged_lot_has_its_own_cure(floor: Floor) -> None:
    """A ball of a merged lot was poured in one lot or another, and each one's cure is told as possible."""
    floor.stock()
    floor.say(cores("CL-1", 30, ("BL-1", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 20)), shells("SL-2", 50, ("CL-1", 20)))
    floor.say(worked("SL-1", "turned", 66))
    floor.say(merged("SL-M", 67, SL_1=20, SL_2=20))
    floor.say(worked("SL-M", "pin-filled", 68))
    floor.say(engraved("U-1", "P-1", 70, lot="SL-M"))
    assert [("SL-1", at(40.25), at(66), False), ("SL-2", at(50.25), at(68), False)] == spans(floor)
    assert [True, False] == [cure.kept for cure in cures(floor)]


def test_a_lot_split_and_merged_again_is_timed_once(ready: Floor) -> None:
    """Where several ways lead to the lot that was poured, the earliest step counts."""
    ready.say(split("SL-1", "SL-2", 20, 50))
    ready.say(worked("SL-1", "turned", 66), worked("SL-2", "turned", 67))
    ready.say(merged("SL-M", 68, SL_1=20, SL_2=20))
    ready.say(engraved("U-1", "P-1", 70, lot="SL-M"))
    assert [("SL-1", at(40.25), at(66), True)] == spans(ready)
    demoulds = [cure.lot for cure in ready.book.ball("U-1").cures if cure.stage == "shell-demould"]
    assert ["SL-1"] == demoulds


def test_the_plan_in_force_when_the_step_began_counts(ready: Floor) -> None:
    """A plan that came between pour and engraving judges the final cure, and not what had been done before it."""
    longer = [{"stage": "block-rest", "min_s": 7 * DAY_S}, {"stage": "final-cure", "min_s": 2 * DAY_S}]
    ready.say(plan("M1", at=at(60), windows=longer))
    ready.say(engraved("U-1", "P-1"))
    assert [(DAY_S, True)] == [(cure.least_s, cure.kept) for cure in cures(ready, stage="block-rest")]
    assert [(2 * DAY_S, False)] == [(cure.least_s, cure.kept) for cure in cures(ready)]


def test_no_plan_means_no_judgement(ready: Floor) -> None:
    """A stage for which the plan sets no window was neither kept nor broken."""
    ready.say(plan("M1", at=at(60), windows=[]))
    ready.say(engraved("U-1", "P-1"))
    assert [(None, None, None)] == [(cure.least_s, cure.kept, cure.margin_s) for cure in cures(ready)]
