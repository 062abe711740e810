"""EPCIS 2.0 events as we write them: the part of the standard that is used, as types.

This is our own small profile; whatever has these types is valid against the JSON schema of EPCIS 2.0, and a test holds it
to that.  What is read back must have exactly this shape (`parse_events`).  Decimals are written with the places that they
have and are never floats.  ``pb:`` names are our own (`own_terms`).

Two things that the standard allows are left out, because the programs that work out the CBV event hash do not agree on
events that have them: business transactions beside sensor elements, and names of our own inside a sensor report.

Source: EPCIS 2.0 JSON schema and word lists (gs1/EPCIS).
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Any, Final, Literal

import msgspec
from msgspec import UNSET, Meta, Raw, UnsetType, field

from ledger.errors import MalformedDossier

CONTEXT: Final = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"

Address = Annotated[str, Meta(pattern=r"^[a-z][a-z0-9+.-]*:[!-~]+\Z", max_length=2100)]
Time = Annotated[
    str, Meta(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}[+-][0-9]{2}:[0-9]{2}\Z")
]
Offset = Annotated[str, Meta(pattern=r"^[+-][0-9]{2}:[0-9]{2}\Z")]
Uom = Annotated[str, Meta(pattern=r"^[A-Z0-9]{2,3}\Z")]
Hash = Annotated[str, Meta(pattern=r"^ni:///sha-256;[0-9a-f]{64}\?ver=CBV2\.0\Z")]
Text = Annotated[str, Meta(min_length=1, max_length=2000)]
Step = Annotated[
    str,
    Meta(
        pattern=r"^(commissioning|receiving|inspecting|holding|sampling|destroying|decommissioning|repairing|shipping"
        r"|storing|cycle_counting|https?://[!-~]+)\Z"
    ),
]
Action = Literal["ADD", "OBSERVE", "DELETE"]
Disposition = Literal[
    "in_progress", "conformant", "non_conformant", "unavailable", "available", "destroyed", "inactive",
    "non_sellable_other", "in_transit", "returned",
]  # fmt: skip
Measure = Annotated[str, Meta(pattern=r"^([A-Z][A-Za-z]{2,40}|https?://[!-~]+)\Z")]


class Shape(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of every part of an event."""


class Quantity(Shape, frozen=True, kw_only=True):
    """Pieces of a lot, or with ``uom`` an amount of it; without a quantity the amount is not told."""

    epc_class: Address = field(name="epcClass")
    quantity: Decimal | UnsetType = UNSET
    uom: Uom | UnsetType = UNSET


class Thing(Shape, frozen=True, kw_only=True):
    """A place or thing by its address."""

    id: Address


class Transaction(Shape, frozen=True, kw_only=True):
    """A business transaction; an event has one at most."""

    type: Literal["desadv", "rma"]
    transaction: Address = field(name="bizTransaction")


class Metadata(Shape, frozen=True, kw_only=True):
    """When and with what the figures of one sensor element were taken."""

    time: Time | UnsetType = UNSET
    start_time: Time | UnsetType = field(name="startTime", default=UNSET)
    end_time: Time | UnsetType = field(name="endTime", default=UNSET)
    device: Address | UnsetType = field(name="deviceID", default=UNSET)
    raw: Address | UnsetType = field(name="rawData", default=UNSET)


class Report(Shape, frozen=True, kw_only=True):
    """One figure. ``method``: which quantity it is, or how it was arrived at."""

    type: Measure
    method: Address | UnsetType = field(name="dataProcessingMethod", default=UNSET)
    value: Decimal | UnsetType = UNSET
    minimum: Decimal | UnsetType = field(name="minValue", default=UNSET)
    maximum: Decimal | UnsetType = field(name="maxValue", default=UNSET)
    mean: Decimal | UnsetType = field(name="meanValue", default=UNSET)
    rank: Decimal | UnsetType = field(name="percRank", default=UNSET)
    ranked: Decimal | UnsetType = field(name="percValue", default=UNSET)
    uom: Uom


class Sensed(Shape, frozen=True, kw_only=True):
    """Figures that were taken together."""

    metadata: Metadata = field(name="sensorMetadata")
    report: tuple[Report, ...] = field(name="sensorReport")


class Master(Shape, frozen=True, kw_only=True):
    """What is said of an instance or a lot once, when it comes into being (ilmd)."""

    unit: Address | UnsetType = field(name="pb:unit", default=UNSET)
    lot: Address | UnsetType = field(name="pb:lot", default=UNSET)
    place: int | UnsetType = field(name="pb:place", default=UNSET)
    model: Text | UnsetType = field(name="pb:model", default=UNSET)
    revision: int | UnsetType = field(name="pb:revision", default=UNSET)
    weight_class: int | UnsetType = field(name="pb:weightClassLb", default=UNSET)
    material: Text | UnsetType = field(name="pb:material", default=UNSET)
    compound: Text | UnsetType = field(name="pb:compound", default=UNSET)
    colours: tuple[Text, ...] = field(name="pb:colours", default=())
    expires_on: Text | UnsetType = field(name="pb:expiresOn", default=UNSET)
    line: Address | UnsetType = field(name="pb:line", default=UNSET)
    mould_set: Address | UnsetType = field(name="pb:mouldSet", default=UNSET)
    mixer: Address | UnsetType = field(name="pb:mixer", default=UNSET)
    rejects: int | UnsetType = field(name="pb:rejects", default=UNSET)
    supplier: Text | UnsetType = field(name="pb:supplier", default=UNSET)
    supplier_lot: Text | UnsetType = field(name="pb:supplierLot", default=UNSET)


