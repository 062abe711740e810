"""The document that is frozen of an approval file: its lines, and how they are written and read.

It is canonical JSON, an object a line, in this order; ``what`` tells the lines apart (the classes below).  It holds no
sealed value.

    file            what is applied for, once
    announcement    each announcement and its draw, in order
    sample          each sample ball with the readings that stand of it, by class and place in the draw
    replaced        each ball that is no sample any more, or was passed over, likewise
    part            each answer to an item of the checklist that stands, by item
    lot             each lot that the samples are of or descend from, by id
    gauge           each gauge that took a reading, by id
    fact            each fact that all this rests on, by address

Signatures are on the SHA-256 of the whole.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal, TypeVar

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import encode_typed
from ledger.errors import LedgerError, MalformedInput

L = TypeVar("L", bound="Line")

FORMAT = 1

MOST_BYTES = 50_000_000
"""More than any document needs: a limit for what is read."""

Whole = Annotated[int, Meta(ge=0, le=2**53 - 1)]
Micro = Annotated[int, Meta(ge=-(2**53) + 1, le=2**53 - 1)]


class Line(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    omit_defaults=True,
    forbid_unknown_fields=True,
    tag_field="what",
    gc=False,
):
    """Base of the lines."""


class FrozenFile(Line, frozen=True, kw_only=True, tag="file"):
    """What is applied for; ``rulebook`` and ``checklist`` are digests of files."""

    v: Literal[1]
    file: str
    model: str
    revision: Whole
    core: str | UnsetType = UNSET
    body: str
    classes: tuple[Whole, ...]
    rulebook: str
    checklist: str


class FrozenAnnouncement(Line, frozen=True, kw_only=True, tag="announcement"):
    """An announcement: its fact, the digest of its list of candidates, the fact of its draw and the seed."""

    fact: str
    candidates: str
    drawn: str | UnsetType = UNSET
    seed: str | UnsetType = UNSET


class FrozenReading(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, gc=False):
    """A reading that stands: its statistic in whole millionths of ``unit``, its gauge, and the fact that states it."""

    quantity: str
    value: Micro
    unit: str
    gauge: str
    fact: str


class FrozenSample(Line, frozen=True, kw_only=True, tag="sample"):
    """A sample ball: by which announcement, at which place of its class in the draw, and what was read of it."""

    unit: str
    serial: str | UnsetType = UNSET
    weight_class: Whole
    announcement: str
    place: Whole
    readings: tuple[FrozenReading, ...]


class FrozenReplaced(Line, frozen=True, kw_only=True, tag="replaced"):
    """A ball of the draw that is no sample: ``how`` says replaced or passed-over, ``fact`` by which fact."""

    unit: str
    how: str
    reason: str
    fact: str
    instead: str | UnsetType = UNSET


class FrozenPart(Line, frozen=True, kw_only=True, tag="part"):
    """A part of an answer; ``sort``: document, photo, field, statement."""

    item: str
    sort: str
    name: str
    fact: str
    unit: str | UnsetType = UNSET
    digest: str | UnsetType = UNSET


class FrozenLot(Line, frozen=True, kw_only=True, tag="lot"):
    """A lot; ``material``: the name of a drum's material, or of a batch's compound."""

    lot: str
    stage: str
    material: str | UnsetType = UNSET


class FrozenGauge(Line, frozen=True, kw_only=True, tag="gauge"):
    """A gauge that took a reading of a sample."""

    gauge: str


class FrozenFact(Line, frozen=True, kw_only=True, tag="fact"):
    """A fact; ``body``: where a correction states it, if one does."""

    fact: str
    body: str | UnsetType = UNSET


AnyLine = (
    FrozenFile | FrozenAnnouncement | FrozenSample | FrozenReplaced | FrozenPart | FrozenLot | FrozenGauge | FrozenFact
)

_decode = msgspec.json.Decoder(AnyLine).decode


class Frozen(msgspec.Struct, frozen=True):
    """A document that was read."""

    lines: tuple[AnyLine, ...]

    @property
    def file(self) -> FrozenFile:
        """What is applied for."""
        return self.of(FrozenFile)[0]

    def of(self, sort: type[L]) -> list[L]:
        """The lines of one sort, in order."""
        return [line for line in self.lines if isinstance(line, sort)]


def format_frozen(lines: Iterable[Line]) -> bytes:
    """The document of these lines, in their order."""
    return b"".join(encode_typed(line) + b"\n" for line in lines)


def parse_frozen(raw: bytes, where: str = "frozen document") -> Frozen:
    """Read a document. Raises MalformedInput naming the line that is none, or that is written in another way."""
    if len(raw) > MOST_BYTES or not raw.endswith(b"\n"):
        raise MalformedInput(
            "document is too long or cut off", expected=f"lines, at most {MOST_BYTES} bytes", where=where
        )
    lines = []
    for number, line in enumerate(raw[:-1].split(b"\n"), 1):
        try:
            read = _decode(line)
            if encode_typed(read) != line:
                raise MalformedInput("line is written in another way", where=f"{where} line {number}")
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError, LedgerError) as error:
            raise MalformedInput("line is none of a document", where=f"{where} line {number}") from error
        lines.append(read)
    if not isinstance(lines[0], FrozenFile) or sum(isinstance(line, FrozenFile) for line in lines) != 1:
        raise MalformedInput("document does not begin with its file", where=f"{where} line 1")
    return Frozen(tuple(lines))
