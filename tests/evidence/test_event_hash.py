"""The CBV event hash: what it takes in, what it leaves out, and its text for one event by hand."""

from __future__ import annotations

import random
from decimal import Decimal
from hashlib import sha256
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.evidence.event_hash import event_hash, hashed_text
from ledger.evidence.event_shapes import ErrorDeclaration, Master, Metadata, ObjectEvent, Quantity, Report, Sensed

NS = "https://id.example.com/terms/"
LOT = "https://id.example.com/01/09521234543213/10/SL-1"


def observed(**more: Any) -> ObjectEvent:
    """An event of a lot."""
    fields: dict[str, Any] = {
        "event_id": "urn:uuid:00000000-0000-5000-8000-000000000000",
        "event_time": "2026-09-24T14:13:20.000+02:00",
        "offset": "+02:00",
        "record_time": "2026-09-24T12:20:00.000+00:00",
        "record": "https://id.example.com/entries/8#record-0",
        "action": "OBSERVE",
        "step": "inspecting",
        "quantities": (Quantity(epc_class=LOT, quantity=Decimal("12.500"), uom="KGM"),),
    }
    return ObjectEvent(**(fields | more))


def text(event: ObjectEvent) -> str:
    """The text of an event that is hashed."""
    return hashed_text(msgspec.to_builtins(event, builtin_types=(Decimal,)), NS)


def test_the_text_of_an_event_is_as_written_by_hand() -> None:
    """Every rule of the algorithm that the profile meets, once."""
    report = Report(type="Temperature", method=f"{NS}temperature-log", minimum=Decimal("19.50"), uom="CEL")
    sensed = (Sensed(metadata=Metadata(time="2026-09-24T12:00:00.500+00:00"), report=(report,)),)
    event = observed(disposition="conformant", sensed=sensed, stops=("shipment", "release"))
    assert text(event) == (
        "eventType=ObjectEvent"
        "eventTime=2026-09-24T12:13:20.000Z"
        "eventTimeZoneOffset=+02:00"
        "quantityListquantityElementepcClass=https://id.gs1.org/01/09521234543213/10/SL-1quantity=12.5uom=KGM"
        "action=OBSERVE"
        "bizStep=https://ref.gs1.org/cbv/BizStep-inspecting"
        "disposition=https://ref.gs1.org/cbv/Disp-conformant"
        "sensorElementListsensorElementsensorMetadatatime=2026-09-24T12:00:00.500Z"
        f"sensorReporttype=https://gs1.org/voc/TemperaturedataProcessingMethod={NS}temperature-logminValue=19.5uom=CEL"
        f"{{{NS}}}record=https://id.example.com/entries/8#record-0"
        f"{{{NS}}}stops=release{{{NS}}}stops=shipment"
    )
    assert f"ni:///sha-256;{sha256(text(event).encode()).hexdigest()}?ver=CBV2.0" == event_hash(event, NS)


def test_who_told_it_and_when_is_left_out() -> None:
    """So an event and its error declaration have one hash."""
    error = ErrorDeclaration(time="2026-09-25T12:00:00.000+00:00", reason="did_not_occur")
    other = observed(error=error, event_id="urn:uuid:1", record_time="2026-09-26T12:20:00.000+00:00")
    assert event_hash(observed(), NS) == event_hash(other, NS)


@given(st.randoms(use_true_random=False))
def test_the_order_of_members_is_none(chance: random.Random) -> None:
    """Lots, reports and words of our own in any order give one hash."""
    lots = [Quantity(epc_class=f"{LOT}{number}", quantity=Decimal(number)) for number in range(1, 5)]
    reports = [Report(type="Length", value=Decimal(number), uom="INH") for number in range(1, 5)]
    expected = None
    for _ in range(2):
        sensed = (Sensed(metadata=Metadata(), report=tuple(reports)),)
        found = event_hash(observed(quantities=tuple(lots), sensed=sensed), NS)
        assert expected in {None, found}
        expected = found
        chance.shuffle(lots)
        chance.shuffle(reports)


@pytest.mark.parametrize(
    ("said", "hashed"),
    [("0042", "42"), ("12.500", "12.5"), ("0.000", "0"), ("-0.0", "0"), ("+7", "7"), ("7.", "7"), ("-01.50", "-1.5")],
)
def test_a_text_that_is_a_number_is_hashed_as_one(said: str, hashed: str) -> None:
    """As the reference does, for whoever writes numbers as text."""
    assert f"{{{NS}}}material={hashed}" in text(observed(master=Master(material=said)))


@pytest.mark.parametrize(
    ("said", "hashed"),
    [
        ("https://x.example/01/09521234543213/10/L1/21/A1", "https://id.gs1.org/01/09521234543213/21/A1"),
        ("https://x.example/01/09521234543213", "https://x.example/01/09521234543213"),
        ("https://x.example/01/09521234543210/21/A1", "https://x.example/01/09521234543210/21/A1"),
    ],
)
def test_a_digital_link_is_hashed_in_its_canonical_form(said: str, hashed: str) -> None:
    """The ball rather than its lot; what is no link with a right check digit, or names a product alone, stays."""
    assert f"epcListepc={hashed}action" in text(observed(quantities=(), balls=(said,)))


def test_a_change_of_anything_that_counts_gives_another_hash() -> None:
    """Each field told otherwise."""
    others: list[dict[str, Any]] = [
        {"event_time": "2026-09-24T14:13:20.001+02:00"},
        {"offset": "+01:00"},
        {"action": "DELETE"},
        {"step": "holding"},
        {"disposition": "unavailable"},
        {"quantities": (Quantity(epc_class=LOT, quantity=Decimal("12.501"), uom="KGM"),)},
        {"quantities": (Quantity(epc_class=LOT),)},
        {"reason": "other"},
    ]
    assert len(others) + 1 == len({event_hash(observed(**more), NS) for more in ({}, *others)})
