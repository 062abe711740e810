"""What a record is: a typed statement about the line, and which of its fields are sealed.

A record kind is one `msgspec.Struct` whose tag is its name on the wire (``"kind": "shells-poured"``).  The same type
reads requests and entries; there is no second model.

Sealed fields are marked in the annotation: `Withheld` text may be withheld from a dossier (recipe quantities,
suppliers, consignees), `Erasable` text may be erased for ever (people, all free text).  In an entry such a field is
``{"sealed": hex}``; its opening lies beside the book.  **An erasable field never reaches a check or a view**: it is
taken out of the record before either sees it, so that erasing it cannot change anything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Annotated, Any, NamedTuple

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import LedgerError, MalformedRecord

Id = Annotated[str, Meta(pattern=r"^[A-Z0-9][A-Z0-9._-]{0,39}\Z", description="upper-case id, 1 to 40 characters")]
Slug = Annotated[str, Meta(pattern=r"^[a-z0-9][a-z0-9._-]{0,39}\Z", description="lower-case word, 1 to 40 characters")]
At = Annotated[
    str,
    Meta(
        pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}[+-][0-9]{2}:[0-9]{2}\Z",
        description="instant YYYY-MM-DDTHH:MM:SS.mmm+HH:MM",
    ),
]
On = Annotated[str, Meta(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}\Z", description="date YYYY-MM-DD")]
Digest = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}\Z", description="SHA-256, 64 lower-case hex digits")]
Address = Annotated[
    str, Meta(pattern=r"^(0|[1-9][0-9]*)\.(0|[1-9][0-9]*)\Z", description="fact address index.position")
]
Name = Annotated[str, Meta(min_length=1, max_length=80)]
Count = Annotated[int, Meta(ge=0, le=1_000_000)]
Pieces = Annotated[int, Meta(ge=1, le=1_000_000)]
DecimalText = Annotated[str, Meta(pattern=r"^-?(0|[1-9][0-9]*)(\.[0-9]+)?\Z", max_length=24)]
Kg = Annotated[str, Meta(pattern=r"^(0|[1-9][0-9]{0,8})(\.[0-9]{1,3})?\Z", description="kilograms to 0.001")]
SealedKg = Annotated[
    str,
    Meta(
        pattern=r"^(0|[1-9][0-9]{0,8})(\.[0-9]{1,3})?\Z",
        description="kilograms to 0.001; sealed, may be withheld",
        extra={"sealed": "withheld"},
    ),
]
Withheld = Annotated[
    str, Meta(min_length=1, max_length=200, description="sealed, may be withheld", extra={"sealed": "withheld"})
]
Erasable = Annotated[
    str, Meta(min_length=1, max_length=2000, description="sealed, may be erased", extra={"sealed": "erasable"})
]


# Frozen and made of text, numbers and further parts, a record cannot refer back to itself: the collector need not look.
class Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True, gc=False):
    """A group of fields inside a record."""


class Record(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    forbid_unknown_fields=True,
    omit_defaults=True,
    tag_field="kind",
    gc=False,
):
    """Base of every record kind. ``note`` is free text and therefore erasable."""

    at: At
    clock_error_s: (
        Annotated[int, Meta(ge=0, le=86_400, description="measured error of the station's clock")] | UnsetType
    ) = UNSET
    note: Erasable | UnsetType = UNSET


class SealedField(NamedTuple):
    """One sealed field of a kind: its steps (``*`` for each element of a list) and its sealing.

    Where a field holds one of several record kinds, ``variants`` gives the sealed fields of each by its tag.
    """

    steps: tuple[str, ...]
    sealing: str
    variants: tuple[tuple[str, tuple[SealedField, ...]], ...] = ()


@cache
def sealed_fields(kind: type[Record]) -> tuple[SealedField, ...]:
    """The sealed fields of a record kind, in declaration order."""
    return tuple(_sealed_in(msgspec.inspect.type_info(kind), ()))


def _sealed_in(info: Any, steps: tuple[str, ...]) -> Iterator[SealedField]:
    extra = getattr(info, "extra", None)
    if isinstance(info, msgspec.inspect.Metadata) and extra and "sealed" in extra:
        yield SealedField(steps, extra["sealed"])
    elif isinstance(info, msgspec.inspect.Metadata):
        yield from _sealed_in(info.type, steps)
    elif isinstance(info, msgspec.inspect.UnionType):
        structs = [member for member in info.types if isinstance(member, msgspec.inspect.StructType)]
        if len(structs) > 1:
            variants = tuple((str(member.tag), tuple(_sealed_in(member, ()))) for member in structs)
            yield SealedField(steps, "", variants)
            return
        for member in info.types:
            yield from _sealed_in(member, steps)
    elif isinstance(info, msgspec.inspect.ListType | msgspec.inspect.VarTupleType):
        yield from _sealed_in(info.item_type, (*steps, "*"))
    elif isinstance(info, msgspec.inspect.StructType):
        for field in info.fields:
            yield from _sealed_in(field.type, (*steps, field.encode_name))


def has_sealed(record: Record) -> bool:
    """Whether the record may hold something sealed: one of the fields in which it can is there."""
    for name in sealed_names(type(record)):  # noqa: SIM110  # a generator costs more than it looks at
        if getattr(record, name) is not UNSET:
            return True
    return False


@cache
def sealed_names(kind: type[Record]) -> tuple[str, ...]:
    """The fields of a kind in which something sealed may stand, at whatever depth."""
    return tuple(dict.fromkeys(field.steps[0] for field in sealed_fields(kind)))


class Place(NamedTuple):
    """One sealed field present in a record's JSON object: ``holder[key]`` is its value."""

    path: str
    sealing: str
    holder: Any
    key: str | int