class ErrorDeclaration(Shape, frozen=True, kw_only=True):
    """That an event was told wrongly, since when that is known, and which events stand in its place."""

    time: Time = field(name="declarationTime")
    reason: Literal["did_not_occur", "incorrect_data"]
    corrective: tuple[Address, ...] = field(name="correctiveEventIDs", default=())


class _Event(Shape, frozen=True, kw_only=True, tag_field="type"):
    """What both sorts of event say. ``record_time``: when it was entered; ``record``: where it stands in the book."""

    event_id: Address = field(name="eventID")
    event_time: Time = field(name="eventTime")
    offset: Offset = field(name="eventTimeZoneOffset")
    record_time: Time = field(name="recordTime")
    error: ErrorDeclaration | UnsetType = field(name="errorDeclaration", default=UNSET)
    step: Step = field(name="bizStep")
    disposition: Disposition | UnsetType = UNSET
    read_point: Thing | UnsetType = field(name="readPoint", default=UNSET)
    sensed: tuple[Sensed, ...] = field(name="sensorElementList", default=())
    master: Master | UnsetType = field(name="ilmd", default=UNSET)
    record: Address = field(name="pb:record")
    unit: Address | UnsetType = field(name="pb:unit", default=UNSET)


class ObjectEvent(_Event, frozen=True, kw_only=True, tag="ObjectEvent"):
    """Something happened to a ball, or to a lot or pieces of it."""

    action: Action
    balls: tuple[Address, ...] = field(name="epcList", default=())
    quantities: tuple[Quantity, ...] = field(name="quantityList", default=())
    transactions: Annotated[tuple[Transaction, ...], Meta(max_length=1)] = field(name="bizTransactionList", default=())
    reason: Text | UnsetType = field(name="pb:reason", default=UNSET)
    purpose: Text | UnsetType = field(name="pb:purpose", default=UNSET)
    grade: Text | UnsetType = field(name="pb:grade", default=UNSET)
    operation: Text | UnsetType = field(name="pb:operation", default=UNSET)
    hold: Address | UnsetType = field(name="pb:hold", default=UNSET)
    stops: tuple[Text, ...] = field(name="pb:stops", default=())
    change: Text | UnsetType = field(name="pb:change", default=UNSET)
    stage: Text | UnsetType = field(name="pb:stage", default=UNSET)
    surface: Text | UnsetType = field(name="pb:surface", default=UNSET)
    consignee: Text | UnsetType = field(name="pb:consignee", default=UNSET)
    judged_by: tuple[Address, ...] = field(name="pb:judgedBy", default=())


class TransformationEvent(_Event, frozen=True, kw_only=True, tag="TransformationEvent"):
    """Something was made of something."""

    input_balls: tuple[Address, ...] = field(name="inputEPCList", default=())
    inputs: tuple[Quantity, ...] = field(name="inputQuantityList", default=())
    output_balls: tuple[Address, ...] = field(name="outputEPCList", default=())
    outputs: tuple[Quantity, ...] = field(name="outputQuantityList", default=())


Event = ObjectEvent | TransformationEvent


class Body(Shape, frozen=True, kw_only=True):
    """The events, in the order in which things happened."""

    events: tuple[Event, ...] = field(name="eventList")


class WrittenBody(Shape, frozen=True, kw_only=True):
    """The same, each event as its JSON."""

    events: tuple[Raw, ...] = field(name="eventList")


class Prefix(Shape, frozen=True, kw_only=True):
    """What our own prefix stands for."""

    pb: Address


class _Head(Shape, frozen=True, kw_only=True):
    """What a document says beside its events; ``created``: when the newest of what it is told from was entered.

    ``possible``: the lots that the ball descends from or not, since the records do not tell.
    """

    context: tuple[Literal["https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"], Prefix] = field(
        name="@context"
    )
    type: Literal["EPCISDocument"]
    version: Literal["2.0"] = field(name="schemaVersion")
    created: Time = field(name="creationDate")
    book: Text = field(name="pb:book")
    subject: Address = field(name="pb:subject")
    possible: tuple[Address, ...] = field(name="pb:possibleLots", default=())
    hashes: tuple[Hash, ...] = field(name="pb:eventHashes")


class Document(_Head, frozen=True, kw_only=True):
    """A document of events."""

    body: Body = field(name="epcisBody")


class WrittenDocument(_Head, frozen=True, kw_only=True):
    """The same, each event as its JSON."""

    body: WrittenBody = field(name="epcisBody")


_encoder = msgspec.json.Encoder(decimal_format="number")
_decoder = msgspec.json.Decoder(Document)


def format_events(document: Document | WrittenDocument) -> bytes:
    """The JSON of a document in its one form, and a newline."""
    return _encoder.encode(document) + b"\n"


def parse_events(raw: bytes, where: str = "events") -> Document:
    """The document of that JSON. Raises MalformedDossier for another shape, or another form of the same."""
    try:
        document = _decoder.decode(raw)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise MalformedDossier("events have another shape", got=str(error), where=where) from error
    if format_events(document) != raw:
        raise MalformedDossier("events are not in their one form", expected="compact JSON in our order", where=where)
    return document


def event_json(part: Shape) -> str:
    """The JSON of an event, or of a part of one, as it stands in a document."""
    return _encoder.encode(part).decode()


def event_fields(part: Shape) -> dict[str, Any]:
    """An event, a part of one, or a document as plain JSON fields, its decimals as Decimal."""
    fields: dict[str, Any] = msgspec.to_builtins(part, builtin_types=(Decimal,))
    return fields
