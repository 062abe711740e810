"""How readings that stand were taken: the texts of a row, and its columns against the history that they sum up."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book.canonical import encode
from ledger.errors import LedgerError
from ledger.line.balls import UnitStarted
from ledger.line.corrections import Change, Correction
from ledger.line.inspections import Inspection, readings_digest
from ledger.line.reading_rows import Measured
from ledger.line.record import Record
from ledger.line.releases import Rework
from ledger.line.rows import Unit
from ledger.line.standing_readings import (
    Manner,
    Source,
    format_manner,
    format_source,
    format_sources,
    gauges_of,
    parse_manner,
    parse_sources,
)
from tests.line.independent_fold import check_views
from tests.line.making import allot, at, engrave, engraving, gauge, inspection, reading, stocked_plant
from tests.line.plant import Plant

quantities = st.sampled_from(["mass", "hardness", "roughness"])
words = st.sampled_from(["", "sanded", "polished"])
manners = st.builds(
    Manner,
    unit=st.sampled_from(["lb", "in"]),
    gauge=st.sampled_from(["G-1", "G-2"]),
    statistic=st.sampled_from(["single", "mean"]),
    readings=st.integers(1, 50),
    surface=words,
    delay_s=st.sampled_from(["", "15", "0.5"]),
    spacing_mm=st.sampled_from(["", "6"]),
)
sources = st.builds(
    Source,
    at_ms=st.integers(0, 10**13),
    fact=st.just("7.1"),
    milli_c=st.one_of(st.none(), st.integers(-40_000, 100_000)),
)


@given(st.dictionaries(quantities, manners), st.dictionaries(quantities, sources))
def test_the_texts_are_canonical_and_read_back(how: dict[str, Manner], when: dict[str, Source]) -> None:
    """What is written is canonical JSON, and is read as what was written."""
    texts = format_manner(how), format_sources(when)
    assert (how, when) == (parse_manner(texts[0]), parse_sources(texts[1], when))
    assert all(encode(msgspec.json.decode(text)).decode() == text for text in texts)


@given(st.lists(quantities, unique=True), sources)
def test_one_source_of_all_is_written_once(names: list[str], source: Source) -> None:
    """What a first inspection writes is what the sources of its quantities give; none has no source."""
    text = format_sources(dict.fromkeys(names, source))
    assert (format_source(source) if names else "{}") == text
    assert dict.fromkeys(names, source) == parse_sources(text, names)


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ({}, '{"mass":["lb","G-MASS","single",1]}'),
        ({"surface": "sanded"}, '{"mass":["lb","G-MASS","single",1,"sanded"]}'),
        ({"delay_s": "15", "surface": "sanded"}, '{"mass":["lb","G-MASS","single",1,"sanded","15"]}'),
        ({"delay_s": "15"}, '{"mass":["lb","G-MASS","single",1,"","15"]}'),
        ({"temperature_c": "21.5"}, '{"mass":["lb","G-MASS","single",1]}'),
    ],
)
def test_the_manner_holds_what_was_stated(said: dict[str, Any], text: str) -> None:
    """Surface and delay come behind; a temperature changes all day, and is no part of it."""
    plant = measured_ball(inspection("U-1", **said))
    assert text == plant.row(Measured, "U-1").manner


def measured_ball(*records: Record) -> Plant:
    """A plant with U-1 engraved, and then these said."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    for record in records:
        plant.submit(record)
    return plant


def test_the_columns_say_between_which_instants_and_temperatures() -> None:
    """Over the readings that stand: one that a newer one replaced says nothing any more."""
    plant = measured_ball(
        inspection("U-1", reading(), reading("hardness", "76"), temperature_c="19.5"),
        inspection("U-1", at=at(11), temperature_c="23.125"),
    )
    row: Measured = plant.row(Measured, "U-1")
    day = 86_400_000
    assert (19_500, 23_125, day) == (row.coldest, row.warmest, (row.last_ms or 0) - (row.first_ms or 0))
    plant.submit(inspection("U-1", reading("hardness", "76"), at=at(12)))
    row = plant.row(Measured, "U-1")
    assert (23_125, 23_125, day) == (row.coldest, row.warmest, (row.last_ms or 0) - (row.first_ms or 0))
    plant.submit(Rework(at=at(13), unit="U-1", operation="re-turn", station="T-1"))
    row = plant.row(Measured, "U-1")
    assert (None, None, None, None, "{}", "{}") == (
        row.coldest, row.warmest, row.first_ms, row.last_ms, row.manner, row.sources,
    )  # fmt: skip


def test_a_ball_measured_before_it_was_engraved_keeps_its_columns_current() -> None:
    """The class and the instant of engraving are copied when they are said, in the same submission or a later one."""
    plant = stocked_plant()
    started = UnitStarted(at=at(9), unit="U-1", lot="SL-1", station="T-1")
    plant.submit(started, inspection("U-1"))
    row: Measured = plant.row(Measured, "U-1")
    assert ("SL-1", None, None) == (row.lot, row.weight_class, row.engraved_ms)
    serials = allot(plant, 2)
    plant.submit(engraving("U-1", serials[0], at=at(10, "09:00")))
    other = msgspec.structs.replace(started, unit="U-2")
    plant.submit(other, inspection("U-2"), engraving("U-2", serials[1], at=at(10, "09:00")))
    for name in ("U-1", "U-2"):
        row, unit = plant.row(Measured, name), plant.row(Unit, name)
        assert (unit.lot, unit.weight_class, unit.began_ms, unit.engraved_ms) == (
            row.lot, row.weight_class, row.began_ms, row.engraved_ms,
        )  # fmt: skip
        assert 15 == row.weight_class
    check_views(plant)


