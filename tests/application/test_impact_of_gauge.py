"""What changes when a gauge was wrong is what one gets by judging each ball trusted, now, and with the bias taken out."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.application.impact_of_gauge import ImpactOfGauge, impact_of_gauge
from ledger.application.judging import grounds_of, judged_rows
from ledger.conformity.from_rows import facts_from_rows
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.verdict import Verdict, judge_ball, overall
from ledger.errors import MalformedDecimal, MalformedInput, NotFound, TooLarge
from ledger.store.reader import open_reader
from ledger.store.selections import Selected
from tests.application.floor import Floor, at, calibrated, gauge_of, inspected
from tests.application.impacts import changed_units, check_change, check_where, judged_alone, shipped, stocked

BOOK = shipped_rulebooks()["usbc-2026"].rulebook


def gauge_floor(floor: Floor, quantity: str, **found: Any) -> set[str]:
    """Two stretches of balls about a calibration at hour 85 of a quantity's gauge, and at hour 120 it is found wrong.

    Gives the balls that rest on a reading of the second stretch.  Some balls have readings on both sides of an end; one was
    read again with it, one at the instant at which it was found wrong, one by another gauge since.
    """
    stocked(floor)
    floor.say(calibrated(quantity, 85))
    inside = {"U-1", "U-20", "U-21", "U-22"}
    floor.say(inspected("U-1", 86, **{quantity: ODD_VALUE[quantity]}))
    for number, value in enumerate(VALUES[quantity], 20):
        floor.ball(f"U-{number}", f"P-{number}", 86 + number, readings={quantity: value})
    shipped(floor, "SH-9", "U-20", "U-22")
    floor.say(calibrated(quantity, 120, as_found_good=False, **found))
    floor.say(inspected("U-23", 120, **{quantity: VALUES[quantity][3]}))
    floor.say(inspected("U-0", 121, **{quantity: ODD_VALUE[quantity]}))
    other = "roughness" if quantity != "roughness" else "hardness"
    floor.say(inspected("U-21", 122, **{other: "42" if other == "roughness" else "75"}))
    floor.say(inspected("U-24", 123, **{quantity: ODD_VALUE[quantity]}))
    return inside


ODD_VALUE = {"hardness": "73.2", "mass": "15.9", "rg_high": "2.53"}
VALUES = {
    "hardness": ("73", "73.5", "74.5", "72.8", "75"),
    "mass": ("15.9", "16", "16.02", "12.9", "14"),
    "rg_high": ("2.56", "2.565", "2.52", "2.499", "2.55"),
}
BIAS = {"hardness": "1", "mass": "0.05", "rg_high": "0.01"}


def asked(floor: Floor, gauge: str, **named: Any) -> ImpactOfGauge:
    """The answer, with every ball listed."""
    with open_reader(floor.book.store) as reader:
        return impact_of_gauge(reader, gauge, "usbc-2026", **{"listed": 100, **named})


def looked_at(floor: Floor, quantity: str, bias_micro: int) -> dict[str, list[Verdict]]:
    """Every ball judged by itself as if the gauge had not been found wrong, less a bias in what it read."""
    with open_reader(floor.book.store) as reader:

        def look(one: Selected) -> list[Verdict]:
            grounds = grounds_of(reader, [one])
            gauge = gauge_of(quantity)
            good = [row for row in grounds.calibrations.get(gauge, ()) if row.good]
            rows = judged_rows(one, grounds._replace(calibrations={**grounds.calibrations, gauge: good}))
            facts = facts_from_rows(rows, BOOK)
            read = facts.readings.get(quantity)
            if read is not None:
                less = msgspec.structs.replace(read, value_scaled=read.value_scaled - bias_micro)
                facts = msgspec.structs.replace(facts, readings={**facts.readings, quantity: less})
            return judge_ball(BOOK, facts)

        return judged_alone(floor, BOOK, look)


@pytest.mark.parametrize("quantity", ["hardness", "mass", "rg_high"])
def test_counts_equal_a_plain_loop(ready: Floor, quantity: str) -> None:
    """Who is behind the gauge, the three outcomes of each, and where they are, come out as by looking at each ball."""
    inside = gauge_floor(ready, quantity, as_found=BIAS[quantity])
    answer = asked(ready, gauge_of(quantity))
    sides = [looked_at(ready, quantity, 0), judged_alone(ready, BOOK)]
    sides.append(looked_at(ready, quantity, round(float(BIAS[quantity]) * 1_000_000)))
    trusted, now, shifted = ({unit: side[unit] for unit in inside} for side in sides)
    assert (len(inside), BIAS[quantity]) == (answer.balls, answer.bias)
    check_where(ready, answer.where, inside)
    assert answer.shifted
    assert answer.shifted_where
    check_change(answer.now, trusted, now, answer.concerned)
    check_change(answer.shifted, trusted, shifted, answer.concerned)
    by_shift = changed_units(trusted, shifted)
    check_where(ready, answer.shifted_where, by_shift)
    units = [one.ball.unit for one in answer.listed]
    assert by_shift | changed_units(trusted, now) == set(units)
    assert by_shift == set(units[: len(by_shift)])
    assert by_shift
    for one in answer.listed:
        unit = one.ball.unit
        assert (overall(trusted[unit]), overall(now[unit]), overall(shifted[unit])) == (
            one.before, one.now, one.shifted,
        )  # fmt: skip


def test_the_finding_and_the_window_are_named(ready: Floor) -> None:
    """The calibration that found it wrong, the one before it, and from where the bias is known."""
    gauge_floor(ready, "hardness", as_found="1")
    answer = asked(ready, "G-HARDNESS")
    assert answer.found
    assert answer.since
    assert (("calibration", at(120)), ("calibration", at(85))) == (
        (answer.found.kind, answer.found.at), (answer.since.kind, answer.since.at),
    )  # fmt: skip
    assert (f"calibration {answer.found.fact}, as found", ("hardness",)) == (answer.bias_from, answer.concerned)
    given = asked(ready, "G-HARDNESS", bias="0.5", found=answer.found.fact)
    assert ("0.5", "the question", answer.balls) == (given.bias, given.bias_from, given.balls)


def test_without_a_bias_the_book_alone_is_told(ready: Floor) -> None:
    """A calibration that states no bias, and a fault, leave out what it would be with it taken out."""
    gauge_floor(ready, "hardness")
    first = asked(ready, "G-HARDNESS")
    assert ("", msgspec.UNSET, msgspec.UNSET) == (first.bias, first.shifted, first.shifted_where)
    assert 4 == first.now.changed
    ready.say({"kind": "gauge-faulted", "at": at(130), "gauge": "G-HARDNESS", "reason": "bent"})
    fault = asked(ready, "G-HARDNESS")
    assert fault.found
    assert ("fault", {"U-0", "U-23", "U-24"}) == (fault.found.kind, {one.ball.unit for one in fault.listed})


def test_a_failed_check_counts_from_the_calibration_before_it(ready: Floor) -> None:
    """Found wrong on the master and then at its calibration: both reach back to the calibration before the check."""
    stocked(ready)
    check = {"kind": "gauge-checked", "at": at(75), "gauge": "G-HARDNESS", "master": "MA-1", "good": False}
    ready.say(check)
    ready.say(calibrated("hardness", 120, as_found_good=False, as_found="2"))
    whole = asked(ready, "G-HARDNESS")
    assert whole.found
    assert (9, "calibration") == (whole.balls, whole.found.kind)
    with open_reader(ready.book.store) as reader:
        facts = [row.address for row in reader.facts_about("gauge:G-HARDNESS")]
    part = asked(ready, "G-HARDNESS", found=facts[-2])
    assert {"U-0", "U-1", "U-2", "U-3"} == {one.ball.unit for one in part.listed}
    assert part.now.changed == part.balls == 4


def test_a_bias_may_be_supposed(ready: Floor) -> None:
    """Where nothing found the gauge wrong, the shift alone makes the difference."""
    stocked(ready)
    answer = asked(ready, "G-HARDNESS", bias="-1")
    assert (9, msgspec.UNSET, 0) == (answer.balls, answer.found, answer.now.changed)
    assert answer.shifted
    assert {"U-1", "U-2"} == {one.ball.unit for one in answer.listed}
    assert 2 == answer.shifted.transitions["does_not_conform"]["conforms"]


def test_readings_of_lots_are_named(ready: Floor) -> None:
    """A lot with a reading of its own from that time is named beside the balls."""
    reading = {"quantity": "hardness", "unit": "shore_d", "values": ["74"], "gauge": "G-HARDNESS"}
    ready.say({"kind": "inspection", "at": at(60), "lot": "SL-1", "station": "I-1", "readings": [reading]})
    ready.say(calibrated("hardness", 120, as_found_good=False))
    answer = asked(ready, "G-HARDNESS")
    assert (0, ("SL-1",), ()) == (answer.balls, answer.lots, answer.listed)


def test_what_cannot_be_answered_is_refused_with_a_mend(ready: Floor) -> None:
    """An unknown gauge, edition or finding; a gauge that nothing found wrong; a bias that is none; too long a list."""
    for gauge, named, error in (
        ("G-NONE", {}, NotFound),
        ("G-MASS", {}, MalformedInput),
        ("G-MASS", {"found": "3.0"}, NotFound),
        ("G-MASS", {"bias": "0.0000001"}, MalformedDecimal),
        ("G-MASS", {"bias": "1", "listed": 1_001}, TooLarge),
    ):
        with pytest.raises(error) as refused:
            asked(ready, gauge, **named)
        assert refused.value.mend or error in {MalformedDecimal, TooLarge}
    with open_reader(ready.book.store) as reader, pytest.raises(NotFound):
        impact_of_gauge(reader, "G-MASS", "usbc-1066", bias="1")
