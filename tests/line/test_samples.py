"""Judged samples of lots and of models, and the balls that they cover."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.lot_changes import LotsMerged, LotSplit, PartOfLot
from ledger.line.lots import left_of
from ledger.line.process_plan import Inspect
from ledger.line.record import Record
from ledger.line.releases import Release, Rework
from ledger.line.rows import Descent, Lot, LotStep, ModelJudged, SampleJudged
from ledger.line.sample_cover import Cover, goes_on_from, sample_cover
from tests.line.independent_fold import check_views
from tests.line.making import (
    at,
    blocks,
    cores,
    engrave,
    inspection,
    model,
    plan,
    reading,
    release,
    sample,
    shells,
    stocked_plant,
    type_test,
)
from tests.line.plant import Plant
from tests.line.test_corrections import correction

ONCE = (
    Inspect(quantity="mass", every="unit"),
    Inspect(quantity="hardness", every="model", n=5, accept=1, reject=2),
)
TESTED = "7.0"
"""The plan of `plant_with_type_test` that asks for the hardness once per model."""


def plant_with_type_test() -> Plant:
    """A plant whose plan asks for the hardness once per model, with one ball weighed."""
    plant = stocked_plant()
    plant.submit(plan(at=at(2), inspect=ONCE))
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"))
    return plant


def released(plant: Plant, unit: str = "U-1", **fields: Any) -> Release:
    """A release of a ball by the plan that asks for a type test."""
    return release(plant, unit, plan=TESTED, **fields)


def split(lot: str, into: str, count: int = 4) -> LotSplit:
    """Pieces of a lot that go on by themselves."""
    return LotSplit(at=at(8), lot=lot, into=into, count=count)


def merged(into: str, *lots: str, count: int = 2) -> LotsMerged:
    """Pieces of each lot that become one."""
    return LotsMerged(at=at(8), lots=tuple(PartOfLot(lot=lot, count=count) for lot in lots), into=into)


def covered(plant: Plant, lot: str) -> Cover:
    """How a lot's hardness is covered by what stands."""
    return sample_cover(
        lot,
        "hardness",
        lambda name: plant.tables.where(SampleJudged, "lot", name),
        lambda name: plant.tables.where(Descent, "child", name),
        lambda name: plant.tables.where(LotStep, "lot", name),
    )


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (sample(lot="NONE"), UnknownSubject, "lot"),
        (sample(n=3, nonconforming=4), Contradiction, "nonconforming"),
        (sample(n=2), RuleStands, "n"),
        (sample(n=3, nonconforming=1), RuleStands, "accepted"),
    ],
)
def test_a_sample_that_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    refusal = stocked_plant().refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_a_sample_is_judged_by_the_numbers_of_the_plan() -> None:
    """Accepted within the accept number, rejected above it; a quantity without a sample plan has no numbers."""
    plant = stocked_plant()
    entered = plant.submit(sample(n=3, nonconforming=1, accepted=False))
    assert not plant.row(SampleJudged, entered.address).accepted
    assert [] == plant.submit(sample(quantity="roughness", n=1)).codes


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (type_test(model="NONE"), UnknownSubject, "model"),
        (type_test(nonconforming=6), Contradiction, "nonconforming"),
        (type_test(revision=2), Contradiction, "revision"),
        (type_test(quantity="mass"), RuleStands, "quantity"),
        (type_test(at="2026-01-01T07:59:00.000+00:00"), RuleStands, "quantity"),
        (type_test(n=4), RuleStands, "n"),
        (type_test(nonconforming=2), RuleStands, "accepted"),
    ],
)
def test_a_type_test_that_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """An unknown model or revision, a quantity that is not asked once per model, and the numbers of the plan."""
    refusal = plant_with_type_test().refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_a_type_test_is_judged_by_the_numbers_of_the_plan() -> None:
    """Accepted up to the accept number, rejected at any; without a revision it is of the one that stands."""
    plant = plant_with_type_test()
    first = plant.submit(type_test(nonconforming=1)).address
    plant.submit(model(at=at(10), revision=2))
    second = plant.submit(type_test(nonconforming=2, accepted=False)).address
    third = plant.submit(type_test(revision=1)).address
    rows = [plant.row(ModelJudged, address) for address in (first, second, third)]
    assert [(1, True), (2, False), (1, True)] == [(row.revision, row.accepted) for row in rows]
    check_views(plant)


