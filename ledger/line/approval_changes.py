"""Changes that a body has to be told: found by the book itself after a file was handed over, and reported.

A change is found by comparing what was frozen with what stands (`ledger.application.approval_changes`); a duty enters it.
A person may enter one that no fact of the line shows.  A report names the changes that it tells.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.approval_files import approval_node, file_need, known_file
from ledger.line.approval_rows import ApprovalChange
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Address, Digest, Id, Name, Record, Withheld
from ledger.line.rows import FactRow
from ledger.line.state import Need, State

WATCHED = frozenset({"handed-over", "answered"})
"""States of a file in which what it rests on is watched."""

ChangeSort = Literal["model", "plan", "corrected", "material", "proportion", "gauge", "other"]
"""What is another: the construction or recipe; the plan; a fact that was corrected; a material or compound; the proportions
of a mix; a gauge whose readings of samples may not be used any more; something else."""


class ApprovalChangeFound(Record, frozen=True, kw_only=True, tag="approval-change-found"):
    """Something that a file rests on is another since ``freeze``. ``subject``: what; ``fact``: the one that shows it."""

    file: Id
    freeze: Address
    sort: ChangeSort
    subject: Name
    fact: Address


class ApprovalChangeReported(Record, frozen=True, kw_only=True, tag="approval-change-reported"):
    """The body was told of changes: the facts that found them, to whom, and the letter if there was one."""

    file: Id
    changes: Annotated[tuple[Address, ...], Meta(min_length=1, max_length=100)]
    to: Withheld
    letter: Digest | UnsetType = UNSET


def _found_needs(record: ApprovalChangeFound, _state: State) -> Iterator[Need]:
    yield file_need(record.file)
    yield Need(ApprovalChange, "file", record.file)
    yield Need(FactRow, "address", record.fact)


def _found_check(record: ApprovalChangeFound, state: State, _setting: Setting) -> list[Breach]:
    file = known_file(state, record.file)
    if file.state not in WATCHED or file.frozen != record.freeze:
        raise RuleStands(
            f"approval file {record.file} is {file.state}",
            expected="a file that was handed over, and its freeze",
            got=f"{file.state}, {file.frozen or 'not frozen'}",
            where="freeze",
            mend="a change before the hand-over goes into the file itself",
        )
    if state.one(FactRow, record.fact) is None:
        raise UnknownSubject(
            f"fact {record.fact} is not in the book", where="fact", mend="name the fact that shows the change"
        )
    said = record.freeze, record.sort, record.subject, record.fact
    for row in state.where(ApprovalChange, "file", record.file):
        if (row.freeze, row.sort, row.subject, row.fact) == said:
            raise Contradiction(
                f"that change was found already, by fact {row.change}", where="fact", mend="nothing is left to enter"
            )
    return []


def _found_effects(fact: Fact, state: State) -> None:
    record: ApprovalChangeFound = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        ApprovalChange(
            change=fact.address,
            file=record.file,
            freeze=record.freeze,
            sort=record.sort,
            subject=record.subject,
            fact=record.fact,
            found_ms=fact.at_ms,
            by=fact.author,
        )
    )


def _reported_needs(record: ApprovalChangeReported, _state: State) -> Iterator[Need]:
    yield file_need(record.file)
    for change in record.changes:
        yield Need(ApprovalChange, "change", change)


def _reported_check(record: ApprovalChangeReported, state: State, _setting: Setting) -> list[Breach]:
    known_file(state, record.file)
    if len(set(record.changes)) != len(record.changes):
        raise Contradiction("a change is reported twice at once", where="changes", mend="name each once")
    for place, change in enumerate(record.changes):
        row = state.one(ApprovalChange, change)
        if row is None or row.file != record.file:
            raise UnknownSubject(
                f"fact {change} finds no change of file {record.file}",
                where=f"changes[{place}]",
                mend="name the facts by which the changes were found",
            )
        if row.reported is not None:
            raise Contradiction(
                f"change {change} was reported by fact {row.reported}",
                where=f"changes[{place}]",
                mend="leave it out",
            )
    return []


def _reported_effects(fact: Fact, state: State) -> None:
    record: ApprovalChangeReported = fact.record  # type: ignore[assignment]  # the kind table pairs them
    letter = None if record.letter is UNSET else record.letter
    for change in record.changes:
        row = state.held(ApprovalChange, change)
        if row is not None:
            state.put(msgspec.structs.replace(row, reported=fact.address, letter=letter))


def _about(record: ApprovalChangeFound | ApprovalChangeReported) -> list[str]:
    return [approval_node(record.file)]


KINDS = (
    Kind(ApprovalChangeFound, "report", _found_needs, _found_check, _found_effects, _about),
    Kind(ApprovalChangeReported, "report", _reported_needs, _reported_check, _reported_effects, _about),
)
