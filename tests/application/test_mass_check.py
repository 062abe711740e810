"""Weighed mass against the recipe's: one ball and many, what the records allow, and what is missing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.application.mass_check import CAUTION, MassCheck, MassChecks, mass_check, mass_checks
from ledger.errors import NotFound, TooLarge
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.application.floor import Floor, at, blocks, engraved, inspected
from tests.application.recipes import SIZES, batches, core_lot, revised, shell_lot

PREDICTED = 6780.232688429723
POUND = 453.59237


def check(floor: Floor, unit: str) -> MassCheck:
    """The mass check of one ball."""
    with open_reader(floor.book.store) as reader:
        return mass_check(reader, unit)


def checks(floor: Floor, **asked: Any) -> MassChecks:
    """The mass checks of a selection."""
    with open_reader(floor.book.store) as reader:
        return mass_checks(reader, Selection(**asked))


def weighed(
    floor: Floor, unit: str, mass: str, lot: str = "SL-1", expanded: str | None = "0.02", **fields: int
) -> None:
    """A ball that was weighed, with a stated U."""
    read = inspected(unit, 71, mass=mass)
    if expanded is not None:
        read["readings"][0]["expanded"] = expanded
    floor.say(engraved(unit, f"P-{unit}", lot=lot, **fields), read)


def made(floor: Floor, *sizes: dict[str, object], **densities: str | None) -> Floor:
    """One block, core and shell lot of a model with a construction."""
    revised(floor, *sizes)
    batches(floor, **densities)
    floor.say(blocks("BL-1", 3, 40))
    floor.say(core_lot("CL-1", "BL-1", 40))
    floor.say(shell_lot("SL-1", ("CL-1", 40)))
    return floor


def test_a_ball_weighs_what_its_recipe_says(floor: Floor) -> None:
    """The prediction is that of the sphere by hand; the lots and densities behind it are named."""
    made(floor)
    weighed(floor, "U-1", "14.95")
    found = check(floor, "U-1")
    [by] = found.by_lots
    assert ("agrees", "14.95", "0.02", "lb", ()) == (
        found.outcome, found.weighed, found.expanded, found.mass_unit, found.missing,
    )  # fmt: skip
    assert f"{PREDICTED:.2f}" == by.predicted_g
    assert by.comparison is not None
    assert 14.95 * POUND - PREDICTED == pytest.approx(by.comparison.difference_g)
    assert {"MIX": "2.1", "CORE": "1.05", "RED": "1.18"} == {one.lot: one.value for one in by.densities}
    assert {"0.004"} == {one.expanded for one in by.densities}
    assert ("BL-1", "MIX", "CL-1", "CORE", ("RED",)) == (
        by.block_lot, by.block_batch, by.core_lot, by.core_batch, by.colours,
    )  # fmt: skip
    assert CAUTION == found.caution


def test_a_ball_that_is_too_light_may_have_a_void(floor: Floor) -> None:
    """Out of both uncertainties it disagrees; the sentence says what that can mean, and the caution that it proves nothing."""
    made(floor)
    weighed(floor, "U-1", "14.5")
    found = check(floor, "U-1")
    assert found.by_lots[0].comparison is not None
    assert "disagrees" == found.outcome
    assert (PREDICTED - 14.5 * POUND) / 1.05 == pytest.approx(found.by_lots[0].comparison.void_cm3)
    assert "void" in found.by_lots[0].comparison.sentence
    assert "proves none" in found.caution


def test_both_possible_core_lots_are_given(floor: Floor) -> None:
    """Where the records allow two, a ball that fits one alone is undecided; its place, where recorded, tells them apart."""
    revised(floor)
    batches(floor, HEAVY="1.30")
    floor.say(blocks("BL-1", 3, 80))
    floor.say(core_lot("CL-1", "BL-1", 40), core_lot("CL-2", "BL-1", 40, "HEAVY"))
    floor.say(shell_lot("SL-1", ("CL-1", 20, 1, 20), ("CL-2", 20, 21, 40)), shell_lot("SL-2", ("CL-1", 9), ("CL-2", 9)))
    weighed(floor, "U-1", "14.95", place=3)
    weighed(floor, "U-2", "14.95", place=21)
    weighed(floor, "U-3", "14.95", lot="SL-2")
    weighed(floor, "U-4", "13", lot="SL-2")
    found = [check(floor, unit) for unit in ("U-1", "U-2", "U-3", "U-4")]
    assert ["agrees", "disagrees", "undecided", "disagrees"] == [one.outcome for one in found]
    assert [["CORE"], ["HEAVY"], ["CORE", "HEAVY"]] == [[by.core_batch for by in one.by_lots] for one in found[:3]]
    assert "2 combinations" in found[2].notes[0]
    several = checks(floor, model="M1")
    assert {"disagrees": 2, "undecided": 1, "agrees": 1, "not_predicted": 0} == several.counts
    assert ["U-4", "U-2"] == [one.ball for one in several.worst]
    assert (2, ["U-4"]) == (checks(floor, lot="SL-2").balls, [one.ball for one in checks(floor, lot="SL-2").worst])


def test_what_is_missing_is_said_with_what_to_record(floor: Floor) -> None:
    """No density, one without uncertainty, no weight, no uncertainty of it, a class without construction."""
    fifteen = {name: text for name, text in SIZES.items() if name != "density_expanded"} | {"weight_class": 15}
    made(floor, fifteen, CORE=None)
    weighed(floor, "U-1", "14.95")
    weighed(floor, "U-2", "14.95", expanded=None)
    floor.say(engraved("U-3", "P-3"), engraved("U-4", "P-4", weight_class=14))
    one, two, three, four = (check(floor, f"U-{number}") for number in range(1, 5))
    assert {"not_predicted"} == {found.outcome for found in (one, two, three, four)}
    said = one.by_lots[0].missing
    assert "the density of CORE is not on record: measure it (inspection of lot CORE, component_density" in said[0]
    assert "the density of RED is on record without its uncertainty" in said[1]
    assert "or state density_expanded" in said[2]
    assert "no calibration of G-MASS states one" in two.missing[0]
    assert ("the ball has no reading of mass: weigh it (inspection)",) == three.missing
    assert "revision 2 states no construction of 14 lb: correct it" in four.missing[1]
    several = checks(floor)
    assert (4, 4) == (several.balls, several.counts["not_predicted"])
    assert {said[0]: 3, "the ball has no reading of mass: weigh it (inspection)": 2}.items() <= {
        one.says: one.balls for one in several.missing
    }.items()


def test_an_earlier_revision_has_its_own_construction(ready: Floor) -> None:
    """A ball of revision 1, which states none, is not predicted by revision 2's."""
    ready.say({**revision_2()})
    weighed(ready, "U-1", "14.95")
    [said] = check(ready, "U-1").missing
    assert "M1 revision 1 states no construction" in said


