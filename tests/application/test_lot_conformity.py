"""A lot judged: the mean of its balls, its components, its model's type test, and the samples that a reading calls for."""

from __future__ import annotations

from statistics import fmean
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.application.lot_conformity import LotConformity, lot_conformity
from ledger.application.lot_readings import lot_readings
from ledger.errors import NotFound
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, engraved, plan, shells
from tests.application.recipes import batches, core_lot, revised, shell_lot
from tests.application.test_covered import model_tested, sampled


def judged(floor: Floor, lot: str = "SL-1", rulebook: str = "usbc-2026") -> LotConformity:
    """A lot judged."""
    with open_reader(floor.book.store) as reader:
        return lot_conformity(reader, lot, rulebook)


def outcomes(answer: LotConformity, requirement: str) -> dict[str, str]:
    """What each thing came out as under one requirement."""
    return {one.of: one.verdict.outcome for one in answer.verdicts if one.verdict.requirement == requirement}


def density(lot: str, value: str, hours: float = 50) -> dict[str, Any]:
    """A reading of the density of a lot."""
    read = {"quantity": "component_density", "unit": "g_ml", "values": [value], "gauge": "G-DENS", "expanded": "0.02"}
    return {"kind": "inspection", "at": at(hours), "lot": lot, "station": "I-1", "readings": [read]}


def densimeter(floor: Floor) -> None:
    """A gauge for densities."""
    said = {"kind": "gauge-registered", "at": at(0), "gauge": "G-DENS", "quantity": "component_density"}
    floor.say({**said, "unit": "g_ml", "resolution": "0.001"})
    floor.say({"kind": "gauge-calibrated", "at": at(0), "gauge": "G-DENS", "as_found_good": True, "due_at": at(9000)})


def test_the_mean_of_a_lot_is_judged(ready: Floor) -> None:
    """Two balls that pass by themselves and a third do not save the mean; a scrapped one counts no more."""
    for number, roughness in enumerate(("64", "60", "20"), 1):
        ready.ball(f"U-{number}", f"P-{number}", readings={"roughness": roughness})
    [mean] = [one for one in judged(ready).verdicts if one.verdict.requirement == "usbc.roughness-mean"]
    assert ("lot SL-1", "conforms", "48") == (mean.of, mean.verdict.outcome, mean.verdict.value)
    ready.say({"kind": "scrap", "at": at(90), "unit": "U-3", "how": "scrap", "reason": "void"})
    answer = judged(ready)
    [mean] = [one for one in answer.verdicts if one.verdict.requirement == "usbc.roughness-mean"]
    assert ("does_not_conform", "62", 3) == (mean.verdict.outcome, mean.verdict.value, answer.balls)
    assert "balls scrapped since, left out: 1" in mean.verdict.reasons
    assert "does_not_conform" == answer.outcome


def test_a_trigger_calls_for_samples_and_fails_nothing(ready: Floor) -> None:
    """A reading at or above 42 uin asks for more balls; below it nothing is called."""
    ready.ball("U-1", "P-1", readings={"roughness": "41"})
    assert () == judged(ready).calls
    ready.ball("U-2", "P-2", readings={"roughness": "42"})
    answer = judged(ready)
    assert {"lot SL-1": "conforms"} == outcomes(answer, "usbc.roughness-more-samples")
    [called] = answer.calls
    assert "42" in called
    assert "8 more balls" in called


def test_components_are_judged_by_their_densities(floor: Floor) -> None:
    """Stated when mixed, read later, or neither; what a ball may not hold is said to be possible."""
    revised(floor)
    batches(floor, MIX="3.9", CORE=None, HEAVY="1.3")
    densimeter(floor)
    floor.say({**mixed_blocks(), "batches": [{"lot": "MIX", "kg": "90"}]})
    floor.say(core_lot("CL-1", "BL-1", 20), core_lot("CL-2", "BL-1", 20, "HEAVY"))
    floor.say(shell_lot("SL-1", ("CL-1", 20), ("CL-2", 20)))
    answer = judged(floor)
    found = outcomes(answer, "usbc.component-density")
    assert {"MIX": "does_not_conform", "CORE": "not_measured", "HEAVY": "conforms", "RED": "conforms"} == found
    said = {one.of: one.verdict.reasons for one in answer.verdicts if one.verdict.quantity == "component_density"}
    possible = "it is possible that a ball of the lot holds none of it"
    assert {"CORE", "HEAVY"} == {name for name, reasons in said.items() if possible in reasons}
    floor.say(density("CORE", "1.1"), density("MIX", "3.7", 51), density("BL-1", "3.9", 52))
    answer = judged(floor)
    assert {"MIX": "conforms", "CORE": "conforms", "BL-1": "does_not_conform"}.items() <= outcomes(
        answer, "usbc.component-density"
    ).items()
    assert [("BL-1", "3.9"), ("CORE", "1.1"), ("MIX", "3.7")] == [(one.lot, one.value) for one in answer.readings]
    assert {"0.01"} == {one.standard_uncertainty for one in answer.readings}
    assert {"MIX": "conforms"} == outcomes(judged(floor, "MIX"), "usbc.component-density")
    assert [("3.9", "")] == [(one.value, one.unusable) for one in floor.book.lot("BL-1").readings]


