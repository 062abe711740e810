"""The verdict as it forms: what is typed is judged as if it stood, and nothing of it stays."""

from __future__ import annotations

import itertools

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.application.tentative_verdict import Tentative, judge_tentative
from ledger.errors import MalformedRecord, NotFound, Refused
from ledger.line.inspections import Inspection
from ledger.store.reader import open_reader
from tests.application.floor import GAUGES, GOOD, Floor, at, engraved, gauge_of, inspected, record
from tests.stores import every_row

BALLS = itertools.count(10)
"""A ball for each example: the plant is the same for all."""


def tentative(floor: Floor, fields: dict[str, object]) -> Tentative:
    """The verdict with an inspection that is not said."""
    said = record(fields)
    assert isinstance(said, Inspection)
    return judge_tentative(floor.book.store, said, author=floor.lead.account, now_ms=floor.clock())


def outcomes(judged: object) -> dict[str, str]:
    """Outcome by requirement."""
    return {one.requirement: one.outcome for by in judged for one in by.verdicts}  # type: ignore[attr-defined]  # verdicts


def test_a_typed_reading_is_judged_as_if_it_stood(ready: Floor) -> None:
    """The tentative verdicts are those that the book gives once the same inspection was said."""
    ready.say(engraved("U-1", "P-1"))
    before = tentative(ready, inspected("U-1", 71, **GOOD))
    ready.say(inspected("U-1", 71, **GOOD))

    after = ready.book.judged("U-1")
    assert outcomes(after) == outcomes(before.judged)
    assert [by.outcome for by in after] == [by.outcome for by in before.judged]


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_tentative_is_what_entering_gives(ready: Floor, data: st.DataObject) -> None:
    """Whatever is typed after whatever stands, the verdict as it forms is the one after it was entered, to every figure."""
    unit = f"U-{next(BALLS)}"
    ready.say(engraved(unit, f"P{unit[2:]}"))
    values = {
        "mass": st.sampled_from(["14.9", "15.1", "16.2"]),
        "hardness": st.sampled_from(["71", "72.9", "73.2", "78"]),
        "rg_low": st.sampled_from(["2.45", "2.5"]),
        "circumference": st.sampled_from(["26.6", "26.85", "27.1"]),
    }
    first = data.draw(st.fixed_dictionaries({}, optional=values))
    then = data.draw(st.fixed_dictionaries({}, optional=values).filter(bool))
    if first:
        ready.say(inspected(unit, 71, **first))
    before = tentative(ready, inspected(unit, 72, **then))
    ready.say(inspected(unit, 72, **then))

    def figures(judged: object) -> list[object]:
        return [
            {**msgspec.to_builtins(one), "fact": ""}
            for by in judged  # type: ignore[attr-defined]  # verdicts
            for one in by.verdicts
        ]

    assert figures(ready.book.judged(unit)) == figures(before.judged)


def test_nothing_of_it_is_written(ready: Floor) -> None:
    """The book has the entries and rows that it had."""
    ready.say(engraved("U-1", "P-1"))
    with open_reader(ready.book.store) as reader:
        size = reader.head().size
    rows = every_row(ready.book.store)
    tentative(ready, inspected("U-1", 71, **GOOD))

    with open_reader(ready.book.store) as reader:
        assert size == reader.head().size
    assert rows == every_row(ready.book.store)


def test_a_reading_by_a_gauge_that_may_not_be_used_says_so(ready: Floor) -> None:
    """It is a breach beforehand, and the quantity stays unmeasured."""
    ready.say(engraved("U-1", "P-1"))
    ready.say({"kind": "gauge-faulted", "at": at(60), "gauge": gauge_of("hardness"), "reason": "dropped"})
    found = tentative(ready, inspected("U-1", 80, hardness="75"))

    assert ["gauge-unfit"] == [breach.code for breach in found.breaches]
    assert "not_measured" in outcomes(found.judged).values()


def test_what_the_book_would_refuse_is_refused(ready: Floor) -> None:
    """An implausible value, another unit and a gauge of another quantity are refused with their reasons."""
    ready.say(engraved("U-1", "P-1"))
    wrong = inspected("U-1", mass="15.1")
    with pytest.raises(Refused, match="another quantity"):
        tentative(ready, {**wrong, "readings": [{**wrong["readings"][0], "gauge": gauge_of("hardness")}]})
    with pytest.raises(Refused, match="shows another unit"):
        tentative(ready, {**wrong, "readings": [{**wrong["readings"][0], "unit": "kg", "values": ["6.8"]}]})
    assert GAUGES["mass"] == "lb"


def test_a_ball_that_is_not_there_has_no_verdict(ready: Floor) -> None:
    """An unknown unit is not found, and readings of a lot are no ball's."""
    with pytest.raises(NotFound):
        tentative(ready, inspected("U-404", mass="15.1"))
    fields = {key: value for key, value in inspected("U-1", mass="15.1").items() if key != "unit"}
    with pytest.raises(MalformedRecord):
        tentative(ready, {**fields, "lot": "SL-1"})