def test_a_release_needs_an_accepted_type_test_where_the_plan_asks_one() -> None:
    """At first, second and house; the refusal names the plan, or the test that was not accepted; the newest counts."""
    plant = plant_with_type_test()
    for grade in ("first", "second", "house"):
        refusal = plant.refused(released(plant, grade=grade))
        assert (RuleStands, "unit") == (type(refusal), refusal.where)
        assert f"plan {TESTED} asks for hardness once per model" in str(refusal)
    plant.submit(type_test())
    rejected = plant.submit(type_test(nonconforming=2, accepted=False)).address
    assert f"by fact {rejected}" in str(plant.refused(released(plant)))
    plant.submit(type_test())
    assert [] == plant.submit(released(plant)).codes
    check_views(plant)


def test_a_prototype_needs_no_type_test() -> None:
    """Nor a demo: they are what is tested."""
    plant = plant_with_type_test()
    assert [] == plant.submit(released(plant, grade="prototype")).codes


def test_a_type_test_covers_its_revision_alone() -> None:
    """A test of revision 2 is none of a ball of revision 1."""
    plant = plant_with_type_test()
    plant.submit(model(at=at(10), revision=2))
    plant.submit(type_test())
    assert "no test of ORBIT revision 1" in str(plant.refused(released(plant)))
    plant.submit(type_test(revision=1))
    assert [] == plant.submit(released(plant)).codes


def test_a_reworked_ball_no_longer_stands_for_its_model() -> None:
    """Polished: its hardness is read, whatever the type test said."""
    plant = plant_with_type_test()
    plant.submit(type_test(), Rework(at=at(12), unit="U-1", operation="polish", station="POLISH-1"))
    assert "hardness is not measured" in str(plant.refused(released(plant)))
    plant.submit(inspection("U-1", reading("hardness", "76"), at=at(13)))
    assert [] == plant.submit(released(plant, at=at(14))).codes


def test_a_corrected_revision_takes_its_type_tests_along() -> None:
    """A test without a revision is of the construction that the corrected facts say."""
    plant = plant_with_type_test()
    revised = plant.submit(model(at=at(10), revision=2)).address
    tested = plant.submit(type_test()).address
    plant.submit(correction((revised, None)))
    assert 1 == plant.row(ModelJudged, tested).revision
    assert [] == plant.submit(released(plant)).codes
    refusal = plant.refused(correction((tested, type_test(quantity="mass"))))
    assert (RuleStands, "changes[0].replacement.quantity") == (type(refusal), refusal.where)
    check_views(plant)


def test_a_sample_judged_before_a_split_covers_what_left() -> None:
    """It was of the same pieces; a judgement after the split is of what stayed, and one of the part's own comes first."""
    plant = stocked_plant()
    plant.submit(split("SL-1", "SL-2"))
    after = plant.submit(sample()).address
    plant.submit(split("SL-1", "SL-3"))
    assert [after] == [row.sample for row in covered(plant, "SL-3").judged]
    assert Cover((), ("SL-2",)) == covered(plant, "SL-2")
    engrave(plant, "U-2", lot="SL-2")
    plant.submit(inspection("U-2"))
    assert "the lot's sample for hardness is not judged" in str(plant.refused(release(plant, "U-2")))
    own = plant.submit(sample(lot="SL-2")).address
    assert [own] == [row.sample for row in covered(plant, "SL-2").judged]
    assert [] == plant.submit(release(plant, "U-2")).codes
    check_views(plant)


def test_a_split_lot_of_a_rejected_one_is_screened() -> None:
    """Also where the lot it left was accepted since."""
    plant = stocked_plant()
    plant.submit(sample(nonconforming=1, accepted=False), split("SL-1", "SL-2"), sample())
    engrave(plant, "U-2", lot="SL-2")
    plant.submit(inspection("U-2"))
    assert "hardness is not measured" in str(plant.refused(release(plant, "U-2")))
    plant.submit(inspection("U-2", reading("hardness", "76")))
    assert [] == plant.submit(release(plant, "U-2")).codes