def test_a_corrected_engraving_is_copied() -> None:
    """The class that was cut wrongly is right beside the readings too."""
    plant = stocked_plant()
    serial = allot(plant)[0]
    entered = plant.submit(engraving("U-1", serial))
    plant.submit(inspection("U-1"))
    right = engraving("U-1", serial, weight_class=14, at=at(9, "10:00"))
    plant.submit(Correction(at=at(12), reason="typing", changes=(Change(fact=entered.address, replacement=right),)))
    row, unit = plant.row(Measured, "U-1"), plant.row(Unit, "U-1")
    assert (14, unit.engraved_ms) == (row.weight_class, row.engraved_ms)


def test_the_digest_changes_with_all_that_a_verdict_rests_on() -> None:
    """Value, U, gauge, statistic, conditions, instant and fact; not with what is copied from the ball."""
    said: list[Inspection] = [
        inspection("U-1"),
        inspection("U-1", reading(value="15.11")),
        inspection("U-1", reading(expanded="0.02")),
        inspection("U-1", reading(gauge="G-MASS-2")),
        inspection("U-1", reading(values=("15.10", "15.10"), statistic="mean")),
        inspection("U-1", surface="sanded"),
        inspection("U-1", delay_s="10"),
        inspection("U-1", temperature_c="20"),
        inspection("U-1", at=at(10, "08:01")),
        inspection("U-1", reading(), reading("hardness", "76")),
    ]
    digests = set()
    for one in said:
        plant = stocked_plant()
        plant.submit(*gauge("G-MASS-2", "mass", "lb"))
        engrave(plant, "U-1")
        plant.submit(one)
        digests.add(readings_digest(plant.row(Measured, "U-1")))
    plant.submit(inspection("U-1", reading(), reading("hardness", "76")))
    row = plant.row(Measured, "U-1")
    digests.add(readings_digest(row))
    assert len(said) + 1 == len(digests)
    assert readings_digest(row) == readings_digest(msgspec.structs.replace(row, weight_class=16, engraved_ms=1))
    assert {"G-MASS", "G-HARD"} == gauges_of(row)


def test_the_spacing_of_repeated_readings_is_held() -> None:
    """It is said of each quantity by itself, and comes last."""
    values: dict[str, Any] = {"values": ("15.10", "15.12"), "statistic": "mean"}
    plant = measured_ball(inspection("U-1", reading(**values, spacing_mm="6.5"), reading("hardness", "76")))
    row = plant.row(Measured, "U-1")
    assert row.manner == '{"hardness":["shore_d","G-HARD","single",1],"mass":["lb","G-MASS","mean",2,"","","6.5"]}'
    plant.submit(inspection("U-1", reading(**values), at=at(11)))
    assert "" == parse_manner(plant.row(Measured, "U-1").manner)["mass"].spacing_mm
    check_views(plant)


STEP = st.fixed_dictionaries(
    {
        "what": st.sampled_from(["read", "read", "read", "polish", "re-turn", "engrave", "withdraw", "replace"]),
        "quantities": st.sets(st.sampled_from(["mass", "hardness"]), min_size=1),
        "hour": st.integers(0, 23),
        "temperature_c": st.sampled_from(["", "19.5", "23", "30.125"]),
        "surface": words,
        "delay_s": st.sampled_from(["", "10"]),
        "which": st.integers(0, 5),
    }
)


@settings(deadline=None, max_examples=60)
@given(st.lists(STEP, max_size=9))
def test_the_columns_are_those_of_the_history(steps: list[dict[str, Any]]) -> None:
    """However a ball was read, reworked, engraved and corrected: live, rebuilt, folded anew and told from the facts alone."""
    plant = stocked_plant(count=3)
    plant.submit(UnitStarted(at=at(9), unit="U-1", lot="SL-1", station="T-1"))
    entered: list[str] = []
    for step in steps:
        record = _record(plant, step, entered)
        try:
            entered.append(plant.submit(record).address)
        except LedgerError:
            continue
    check_views(plant)


def _record(plant: Plant, step: dict[str, Any], entered: list[str]) -> Record:
    what, when = step["what"], at(10, f"{step['hour']:02d}:00")
    said = {name: step[name] for name in ("temperature_c", "surface", "delay_s") if step[name]}
    readings = [reading(name, {"mass": "15.1", "hardness": "76"}[name]) for name in sorted(step["quantities"])]
    read = inspection("U-1", *readings, at=when, **said)
    if what in {"polish", "re-turn"}:
        return Rework(at=when, unit="U-1", operation=what, station="T-1")
    if what == "engrave":
        return engraving("U-1", f"OLD-{step['which']}", at=when, scheme="prior", weight_class=14 + step["which"] % 3)
    if what in {"withdraw", "replace"} and entered:
        fact = entered[step["which"] % len(entered)]
        change = Change(fact=fact, replacement=read) if what == "replace" else Change(fact=fact)
        return Correction(at=at(12), reason="typing", changes=(change,))
    return read