def sealed_places(kind: type[Record], said: Mapping[str, Any]) -> Iterator[Place]:
    """Each sealed field present in a record's JSON object; paths are relative to the record."""
    for field in sealed_fields(kind):
        yield from _places(said, field, field.steps, "")


def _places(holder: Any, field: SealedField, steps: tuple[str, ...], path: str) -> Iterator[Place]:
    """Where the object has another shape than the kind there is no place: the kind itself refuses it."""
    step, rest = steps[0], steps[1:]
    keys: list[str | int] = []
    if step == "*" and isinstance(holder, list | tuple):
        keys = list(range(len(holder)))
    elif isinstance(holder, dict) and step in holder:
        keys = [step]
    for key in keys:
        here = f"{path}/{key}" if path else str(key)
        if rest:
            yield from _places(holder[key], field, rest, here)
        elif field.variants:
            variant = holder[key].get("kind") if isinstance(holder[key], dict) else None
            for tag, inners in field.variants:
                for inner in inners if tag == variant else ():
                    yield from _places(holder[key], inner, inner.steps, here)
        else:
            yield Place(here, field.sealing, holder, key)


def check_instants(record: Record) -> None:
    """Check that each instant of a record exists in the calendar. Raises MalformedRecord naming the field."""
    _check_instants(record, "")


def _check_instants(value: Any, where: str) -> None:
    if isinstance(value, msgspec.Struct):
        for name, is_instant in _instant_fields(type(value)):
            field = getattr(value, name)
            (_check_instant if is_instant else _check_instants)(field, f"{where}.{name}" if where else name)
    elif isinstance(value, list | tuple):
        for place, element in enumerate(value):
            _check_instants(element, f"{where}[{place}]")


@cache
def _instant_fields(kind: type[msgspec.Struct]) -> tuple[tuple[str, bool], ...]:
    """The fields of a Struct that are instants (True), and those in whose parts there are some (False)."""
    fields = msgspec.structs.fields(kind)
    named = [(field.name, field.name == "at" or field.name.endswith("_at")) for field in fields]
    return tuple(
        (name, is_instant)
        for (name, is_instant), field in zip(named, fields, strict=True)
        if is_instant or _holds_instants(msgspec.inspect.type_info(field.type))
    )


def _holds_instants(info: Any) -> bool:
    if isinstance(info, msgspec.inspect.StructType):
        return bool(_instant_fields(info.cls))
    if isinstance(info, msgspec.inspect.Metadata):
        return _holds_instants(info.type)
    if isinstance(info, msgspec.inspect.UnionType):
        return any(_holds_instants(member) for member in info.types)
    if isinstance(info, msgspec.inspect.ListType | msgspec.inspect.VarTupleType):
        return _holds_instants(info.item_type)
    return False


def _check_instant(text: object, where: str) -> None:
    if not isinstance(text, str):
        return
    try:
        instant_ms(text)
    except LedgerError as error:
        raise MalformedRecord(
            "no such instant",
            expected="YYYY-MM-DDTHH:MM:SS.mmm+HH:MM of a real date",
            got=text,
            where=where,
            mend="send the instant with its offset, +00:00 for UTC",
        ) from error
