"""Items of a file's checklist answered: papers and photos by their digest, fields of the data sheet, a recipe statement.

Which items there are, and what each asks for, the checklist says; the line looks at ids, balls and digests alone (the names
are looked up, and the files have to be stored, before: `ledger.application.said_approvals`).  Values and statements are
sealed and may be withheld; no view holds them.  A later answer takes the place of an earlier one of the same name.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, NamedTuple

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction, MalformedRecord, UnknownSubject
from ledger.line.approval_files import approval_node, file_need, open_file
from ledger.line.approval_rows import ApprovalPart, ApprovalSample
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Digest, Id, Name, Part, Record, Slug, Withheld
from ledger.line.state import Need, State

STATEMENT = "statement"
"""The name under which a statement stands: an item has one."""


class Paper(Part, frozen=True, kw_only=True):
    """A document that goes with the file, under the name that the checklist gives it."""

    name: Name
    digest: Digest


class Photo(Part, frozen=True, kw_only=True):
    """A photo under the name that the checklist gives it; of one ball where ``unit`` is said."""

    name: Name
    digest: Digest
    unit: Id | UnsetType = UNSET


class SheetField(Part, frozen=True, kw_only=True):
    """A field of the data sheet."""

    name: Name
    value: Withheld


class ApprovalItemAnswered(Record, frozen=True, kw_only=True, tag="approval-item-answered"):
    """What answers an item of the checklist, or a part of it."""

    file: Id
    item: Slug
    documents: Annotated[tuple[Paper, ...], Meta(max_length=50)] = ()
    photos: Annotated[tuple[Photo, ...], Meta(max_length=200)] = ()
    fields: Annotated[tuple[SheetField, ...], Meta(max_length=100)] = ()
    statement: Withheld | UnsetType = UNSET


class AnswerPart(NamedTuple):
    """One part of an answer as the view keeps it; ``where`` names its field in the record."""

    sort: str
    name: str
    unit: str | None
    digest: str | None
    where: str

    @property
    def what(self) -> tuple[str, str, str | None]:
        """What a later part takes the place of."""
        return self.sort, self.name, self.unit


def answer_parts(record: ApprovalItemAnswered) -> Iterator[AnswerPart]:
    """The parts of an answer, in order."""
    for place, paper in enumerate(record.documents):
        yield AnswerPart("document", paper.name, None, paper.digest, f"documents[{place}]")
    for place, photo in enumerate(record.photos):
        unit = None if photo.unit is UNSET else photo.unit
        yield AnswerPart("photo", photo.name, unit, photo.digest, f"photos[{place}]")
    for place, field in enumerate(record.fields):
        yield AnswerPart("field", field.name, None, None, f"fields[{place}]")
    if record.statement is not UNSET:
        yield AnswerPart(STATEMENT, STATEMENT, None, None, STATEMENT)


def _needs(record: ApprovalItemAnswered, _state: State) -> Iterator[Need]:
    yield file_need(record.file)
    yield Need(ApprovalSample, "file", record.file)
    yield Need(ApprovalPart, "file", record.file)


def _check(record: ApprovalItemAnswered, state: State, _setting: Setting) -> list[Breach]:
    open_file(state, record.file)
    parts = list(answer_parts(record))
    if not parts:
        raise MalformedRecord(
            "an answer without content",
            expected="documents, photos, fields or statement",
            where="documents",
            mend="state at least one of them",
        )
    samples = {row.unit for row in state.where(ApprovalSample, "file", record.file) if row.state == "in"}
    seen: set[tuple[str, str, str | None]] = set()
    for part in parts:
        if part.what in seen:
            raise Contradiction(f"{part.sort} {part.name} is answered twice", where=part.where, mend="state it once")
        seen.add(part.what)
        if part.unit is not None and part.unit not in samples:
            raise UnknownSubject(
                f"ball {part.unit} is no sample of file {record.file}",
                where=f"{part.where}.unit",
                mend="name a ball that was drawn and not replaced",
            )
    return []


def _effects(fact: Fact, state: State) -> None:
    record: ApprovalItemAnswered = fact.record  # type: ignore[assignment]  # the kind table pairs them
    parts = list(answer_parts(record))
    fresh = {part.what for part in parts}
    for row in state.where(ApprovalPart, "file", record.file):
        if row.stands and row.item == record.item and (row.sort, row.name, row.unit) in fresh:
            state.put(msgspec.structs.replace(row, stands=False))
    for number, part in enumerate(parts):
        state.put(
            ApprovalPart(
                part=f"{fact.address}.{number}",
                file=record.file,
                item=record.item,
                sort=part.sort,
                name=part.name,
                unit=part.unit,
                digest=part.digest,
                stands=True,
                by=fact.author,
                at_ms=fact.at_ms,
                address=fact.address,
            )
        )


KINDS = (Kind(ApprovalItemAnswered, "decision", _needs, _check, _effects, lambda record: [approval_node(record.file)]),)
