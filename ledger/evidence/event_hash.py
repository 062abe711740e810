"""The CBV 2.0 event hash of events of our profile: ``ni:///sha-256;{hex}?ver=CBV2.0``.

It says that two parties tell the same event, whatever the order of its parts. It seals nothing: it leaves out who told it
and when, an event and its later error declaration have the same hash, and other texts can be made to have it too. The
book's receipts are what proves.

The text that is hashed is ``eventType``, then every field in a fixed order as ``name=value`` without separators, members of
lists sorted, then master data, then names of our own.  Instants are in UTC with milliseconds and ``Z``, numbers without
needless zeros, words of CBV and of the GS1 vocabulary written out, Digital Links in their canonical form.

Source: algorithm of the reference implementation, PyPI ``epcis-event-hash-generator`` 1.9.3; for events of this profile it
and npm ``epcis2.js`` 2.7.3 give the same.  A number below 0.0001 is written plainly here and with an exponent there, and
one of them takes some texts for dates: those are theirs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache
from hashlib import sha256
from typing import Any

from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.errors import MalformedLink
from ledger.evidence.event_shapes import Event, event_fields
from ledger.evidence.own_terms import PREFIX
from ledger.line.gs1 import format_link, lot_link, parse_link

_EVENT = (
    "eventTime", "eventTimeZoneOffset", "epcList", "inputEPCList", "quantityList", "inputQuantityList", "outputEPCList",
    "outputQuantityList", "action", "bizStep", "disposition", "readPoint", "bizTransactionList", "sensorElementList",
)  # fmt: skip
_INSIDE = {
    "readPoint": ("id",),
    "sensorMetadata": ("time", "startTime", "endTime", "deviceID", "rawData"),
}
_QUANTITY = ("quantityElement", ("epcClass", "quantity", "uom"))
_LISTS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "epcList": ("epc", ()),
    "inputEPCList": ("epc", ()),
    "outputEPCList": ("epc", ()),
    "quantityList": _QUANTITY,
    "inputQuantityList": _QUANTITY,
    "outputQuantityList": _QUANTITY,
    "bizTransactionList": ("", ("type", "bizTransaction")),
    "sensorElementList": ("sensorElement", ("sensorMetadata", "sensorReport")),
    "sensorReport": (
        "sensorReport",
        ("type", "dataProcessingMethod", "value", "minValue", "maxValue", "meanValue", "percRank", "percValue", "uom"),
    ),
}
_UNHASHED = frozenset({"type", "eventID", "recordTime", "errorDeclaration"})
_TIMES = frozenset({"eventTime", "time", "startTime", "endTime"})
_CANONICAL_STEM = "https://id.gs1.org"
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?", re.ASCII)


def event_hash(event: Event, namespace: str) -> str:
    """The hash of an event; ``namespace`` is what our prefix stands for in its document."""
    return hash_of(event_text(event, namespace))


def event_text(event: Event, namespace: str) -> str:
    """The text of an event that is hashed."""
    return hashed_text(event_fields(event), namespace)


def hash_of(text: str) -> str:
    """The hash of an event by its text."""
    return f"ni:///sha-256;{sha256(text.encode()).hexdigest()}?ver=CBV2.0"


def element_text(fields: Mapping[str, Any]) -> str:
    """The part of the text that one sensor element is, as plain JSON fields; those of an event are sorted."""
    member, inner = _LISTS["sensorElementList"]
    return member + _ordered(fields, inner)


def utc_text(at: str) -> str:
    """How an instant stands in the text. Raises MalformedInstant."""
    ms = instant_ms(at)
    return f"{at[:-6]}Z" if at.endswith("+00:00") else format_instant(Instant(ms, 0)).replace("+00:00", "Z")


def number_text(number: Decimal) -> str:
    """How a number stands in the text."""
    return _plain("", number)


def hashed_text(fields: Mapping[str, Any], namespace: str) -> str:
    """The text that is hashed, of an event as plain JSON fields."""
    known = _ordered(fields, _EVENT)
    own = sorted(
        _own(name, value, namespace) for name, value in fields.items() if name not in _EVENT and name not in _UNHASHED
    )
    return "".join((f"eventType={fields['type']}", known, *own))


def _ordered(fields: Mapping[str, Any], order: tuple[str, ...]) -> str:
    return "".join([_named(name, fields[name]) for name in order if name in fields])


def _named(name: str, value: Any) -> str:
    if isinstance(value, list | tuple):
        member, inner = _LISTS[name]
        texts = sorted([member + (_ordered(one, inner) if inner else f"={_plain(member, one)}") for one in value])
        return ("" if name == member else name) + "".join(texts)
    if isinstance(value, dict):
        return name + _ordered(value, _INSIDE[name])
    return f"{name}={_plain(name, value)}"


def _own(name: str, value: Any, namespace: str) -> str:
    """A name of our own, or master data, which hold nothing else."""
    prefix, colon, word = name.partition(":")
    full = f"{{{namespace}}}{word}" if colon and prefix == PREFIX else name
    if isinstance(value, dict):
        return full + "".join(sorted(_own(*member, namespace) for member in value.items()))
    members = value if isinstance(value, list | tuple) else [value]
    return "".join(sorted([f"{full}={_plain('', one)}" for one in members]))


def _plain(name: str, value: Any) -> str:
    if isinstance(value, str):
        return _plain_text(name, value)
    return _number(format(value, "f") if isinstance(value, Decimal) else str(value))


# The events of a ball say the same instants, gauges and measures many times, and balls of a lot the same as each other.
@lru_cache(maxsize=4096)
def _plain_text(name: str, value: str) -> str:
    text = value.strip()
    if name in _TIMES:
        return utc_text(text)
    if name in {"bizStep", "disposition", "type"}:
        return _word(name, text)
    return _number(text) if _NUMBER.fullmatch(text) else _link(text)


@lru_cache(maxsize=4096)
def _number(text: str) -> str:
    whole, _, fraction = text.lstrip("+").partition(".")
    sign, digits, places = "-" if whole.startswith("-") else "", whole.lstrip("-").lstrip("0"), fraction.rstrip("0")
    number = (digits or "0") + (f".{places}" if places else "")
    return number if number == "0" else sign + number


def _word(name: str, text: str) -> str:
    """A word of a list written out; one that is an address already stays."""
    if ":" in text:
        return text
    if name == "type":
        return f"https://gs1.org/voc/{text}" if text[0].isupper() else f"https://ref.gs1.org/cbv/BTT-{text}"
    return f"https://ref.gs1.org/cbv/{'BizStep' if name == 'bizStep' else 'Disp'}-{text}"


def _link(text: str) -> str:
    """A Digital Link in its canonical form, of the ball rather than its lot; any other text as it is."""
    if "/01/" not in text:
        return text
    try:
        link = parse_link(text)
        if link.serial is not None:
            return format_link(_CANONICAL_STEM, link.gtin14, link.serial)
        return text if link.lot is None else lot_link(_CANONICAL_STEM, link.gtin14, link.lot)
    except MalformedLink:
        return text