def test_a_merged_lot_is_covered_when_each_of_its_sources_is() -> None:
    """One that is not judged leaves it open, one that was rejected rejects it, and a sample of its own decides."""
    plant = stocked_plant()
    plant.submit(split("SL-1", "SL-2"), split("SL-1", "SL-3"))
    plant.submit(sample(lot="SL-1"), merged("SL-4", "SL-1", "SL-2"))
    cover = covered(plant, "SL-4")
    assert (("SL-2",), False, False) == (cover.missing, cover.accepted, cover.rejected)
    engrave(plant, "U-4", lot="SL-4")
    plant.submit(inspection("U-4"))
    assert "a sample of SL-2, of which SL-4 is made, for hardness" in str(plant.refused(release(plant, "U-4")))
    plant.submit(sample(lot="SL-2"), merged("SL-5", "SL-1", "SL-2", count=1))
    assert (True, False) == (covered(plant, "SL-5").accepted, covered(plant, "SL-5").rejected)
    plant.submit(sample(lot="SL-3", nonconforming=1, accepted=False), merged("SL-6", "SL-3", "SL-5", count=1))
    assert (False, True) == (covered(plant, "SL-6").accepted, covered(plant, "SL-6").rejected)
    engrave(plant, "U-6", lot="SL-6")
    plant.submit(inspection("U-6"))
    assert "hardness is not measured" in str(plant.refused(release(plant, "U-6")))
    plant.submit(sample(lot="SL-6"))
    assert [] == plant.submit(release(plant, "U-6")).codes
    check_views(plant)


def test_a_sample_of_cores_covers_no_shells() -> None:
    """What is poured is a new thing."""
    plant = stocked_plant()
    plant.submit(sample(lot="CL-1"))
    assert Cover((), ("SL-1",)) == covered(plant, "SL-1")


def test_a_corrected_sample_keeps_its_place_before_the_split() -> None:
    """Said of the wrong lot at first; where it stands now, it covers what left afterwards."""
    plant = stocked_plant()
    plant.submit(blocks("BL-2", 5), cores("CL-2", ("BL-2", 5)), shells("SL-9", ("CL-2", 5)))
    wrong = plant.submit(sample(lot="SL-9")).address
    plant.submit(split("SL-1", "SL-2"))
    assert not covered(plant, "SL-2").accepted
    plant.submit(correction((wrong, sample())))
    assert covered(plant, "SL-2").accepted
    plant.submit(correction((wrong, None)))
    assert ("SL-2",) == covered(plant, "SL-2").missing
    check_views(plant)


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["split", "merge", "accept", "reject"]), st.integers(0, 9), st.integers(0, 9), st.integers(1, 3)
    ),
    min_size=1,
    max_size=14,
)


@given(steps=STEPS)
@settings(max_examples=60)
def test_a_lot_is_covered_as_its_pieces_are(steps: list[tuple[str, int, int, int]]) -> None:
    """Told forwards: a judgement is of all pieces that lie in the lot then, and they take it along wherever they go."""
    plant = stocked_plant()
    fates: dict[str, frozenset[bool | None]] = {"SL-1": frozenset([None])}
    for number, (what, one, other, count) in enumerate(steps):
        names = [name for name in fates if left_of(plant.row(Lot, name)) >= count]
        if not names:
            continue
        lot, second, into = names[one % len(names)], names[other % len(names)], f"L-{number}"
        if what == "split":
            plant.submit(split(lot, into, count))
            fates[into] = fates[lot]
        elif what == "merge" and lot != second:
            plant.submit(merged(into, lot, second, count=count))
            fates[into] = fates[lot] | fates[second]
        elif what in {"accept", "reject"}:
            plant.submit(sample(lot=lot, accepted=what == "accept", nonconforming=int(what == "reject")))
            fates[lot] = frozenset([what == "accept"])
    for name, fate in fates.items():
        cover = covered(plant, name)
        assert (fate == {True}, False in fate, None in fate) == (cover.accepted, cover.rejected, bool(cover.missing))
        assert name == goes_on_from(name, lambda lot: plant.tables.where(Descent, "child", lot))[0]
    check_views(plant)
