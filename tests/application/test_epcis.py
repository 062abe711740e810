"""Histories as events: everything that happened once, in order, and nothing that is withheld."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.application.epcis import lot_events, serial_events
from ledger.errors import MalformedLink, NotFound
from ledger.evidence.own_terms import TERMS
from ledger.evidence.withholding import Withholding
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, corrected, erasure, inspected
from tests.application.told_plant import STEM, events, full_inspection, lot_document, serial_document, told_plant

BALL = f"{STEM}/01/09521234543213/21"
LOT = f"{STEM}/01/09521234543213/10/SL-1"


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Floor]:
    """The plant in which everything happened; no test here enters anything."""
    floor = told_plant(tmp_path_factory.mktemp("told"))
    yield floor
    floor.book.close()


def steps(document: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Action, step and disposition of each event."""
    return [
        (one.get("action", "-"), one["bizStep"].removeprefix(f"{STEM}/terms/"), one.get("disposition", ""))
        for one in events(document)
    ]


def of(document: dict[str, Any], step: str) -> list[dict[str, Any]]:
    """The events of one step."""
    return [one for one in events(document) if one["bizStep"].removeprefix(f"{STEM}/terms/") == step]


def test_a_ball_s_history_is_told_from_the_drum_on(plant: Floor) -> None:
    """In the order in which things happened, each with its step and disposition."""
    assert steps(serial_document(plant, "A129")) == [
        ("ADD", "receiving", "in_progress"),
        *[("-", "commissioning", "in_progress")] * 5,
        ("OBSERVE", "changed", "in_progress"),
        ("-", "commissioning", "in_progress"),
        ("OBSERVE", "curing", "in_progress"),
        ("OBSERVE", "turned", "in_progress"),
        ("DELETE", "destroying", "destroyed"),
        ("OBSERVE", "sampling", "in_progress"),
        ("DELETE", "destroying", "destroyed"),
        ("OBSERVE", "sampling", "non_sellable_other"),
        ("DELETE", "decommissioning", "inactive"),
        ("OBSERVE", "cycle_counting", "in_progress"),
        ("OBSERVE", "turned", "in_progress"),
        ("OBSERVE", "spin-tested", "in_progress"),
        ("-", "commissioning", "in_progress"),
        ("OBSERVE", "inspecting", "conformant"),
        ("-", "commissioning", "in_progress"),
        ("OBSERVE", "holding", "unavailable"),
        ("OBSERVE", "hold-lifted", ""),
        ("OBSERVE", "shipping", "in_transit"),
        ("OBSERVE", "receiving", "returned"),
        ("OBSERVE", "storing", "in_progress"),
        ("OBSERVE", "repairing", "available"),
        ("OBSERVE", "released", "available"),
    ]


def test_a_ball_is_one_piece_of_its_lot_until_it_bears_a_number(plant: Floor) -> None:
    """Then that number, then the new one, which took the place of the old."""
    document = serial_document(plant, "A129")
    lathe = of(document, "turned")[-1]
    assert ([{"epcClass": LOT, "quantity": 1}], f"{STEM}/balls/U-1#ball") == (lathe["quantityList"], lathe["pb:unit"])
    made, anew = [one for one in of(document, "commissioning") if "outputEPCList" in one]
    assert ([f"{BALL}/A120"], [{"epcClass": LOT, "quantity": 1}]) == (made["outputEPCList"], made["inputQuantityList"])
    assert ([f"{BALL}/A120"], [f"{BALL}/A129"]) == (anew["inputEPCList"], anew["outputEPCList"])
    assert [f"{BALL}/A120"] == of(document, "inspecting")[0]["epcList"]
    assert [f"{BALL}/A129"] == of(document, "shipping")[0]["epcList"]


def test_a_ball_carries_how_its_lot_cured(plant: Floor) -> None:
    """From demoulding to the first step that the cure comes before, and what was logged meanwhile."""
    made = next(one for one in of(serial_document(plant, "A122"), "commissioning") if "outputEPCList" in one)
    cure, log = made["sensorElementList"]
    assert {"startTime": at(40.25), "endTime": at(66)} == cure["sensorMetadata"]
    assert ("Time", 1545, "MIN") == tuple(cure["sensorReport"][0][name] for name in ("type", "value", "uom"))
    assert (19.5, 23.25, 21.5) == tuple(log["sensorReport"][0][name] for name in ("minValue", "maxValue", "meanValue"))
    assert "ni:///sha-256;3d3d3d3d3d3d3d3d3d3d3d3d3d3d3d3d3d3d3d3d3d0" == log["sensorMetadata"]["rawData"]