def revision_2() -> dict[str, object]:
    """Revision 2 with a construction."""
    said = {"kind": "model-defined", "at": at(1), "model": "M1", "name": "Model M1", "brand": "Example", "revision": 2}
    return {**said, "gtin": "09521234543213", "core": "symmetric", "construction": [SIZES]}


def test_a_density_that_was_measured_goes_before_one_that_was_stated(floor: Floor) -> None:
    """The reading of a block lot counts for its block, with its own uncertainty and fact."""
    made(floor)
    registered = {"kind": "gauge-registered", "at": at(0), "gauge": "G-DENS", "quantity": "component_density"}
    floor.say({**registered, "unit": "g_ml", "resolution": "0.001"})
    floor.say({"kind": "gauge-calibrated", "at": at(0), "gauge": "G-DENS", "as_found_good": True, "due_at": at(9000)})
    read = {"quantity": "component_density", "unit": "g_ml", "values": ["2.2"], "gauge": "G-DENS", "expanded": "0.01"}
    floor.say({"kind": "inspection", "at": at(50), "lot": "BL-1", "station": "I-1", "readings": [read]})
    weighed(floor, "U-1", "14.95")
    [by] = check(floor, "U-1").by_lots
    assert f"{PREDICTED + 90:.2f}" == by.predicted_g
    assert {"BL-1": ("2.2", "0.01"), "CORE": ("1.05", "0.004"), "RED": ("1.18", "0.004")} == {
        one.lot: (one.value, one.expanded) for one in by.densities
    }


