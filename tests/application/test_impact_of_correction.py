"""What a correction changes is what tells a book with it from a book in which it was never said."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.application.impact_of_correction import ImpactOfCorrection, impact_of_correction
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.verdict import overall
from ledger.errors import NotFound, TooLarge
from ledger.store.reader import open_reader
from tests.application.floor import (
    GOOD,
    Floor,
    approval,
    at,
    calibrated,
    corrected,
    engraved,
    held,
    inspected,
    model,
    shells,
)
from tests.application.impacts import changed_units, check_change, check_where, judged_alone, stocked

BOOK = shipped_rulebooks()["usbc-2026"].rulebook


class Twins:
    """Two plants that said the same, but for one correction."""

    def __init__(self, folder: Path) -> None:
        """Both have the stock of `stocked`, a calibration in the midst of it, and three balls more."""
        for name in ("with", "without"):
            (folder / name).mkdir()
        self.corrected, self.plain = (Floor(folder / name) for name in ("with", "without"))
        self.marks: dict[str, str] = {}
        for floor in (self.corrected, self.plain):
            floor.line()
            self._stock(floor)

    def _stock(self, floor: Floor) -> None:
        lot = shells("SL-2", 41, ("CL-2", 5))
        floor.say(_blocks(), _cores())
        self.marks["shells"] = floor.say(lot).addresses[0]
        stocked(floor)
        self.marks["calibration"] = floor.say(calibrated("hardness", 84)).addresses[0]
        for number in (30, 31):
            readings = {"hardness": f"73.{number - 30}", "rg_high": "2.562"}
            self.marks["engraved"], self.marks["read"] = floor.ball(
                f"U-{number}", f"P-{number}", 86, lot="SL-2", readings=readings
            ).addresses
        self.marks["again"] = floor.say(inspected("U-5", 88, hardness="72.5")).addresses[0]
        self.marks["hold"] = floor.say(held("H-1", node="lot:CL-2")).addresses[0]

    def correct(self, *changes: dict[str, Any]) -> str:
        """Say a correction in one of them: its address."""
        return self.corrected.say(corrected(*changes)).addresses[0]

    def later(self, *records: dict[str, Any]) -> None:
        """Say something in both."""
        for floor in (self.corrected, self.plain):
            floor.say(*records)

    def close(self) -> None:
        """Close both books."""
        self.corrected.book.close()
        self.plain.book.close()


def _blocks() -> dict[str, Any]:
    said = {"kind": "blocks-moulded", "lot": "BL-2", "model": "M1", "line": "L-1", "mould_set": "MS-1", "mixer": "MX-1"}
    return {**said, "began_at": at(3), "at": at(3.2), "count": 5, "batches": [{"lot": "MIX", "kg": "9"}]}


def _cores() -> dict[str, Any]:
    said = {"kind": "cores-poured", "lot": "CL-2", "model": "M1", "line": "L-1", "mould_set": "MS-1", "mixer": "MX-1"}
    said |= {"began_at": at(30), "at": at(30.2)}
    return {**said, "count": 5, "blocks": [{"lot": "BL-2", "count": 5}], "batches": [{"lot": "MIX", "kg": "5"}]}


@pytest.fixture
def twins(tmp_path: Path) -> Iterator[Twins]:
    """Two plants that said the same."""
    made = Twins(tmp_path)
    yield made
    made.close()


def asked(twins: Twins, fact: str, **named: Any) -> ImpactOfCorrection:
    """The answer, with every ball listed."""
    with open_reader(twins.corrected.book.store) as reader:
        return impact_of_correction(reader, fact, "usbc-2026", **{"listed": 100, **named})


def check_against_twin(twins: Twins, answer: ImpactOfCorrection, judged: set[str]) -> set[str]:
    """Counts, changed balls and their outcomes are those that tell the two books apart; gives the changed balls."""
    before, after = judged_alone(twins.plain, BOOK), judged_alone(twins.corrected, BOOK)
    assert len(judged) == answer.judged
    sides = [{unit: side[unit] for unit in judged} for side in (before, after)]
    check_change(answer.change, sides[0], sides[1], answer.concerned)
    changed = changed_units(before, after)
    assert changed <= judged
    listed = {one.ball.unit: one for one in answer.listed}
    assert changed == {unit for unit, one in listed.items() if one.changes}
    for unit, one in listed.items():
        assert (overall(before[unit]), overall(after[unit])) == (one.before, one.after)
    return changed


STOCK = {f"U-{number}" for number in range(9)} | {"U-30", "U-31"}


def test_a_reading_said_anew(twins: Twins) -> None:
    """The ball of the reading alone is touched; its reading before and now is told, from whichever entry it stands in."""
    again = inspected("U-31", 87, hardness="72")
    answer = asked(twins, twins.correct({"fact": twins.marks["read"], "replacement": again}))
    assert {"U-31"} == check_against_twin(twins, answer, {"U-31"})
    check_where(twins.corrected, answer.where, {"U-31"})
    hardness = {one.quantity: one for one in answer.listed[0].readings}["hardness"]
    assert hardness.before
    assert hardness.after
    assert (("73.1", "72"), twins.marks["read"]) == (
        (hardness.before.value, hardness.after.value), hardness.after.fact,
    )  # fmt: skip
    assert ("typing", ("inspection", "inspection")) == (
        answer.reason, (answer.facts[0].before, answer.facts[0].after),
    )  # fmt: skip


def test_a_reading_withdrawn_lets_the_one_before_it_stand(twins: Twins) -> None:
    """The older reading stands again; asked by the fact it is the same as asked by its correction."""
    correction = twins.correct({"fact": twins.marks["again"]})
    answer = asked(twins, twins.marks["again"])
    assert {"U-5"} == check_against_twin(twins, answer, {"U-5"})
    assert (correction, "") == (answer.correction, answer.facts[0].after)
    assert answer == asked(twins, correction)


def test_a_reading_moved_to_another_ball(twins: Twins) -> None:
    """Both balls are touched: the one that lost the reading, and the one that got it."""
    answer = asked(
        twins, twins.correct({"fact": twins.marks["again"], "replacement": inspected("U-6", 88, hardness="72.5")})
    )
    assert {"U-5", "U-6"} == check_against_twin(twins, answer, {"U-5", "U-6"})


def test_what_was_said_since_stands_on_both_sides(twins: Twins) -> None:
    """A ball read again since the correction comes out the same with it and without it."""
    again = inspected("U-31", 87, **{**GOOD, "hardness": "72", "rg_high": "2.562"})
    correction = twins.correct({"fact": twins.marks["read"], "replacement": again})
    twins.later(inspected("U-31", 99, hardness="75"))
    assert set() == check_against_twin(twins, asked(twins, correction), {"U-31"})


def test_the_second_correction_of_a_fact_is_against_the_first(twins: Twins) -> None:
    """Each correction of one fact has what stood before it on its other side, the first one what the fact itself said."""
    fact = twins.marks["read"]
    first = twins.correct({"fact": fact, "replacement": inspected("U-31", 87, hardness="72")})
    second = twins.correct({"fact": fact, "replacement": inspected("U-31", 87, hardness="71")})
    values = [
        {one.quantity: one for one in asked(twins, correction).listed[0].readings}["hardness"]
        for correction in (first, second, fact)
    ]
    assert [("73.1", "71"), ("72", "71"), ("72", "71")] == [
        (one.before.value, one.after.value) for one in values if one.before and one.after
    ]


def test_a_calibration_found_to_have_failed(twins: Twins) -> None:
    """Every ball that the gauge read is judged, and those come out otherwise whose reading is of its time."""
    wrong = calibrated("hardness", 84, as_found_good=False)
    answer = asked(twins, twins.correct({"fact": twins.marks["calibration"], "replacement": wrong}))
    changed = check_against_twin(twins, answer, STOCK)
    assert {"U-0", "U-8"} <= changed < STOCK
    assert (("hardness",), len(STOCK)) == (answer.concerned, answer.balls)
    check_where(twins.corrected, answer.where, STOCK)


def test_a_calibration_at_another_time(twins: Twins) -> None:
    """The stretches between calibrations are others before and after, and each side is judged by its own."""
    twins.later(calibrated("hardness", 110, as_found_good=False))
    moved = calibrated("hardness", 73.5)
    answer = asked(twins, twins.correct({"fact": twins.marks["calibration"], "replacement": moved}))
    changed = check_against_twin(twins, answer, STOCK)
    assert {"U-3", "U-7"} <= changed
    assert not {"U-0", "U-31"} & changed


def test_shells_of_another_model(twins: Twins) -> None:
    """All balls of the shell lot are judged by the approval that the other model has not got; no other ball is touched."""
    twins.later(model("M2", "09521234543220"))
    other = {**shells("SL-2", 41, ("CL-2", 5)), "model": "M2"}
    answer = asked(twins, twins.correct({"fact": twins.marks["shells"], "replacement": other}))
    assert {"U-30", "U-31"} == check_against_twin(twins, answer, {"U-30", "U-31"})
    assert (2, 2) == (answer.balls, answer.certainties["certain"])


def test_an_approval_at_another_date(twins: Twins) -> None:
    """Every ball of the model is judged anew."""
    with open_reader(twins.corrected.book.store) as reader:
        facts = reader.facts_about("model:M1")
    address = next(fact.address for fact in facts if type(fact.record).__name__ == "ApprovalEntered")
    later = approval("M1", from_on="2026-12-01")
    answer = asked(twins, twins.correct({"fact": address, "replacement": later}))
    assert check_against_twin(twins, answer, STOCK)


def test_an_engraving_on_another_day(twins: Twins) -> None:
    """The day of making before and now is told."""
    moved = engraved("U-31", "P-31", 60, lot="SL-2")
    answer = asked(twins, twins.correct({"fact": twins.marks["engraved"], "replacement": moved}))
    check_against_twin(twins, answer, {"U-31"})
    assert (at(86)[:10], at(60)[:10]) == answer.listed[0].dates


def test_a_fact_of_the_drum_touches_all_below_and_judges_none(twins: Twins) -> None:
    """No limit rests on a drum: the balls below it are counted with their states, and no verdict is asked."""
    with open_reader(twins.corrected.book.store) as reader:
        drum = reader.facts_about("lot:DRUM")[0].address
    said = {"kind": "material-received", "at": at(1), "lot": "DRUM", "material": "resin", "kg": "490"}
    answer = asked(twins, twins.correct({"fact": drum, "replacement": {**said, "supplier": "Other"}}))
    assert set() == check_against_twin(twins, answer, set())
    assert (len(STOCK), {"certain": len(STOCK)}) == (answer.balls, answer.certainties)
    check_where(twins.corrected, answer.where, STOCK)


def test_cores_of_another_block_lot_touch_what_was_and_what_is_below(twins: Twins) -> None:
    """Withdrawing or replacing a pour touches the balls of the lot that it made, and not those of its sources."""
    with open_reader(twins.corrected.book.store) as reader:
        cores = reader.facts_about("lot:CL-2")[0].address
    moved = {**_cores(), "blocks": [{"lot": "BL-1", "count": 5}]}
    answer = asked(twins, twins.correct({"fact": cores, "replacement": moved}))
    assert (2, {"certain": 2}) == (answer.balls, answer.certainties)
    assert {"over-drawn"} == {one.code for one in answer.breaches}
    assert all(one.hold and one.hold_open for one in answer.breaches)


def test_a_hold_touches_what_it_takes_in(twins: Twins) -> None:
    """A hold withdrawn, on a node or by rule, touches the balls below; none is judged."""
    answer = asked(twins, twins.correct({"fact": twins.marks["hold"]}))
    assert (2, 0) == (answer.balls, answer.judged)
    rule = twins.corrected.say(held("H-2", rule={"stage": "shell", "serial_prefix": "P-3"})).addresses[0]
    answer = asked(twins, twins.correct({"fact": rule}))
    assert 3 == answer.balls  # P-3, P-30 and P-31
    check_where(twins.corrected, answer.where, {"U-3", "U-30", "U-31"})


def test_a_release_on_other_readings_is_told(twins: Twins) -> None:
    """A released ball whose readings a correction changed is counted, and the hold that this opened is named."""
    twins.corrected.book.release(["U-0"], "first", "release-1", twins.corrected.lead).result(30)
    with open_reader(twins.corrected.book.store) as reader:
        read = next(
            fact.address for fact in reader.facts_about("unit:U-0") if type(fact.record).__name__ == "Inspection"
        )
    answer = asked(twins, twins.correct({"fact": read, "replacement": inspected("U-0", 71, hardness="72")}))
    assert (1, True) == (answer.unfounded, bool(answer.listed[0].release))
    assert [("release-unfounded", "unit:U-0", True)] == [(one.code, one.node, one.hold_open) for one in answer.breaches]


def test_what_cannot_be_answered_is_refused_with_a_mend(twins: Twins) -> None:
    """A fact that is not there, one that was never corrected, a correction that touches no ball, too long a list."""
    gauge = {"kind": "gauge-registered", "at": at(0), "gauge": "G-NEW", "quantity": "mass", "unit": "lb"}
    unused = twins.corrected.say({**gauge, "resolution": "0.01"}).addresses[0]
    nothing = twins.correct({"fact": unused, "replacement": {**gauge, "resolution": "0.02"}})
    for fact in ("99999.0", twins.marks["read"], nothing):
        with pytest.raises(NotFound) as refused:
            asked(twins, fact)
        assert ("fact", True) == (refused.value.where, bool(refused.value.mend))
    with pytest.raises(TooLarge):
        asked(twins, nothing, listed=1_001)