def test_readings_keep_their_unit_their_places_and_their_u(plant: Floor) -> None:
    """A mean with its ends and U; a median; a range; conditions of the reading."""
    standing = of(serial_document(plant, "A122"), "inspecting")[3]
    mass, hardness, roughness, conditions = (one["sensorReport"] for one in standing["sensorElementList"])
    term = f"{STEM}/terms/"
    assert mass == [
        {"type": "Mass", "dataProcessingMethod": f"{term}mass", "minValue": 15.25, "maxValue": 15.3, "meanValue": 15.275, "uom": "LBR"},
        {"type": f"{term}expanded-uncertainty", "dataProcessingMethod": f"{term}mass", "value": 0.02, "uom": "LBR"},
    ]  # fmt: skip
    assert (f"{term}hardness-shore-d", 50, 75, "C62") == tuple(
        hardness[0][n] for n in ("type", "percRank", "percValue", "uom")
    )
    assert (f"{term}roughness-ra-uin", 4, 36, 40) == tuple(
        roughness[0][n] for n in ("type", "value", "minValue", "maxValue")
    )
    assert [("Temperature", 23.5), ("RelativeHumidity", 45), ("Time", 1)] == [
        (one["type"], one["value"]) for one in conditions
    ]
    assert "polished" == standing["pb:surface"]


def test_what_was_said_wrongly_is_told_as_an_error(plant: Floor) -> None:
    """Corrected twice: each body names the next; moved and withdrawn: it did not occur, and nothing stands in its place."""
    told = of(serial_document(plant, "A122"), "inspecting")
    errors: list[Any] = [one.get("errorDeclaration") for one in told]
    ids = [one["eventID"] for one in told]
    assert [None, "incorrect_data", "incorrect_data", None, "did_not_occur", "did_not_occur"] == [
        one and one["reason"] for one in errors
    ]
    assert ([ids[2]], [ids[3]]) == (errors[1]["correctiveEventIDs"], errors[2]["correctiveEventIDs"])
    assert "correctiveEventIDs" not in errors[4]
    assert ["conformant", None, None, "conformant", None, None] == [one.get("disposition") for one in told]


def test_a_moved_fact_is_told_of_the_ball_that_it_was_about(plant: Floor) -> None:
    """As an event of its own, where the correction states it."""
    [_, moved] = of(serial_document(plant, "A126"), "inspecting")
    assert moved["pb:record"].endswith("-change-0")
    assert "errorDeclaration" not in moved


def test_a_breach_that_holds_is_a_hold_of_the_ball_made_then(plant: Floor) -> None:
    """With the number that it got in that entry; and a concession ends it."""
    document = serial_document(plant, "A127")
    holds = of(document, "holding")
    assert {"before-parent", "final-cure-short"} == {one["pb:reason"] for one in holds}
    assert all(one["epcList"] == [f"{BALL}/A127"] for one in holds)
    assert ["clock-wrong"] == [one["pb:reason"] for one in of(document, "conceded")]


@pytest.mark.parametrize(
    ("serial", "ended"),
    [
        ("A123", [("DELETE", "destroying", "destroyed")]),
        ("A124", [("OBSERVE", "sampling", "in_progress"), ("DELETE", "destroying", "destroyed")]),
        ("A125", [("OBSERVE", "sampling", "non_sellable_other")]),
    ],
)
def test_a_ball_that_ends_is_told_how(plant: Floor, serial: str, ended: list[tuple[str, str, str]]) -> None:
    """Destroyed at once, sampled and then destroyed, or kept."""
    assert ended == steps(serial_document(plant, serial))[-len(ended) :]


def test_a_lot_s_history_has_what_lies_above_it_and_what_was_made_of_it(plant: Floor) -> None:
    """Regrind, cores, the lots that it was split and merged into; and each ball of a shell lot."""
    made = [one for one in events(lot_document(plant, "BL-2")) if one["type"] == "TransformationEvent"]
    outputs = [one["outputQuantityList"][0]["epcClass"].rpartition("/")[2] for one in made]
    assert ["MIX#lot", "BL-2#lot", "RG-1#lot", "CL-2#lot", "BL-3#lot", "BL-4#lot"] == outputs
    regrind = made[2]["inputQuantityList"]
    assert [(3, None), (1.5, "KGM")] == [(one["quantity"], one.get("uom")) for one in regrind]
    balls = [one["outputEPCList"][0] for one in events(lot_document(plant, "SL-1")) if "outputEPCList" in one]
    assert sorted(f"{BALL}/A12{number}" for number in (0, *range(2, 8))) == sorted(balls)