def mixed_blocks() -> dict[str, Any]:
    """Block lot BL-1."""
    said = {"kind": "blocks-moulded", "lot": "BL-1", "model": "M1", "line": "L-1", "mould_set": "MS-1", "mixer": "MX-1"}
    return {**said, "began_at": at(3), "at": at(3.25), "count": 40}


def test_an_unusable_reading_is_told_and_not_judged(floor: Floor) -> None:
    """Its gauge failed before it: the reading stands in the list with the reason."""
    revised(floor)
    batches(floor)
    densimeter(floor)
    floor.say({"kind": "gauge-faulted", "at": at(49), "gauge": "G-DENS", "reason": "dropped"})
    floor.say(density("CORE", "1.1"))
    answer = judged(floor, "CORE")
    assert {"CORE": "not_measured"} == outcomes(answer, "usbc.component-density")
    assert answer.readings[0].unusable.startswith("G-DENS: ")


@pytest.mark.parametrize(
    ("tests", "outcome"),
    [((), "not_measured"), ((True,), "conforms"), ((True, False), "does_not_conform")],
)
def test_a_type_test_answers_for_its_model(ready: Floor, tests: tuple[bool, ...], outcome: str) -> None:
    """The newest of the lot's revision, as it was judged; none is not measured."""
    ready.say(plan("M1", at=at(50), inspect=[{"quantity": "friction", "every": "model"}]))
    for number, accepted in enumerate(tests):
        ready.say(model_tested(accepted, quantity="friction", at=at(60 + number)))
    ready.ball("U-1", "P-1")
    answer = judged(ready)
    assert {"model M1 revision 1": outcome} == outcomes(answer, "usbc.friction")
    assert list(tests[-1:]) == [one.accepted for one in answer.model_tests]


def test_samples_of_the_lot_are_told(ready: Floor) -> None:
    """Those that cover it, with their counts."""
    ready.say(sampled())
    assert [("hardness", "SL-1", 3, True)] == [
        (one.quantity, one.lot, one.n, one.accepted) for one in judged(ready).samples
    ]


def test_a_lot_without_balls_has_no_mean(ready: Floor) -> None:
    """Nothing was read; what depends on a date that no ball has is not claimed to apply."""
    answer = judged(ready)
    assert (0, {"lot SL-1": "not_measured"}) == (answer.balls, outcomes(answer, "usbc.roughness-mean"))
    assert "not_applicable" != answer.outcome


def test_a_mean_is_of_the_balls_that_the_limit_is_about(ready: Floor) -> None:
    """One ball is lighter than the class that the mean is limited for, and another was not read: both are counted."""
    ready.ball("U-1", "P-1", readings={"roughness": "44"})
    ready.ball("U-2", "P-2", readings={"roughness": "64", "mass": "12.5"})
    ready.say(engraved("U-3", "P-3", 80))
    [mean] = [one.verdict for one in judged(ready).verdicts if one.verdict.requirement == "usbc.roughness-mean"]
    assert ("conforms", "44") == (mean.outcome, mean.value)
    left = "balls that the limit is not, or may not be, about, left out: 1"
    assert {left, "balls without a reading: 1"} <= set(mean.reasons)


def test_a_mean_passes_or_fails_where_each_ball_does_otherwise(ready: Floor) -> None:
    """A rough lot fails though each of its balls passes alone."""
    for number, roughness in enumerate(("44", "58")):
        ready.ball(f"U-{number}", f"P-{number}", readings={"roughness": roughness})
    assert {"lot SL-1": "does_not_conform"} == outcomes(judged(ready), "usbc.roughness-mean")
    alone = [one for number in range(2) for one in ready.book.judged(f"U-{number}")[0].verdicts]
    assert {"conforms"} == {one.outcome for one in alone if one.quantity == "roughness" and one.value is not None}


@pytest.mark.parametrize(("lot", "rulebook"), [("SL-9", "usbc-2026"), ("SL-1", "none")])
def test_an_unknown_lot_or_rulebook_is_not_found(ready: Floor, lot: str, rulebook: str) -> None:
    """As anywhere."""
    with pytest.raises(NotFound):
        judged(ready, lot, rulebook)


def test_a_lot_that_was_not_read_has_no_readings(ready: Floor) -> None:
    """And nothing is asked about gauges."""
    with open_reader(ready.book.store) as reader:
        assert () == lot_readings(reader, ["SL-1"])


@settings(max_examples=8, deadline=None)
@given(values=st.lists(st.integers(20, 64), min_size=1, max_size=6))
def test_the_mean_is_that_of_the_lots_own_balls(tmp_path_factory: pytest.TempPathFactory, values: list[int]) -> None:
    """Balls of another lot count for nothing."""
    floor = Floor(tmp_path_factory.mktemp("means"))
    floor.line(80)
    floor.say(shells("SL-2", 40, ("CL-1", 1)))
    for number, value in enumerate(values):
        floor.ball(f"U-{number}", f"P-{number}", readings={"roughness": str(value)})
    floor.ball("U-X", "P-X", lot="SL-2", readings={"roughness": "64"})
    [mean] = [one.verdict for one in judged(floor).verdicts if one.verdict.requirement == "usbc.roughness-mean"]
    floor.book.close()
    assert mean.value is not None
    assert fmean(values) == pytest.approx(float(mean.value))
    assert ("conforms" if sum(values) <= 50 * len(values) else "does_not_conform") == mean.outcome