def test_colours_are_mixed_as_they_were_drawn(floor: Floor) -> None:
    """Two colours of one shell count by their kilograms."""
    revised(floor)
    batches(floor, BLUE="1.00")
    floor.say(blocks("BL-1", 3, 40))
    floor.say(core_lot("CL-1", "BL-1", 40))
    colours = [{"colour": "red", "lot": "RED", "kg": "30"}, {"colour": "blue", "lot": "BLUE", "kg": "10"}]
    floor.say(shell_lot("SL-1", ("CL-1", 40), colours=colours))
    weighed(floor, "U-1", "14.95")
    mixture = 1 / (0.75 / 1.18 + 0.25 / 1.00)
    expected = PREDICTED + 2326.3193719105666 * (mixture - 1.18)
    assert f"{expected:.2f}" == check(floor, "U-1").by_lots[0].predicted_g


def test_sizes_that_no_ball_has_are_said(floor: Floor) -> None:
    """A shell thicker than the radius is found when it is asked for."""
    made(floor, {**SIZES, "shell_thickness": "4.5"})
    weighed(floor, "U-1", "14.95")
    assert ("the construction of M1 revision 2 cannot be: shell is thicker than the ball's radius",) == check(
        floor, "U-1"
    ).missing


def test_rework_is_noted(floor: Floor) -> None:
    """A ball that was plugged and weighed again is compared, with what the recipe does not know."""
    made(floor)
    weighed(floor, "U-1", "14.95")
    rework = floor.say({"kind": "rework", "at": at(80), "unit": "U-1", "operation": "plug", "station": "R-1"})
    read = inspected("U-1", 81, mass="14.95")
    read["readings"][0]["expanded"] = "0.02"
    floor.say(read)
    assert f"fact {rework.index}.0" in check(floor, "U-1").notes[0]


def test_the_sizes_are_in_no_answer_but_by_their_consequence(floor: Floor) -> None:
    """Neither the sizes nor the recipe are told; only what they give."""
    sizes = {"diameter": "8.4937", "shell_thickness": "0.7531", "block_volume_cm3": "903.27"}
    made(floor, {**SIZES, **sizes})
    weighed(floor, "U-1", "14.2")
    told = f"{check(floor, 'U-1')!r} {checks(floor)!r} {floor.book.ball('U-1')!r}"
    assert [False] * 3 == [size in told for size in sizes.values()]


def test_an_unknown_ball_and_too_long_a_list_are_refused(floor: Floor) -> None:
    """As anywhere."""
    with pytest.raises(NotFound):
        check(floor, "U-9")
    with open_reader(floor.book.store) as reader, pytest.raises(TooLarge):
        mass_checks(reader, Selection(), listed=101)


def test_no_more_balls_are_looked_at_than_asked(floor: Floor) -> None:
    """The first of a selection in unit order, as everywhere."""
    made(floor)
    for number in range(3):
        weighed(floor, f"U-{number}", "15.000")
    assert [1, 3] == [checks(floor, limit=1).balls, checks(floor).balls]


@settings(max_examples=8, deadline=None)
@given(masses=st.lists(st.integers(14_700, 15_200), min_size=1, max_size=8))
def test_many_come_out_as_one_by_one(tmp_path_factory: pytest.TempPathFactory, masses: list[int]) -> None:
    """The counts and the order of the worst are those of the balls looked at singly."""
    folder: Path = tmp_path_factory.mktemp("masses")
    floor = made(Floor(folder))
    for number, mass in enumerate(masses):
        weighed(floor, f"U-{number}", f"{mass / 1000:.3f}", expanded=("0.02", "0.2")[number % 2])
    single = [check(floor, f"U-{number}") for number in range(len(masses))]
    several = checks(floor)
    floor.book.close()
    assert sum(one.outcome == "disagrees" for one in single) == several.counts["disagrees"]
    assert sum(one.outcome == "agrees" for one in single) == several.counts["agrees"]
    comparisons = {one.ball: one.by_lots[0].comparison for one in single}
    order = [
        (-abs(compared.difference_g) / compared.expanded_g, ball)
        for ball, compared in comparisons.items()
        if compared is not None and not compared.agrees
    ]
    assert [ball for _, ball in sorted(order)] == [one.ball for one in several.worst]