def test_an_event_is_the_same_in_every_document(plant: Floor) -> None:
    """Whichever ball or lot was asked for, and with the same hash."""
    documents = [serial_document(plant, serial) for serial in ("A129", "A122", "A126", "A127")]
    documents += [lot_document(plant, lot) for lot in ("SL-1", "BL-2", "CL-1", "DRUM")]
    known: dict[str, tuple[dict[str, Any], str]] = {}
    for document in documents:
        for event, digest in zip(events(document), document["pb:eventHashes"], strict=True):
            told, hashed = known.setdefault(event["eventID"], (event, digest))
            assert (told, hashed) == (event, digest)
    assert len(known) > 40


def test_lots_that_are_only_possibly_above_are_named(plant: Floor) -> None:
    """The records do not tell from which of two core lots the ball is."""
    named = [f"{STEM}/lots/{lot}#lot" for lot in ("BL-1", "BL-2", "CL-1", "CL-2")]
    assert named == serial_document(plant, "A122")["pb:possibleLots"]


def test_nothing_sealed_is_told_unless_it_is_opened(plant: Floor) -> None:
    """Quantities of the recipe, the supplier, the consignee; a person's note in neither case."""
    closed, opened = (json.dumps(serial_document(plant, "A129", told)) for told in ((), ("withheld",)))
    for secret in ('"quantity": 200.0', '"quantity": 90.0', "Acme", '"X-1"', "Shop on the corner"):
        assert (False, True) == (secret in closed, secret in opened)
    assert "Bob" not in closed + opened


def test_one_group_of_fields_may_be_opened_alone(plant: Floor) -> None:
    """Suppliers without the recipe."""
    told = json.dumps(serial_document(plant, "A122", ("suppliers",)))
    assert ("Acme" in told, '"quantity": 200.0' in told) == (True, False)


def test_every_address_of_our_own_says_what_it_means(plant: Floor) -> None:
    """Each word under our prefix, and each address under its namespace, stands in the table of terms."""
    said = json.dumps([serial_document(plant, "A129"), serial_document(plant, "A122"), lot_document(plant, "SL-1")])
    addresses = {part.split('"')[0] for part in said.split(f"{STEM}/terms/")[1:]} - {""}
    names = {part.split('"')[0] for part in said.split('"pb:')[1:]}
    assert len(addresses) > 10
    assert addresses | names <= TERMS.keys()


def test_the_same_book_gives_the_same_bytes(plant: Floor) -> None:
    """Twice, and through another connection; and the document states the newest entry that it is told from."""
    with open_reader(plant.book.store) as reader:
        first = serial_events(reader, "A122", STEM, Withholding())
    other = plant.opened()
    with open_reader(other.store) as reader:
        assert first == serial_events(reader, "A122", STEM, Withholding())
    other.store.close()
    assert json.loads(first)["creationDate"] == at(1_000)


def test_an_erased_note_changes_nothing(tmp_path: Path) -> None:
    """What is erasable was never told."""
    floor = Floor(tmp_path)
    floor.line()
    floor.ball("U-1", "A123")
    before = serial_document(floor, "A123", ("withheld",))
    drum = next(
        index
        for index in range(20)
        if b"brought by" not in floor.book.entry_bytes(index) and b"DRUM" in floor.book.entry_bytes(index)
    )
    floor.say(erasure(drum, "0/note"))
    assert before == serial_document(floor, "A123", ("withheld",))
    floor.book.close()


def test_a_later_correction_changes_only_what_it_says(tmp_path: Path) -> None:
    """Every event of the earlier document is in the later one, with the error declared where there is one."""
    floor = Floor(tmp_path)
    floor.line()
    floor.ball("U-1", "A123")
    index = floor.say(full_inspection("U-1", 80, ("15.1", "15.2"))).index
    before = {one["eventID"]: one for one in events(serial_document(floor, "A123"))}
    floor.say(corrected({"fact": f"{index}.0", "replacement": inspected("U-1", 80, mass="15.0")}))
    after = {one["eventID"]: one for one in events(serial_document(floor, "A123"))}
    assert before.keys() < after.keys()
    changed = [name for name, event in before.items() if after[name] != event]
    told = after[changed[0]].pop("errorDeclaration")
    assert ("incorrect_data", list(after.keys() - before.keys())) == (told["reason"], told["correctiveEventIDs"])
    assert 1 == len([name for name in changed if after[name].get("bizStep") == "inspecting"]) == len(changed)
    floor.book.close()


def test_what_is_not_there_is_refused(plant: Floor) -> None:
    """An unknown number, a number borne no more, an unknown lot, a stem that is none."""
    with open_reader(plant.book.store) as reader:
        for serial in ("NOBODY", "A128"):
            with pytest.raises(NotFound):
                serial_events(reader, serial, STEM, Withholding())
        with pytest.raises(NotFound):
            lot_events(reader, "SL-404", STEM, Withholding())
        with pytest.raises(MalformedLink):
            serial_events(reader, "A122", "no stem", Withholding())
