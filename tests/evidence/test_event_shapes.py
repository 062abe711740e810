"""Documents of events: one form, and what has another is refused."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedDossier
from ledger.evidence.event_shapes import CONTEXT, Body, Document, Prefix, Quantity, format_events, parse_events
from tests.evidence.test_event_hash import LOT, NS, observed


def document(**more: Any) -> Document:
    """A document of one event."""
    fields: dict[str, Any] = {
        "context": (CONTEXT, Prefix(pb=NS)),
        "type": "EPCISDocument",
        "version": "2.0",
        "created": "2026-09-24T12:20:00.000+00:00",
        "book": "books.example/plant-1",
        "subject": LOT,
        "hashes": (),
        "body": Body(events=(observed(),)),
    }
    return Document(**(fields | more))


RAW = format_events(document())


def test_what_is_written_reads_back() -> None:
    """To the value, and to the byte."""
    assert document() == parse_events(RAW)
    assert RAW == format_events(parse_events(RAW))


def test_decimals_keep_their_places_and_are_never_floats() -> None:
    """Tenths and long figures stand as they were said."""
    figures = ("0.1", "0.300", "26.850000", "0.000001", "12345678.901234")
    quantities = tuple(Quantity(epc_class=LOT, quantity=Decimal(figure)) for figure in figures)
    raw = format_events(document(body=Body(events=(observed(quantities=quantities),))))
    assert all(f'"quantity":{figure}}}'.encode() in raw for figure in figures)
    assert quantities == parse_events(raw).body.events[0].quantities  # type: ignore[union-attr]  # an object event


@pytest.mark.parametrize(
    "change",
    [
        lambda plain: plain.update(schemaVersion="1.2"),
        lambda plain: plain["@context"].reverse(),
        lambda plain: plain["@context"].append({"x": "https://x.example/"}),
        lambda plain: plain.update(surprise=1),
        lambda plain: plain["epcisBody"]["eventList"][0].update(type="AssociationEvent"),
        lambda plain: plain["epcisBody"]["eventList"][0].update(bizStep="transforming"),
        lambda plain: plain["epcisBody"]["eventList"][0].update(bizStep="returning"),
        lambda plain: plain["epcisBody"]["eventList"][0].update(disposition="certified"),
        lambda plain: plain["epcisBody"]["eventList"][0].update(cureTime=5),
        lambda plain: plain["epcisBody"]["eventList"][0].update(eventTime="2026-09-24T14:13:20Z"),
        lambda plain: plain["epcisBody"]["eventList"][0].update(eventTimeZoneOffset="Z"),
        lambda plain: plain["epcisBody"]["eventList"][0].pop("action"),
        lambda plain: plain["epcisBody"]["eventList"][0]["quantityList"][0].update(uom="kilograms"),
        lambda plain: plain["epcisBody"]["eventList"][0]["quantityList"][0].update(quantity="many"),
    ],
)
def test_another_shape_is_refused(change: Any) -> None:
    """Words that CBV does not have, bare names of our own, forms of time that are not ours."""
    plain = json.loads(RAW)
    change(plain)
    with pytest.raises(MalformedDossier, match="another shape"):
        parse_events(json.dumps(plain, separators=(",", ":")).encode() + b"\n")


@pytest.mark.parametrize("raw", [RAW[:-1], RAW + b"\n", RAW.replace(b":12.500,", b":12.5e0,"), b" " + RAW])
def test_another_form_of_the_same_is_refused(raw: bytes) -> None:
    """There is one form of a document."""
    with pytest.raises(MalformedDossier):
        parse_events(raw)


@given(st.binary(max_size=200) | st.integers(0, len(RAW) - 1).map(lambda cut: RAW[:cut]))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    """Never another error."""
    with pytest.raises(MalformedDossier):
        parse_events(raw)
