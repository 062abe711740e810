"""Approval files: what is applied for with a body, opened, withdrawn, opened again.

A file is one model at one revision, in weight classes, before one body, judged by one rulebook edition and gathered by one
checklist; both are named by the digest of their files.  Samples are announced and drawn (`approval_samples`), the items of
the checklist answered (`approval_items`), the whole frozen, signed by two people and handed over (`approval_signing`), and
what changes later is found and reported (`approval_changes`).

No fact of a file is corrected: what was drawn, frozen or signed stays as it was.  A wrong answer is followed by another, a
wrong freeze by opening the file again, with a reason; both remain to be seen.  Each is about its file alone, so that no
ball or model carries the files that name it into a dossier of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import msgspec
from msgspec import Meta

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.approval_rows import ApprovalFile
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.models import Revision, known_model
from ledger.line.moulding import WeightClass
from ledger.line.record import Digest, Id, Record, Slug
from ledger.line.rows import ChecklistRow, Model, RulebookRow
from ledger.line.state import Need, State


class ApprovalFileOpened(Record, frozen=True, kw_only=True, tag="approval-file-opened"):
    """A file was opened: a model at the revision that stands, the body, the classes, the edition and the checklist."""

    file: Id
    model: Id
    revision: Revision
    body: Slug
    classes: Annotated[tuple[WeightClass, ...], Meta(min_length=1, max_length=13)]
    rulebook: Digest
    checklist: Digest


class ApprovalFileWithdrawn(Record, frozen=True, kw_only=True, tag="approval-file-withdrawn"):
    """Nothing more is done about a file."""

    file: Id
    reason: Slug


class ApprovalFileReopened(Record, frozen=True, kw_only=True, tag="approval-file-reopened"):
    """A file is worked on again: what was frozen, and the signatures on it, count no more and stay to be seen."""

    file: Id
    reason: Slug


def file_need(file: str) -> Need:
    """What `known_file` reads."""
    return Need(ApprovalFile, "file", file)


def known_file(state: State, file: str) -> ApprovalFile:
    """The approval file of this id. Raises UnknownSubject."""
    row = state.one(ApprovalFile, file)
    if row is None:
        raise UnknownSubject(
            f"approval file {file} is not in the book", where="file", mend="open it first, or correct the id"
        )
    return row


def open_file(state: State, file: str) -> ApprovalFile:
    """The same, while it is worked on. Raises UnknownSubject, RuleStands naming what stands in the way."""
    row = known_file(state, file)
    if row.state != "open":
        by = f" by fact {row.frozen}" if row.frozen else ""
        raise RuleStands(
            f"approval file {file} is {'frozen' + by if row.frozen else row.state}",
            expected="an open file",
            got=row.state,
            where="file",
            mend="open it again with a reason (approval-file-reopened); signatures on it then count no more",
        )
    return row


def classes_of(file: ApprovalFile) -> tuple[int, ...]:
    """The weight classes of a file, nominal pounds, ascending."""
    return tuple(int(pounds) for pounds in file.classes.split(","))


def approval_node(file: str) -> str:
    """The node of a file."""
    return f"approval:{file}"


def _opened_needs(record: ApprovalFileOpened, _state: State) -> list[Need]:
    return [
        file_need(record.file),
        Need(Model, "model", record.model),
        Need(RulebookRow, "digest", record.rulebook),
        Need(ChecklistRow, "digest", record.checklist),
    ]


def _opened_check(record: ApprovalFileOpened, state: State, _setting: Setting) -> list[Breach]:
    standing = state.one(ApprovalFile, record.file)
    if standing is not None:
        raise Contradiction(
            f"approval file {record.file} was opened by fact {standing.address}",
            where="file",
            mend="use a new id, or open that file again",
        )
    model = known_model(state, record.model, where="model")
    if record.revision != model.revision:
        raise RuleStands(
            f"model {record.model} stands at another revision, by fact {model.address}",
            expected=model.revision,
            got=record.revision,
            where="revision",
            mend="open the file for the revision that stands, or define the new one first",
        )
    if len(set(record.classes)) != len(record.classes):
        raise Contradiction("a weight class is named twice", where="classes", mend="name each class once")
    if not state.where(RulebookRow, "digest", record.rulebook):
        raise UnknownSubject(
            "that rulebook edition was never adopted",
            got=record.rulebook,
            where="rulebook",
            mend="adopt the edition first, or name one that is adopted by the digest of its file",
        )
    _check_checklist(record, state)
    return []


def _check_checklist(record: ApprovalFileOpened, state: State) -> None:
    rows = state.where(ChecklistRow, "digest", record.checklist)
    if not rows:
        raise UnknownSubject(
            "that checklist was never adopted",
            got=record.checklist,
            where="checklist",
            mend="adopt the plant's own checklist first (POST /checklists), and name the digest of its file",
        )
    if rows[0].superseded:
        raise RuleStands(
            f"a later file of checklist {rows[0].checklist} is in force",
            expected="the file in force",
            got=record.checklist,
            where="checklist",
            mend="name the digest of the one adopted last",
        )


def _opened_effects(fact: Fact, state: State) -> None:
    record: ApprovalFileOpened = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        ApprovalFile(
            file=record.file,
            model=record.model,
            revision=record.revision,
            body=record.body,
            classes=",".join(str(pounds) for pounds in sorted(record.classes)),
            rulebook=record.rulebook,
            checklist=record.checklist,
            opened_ms=instant_ms(record.at),
            state="open",
            by=fact.author,
            address=fact.address,
        )
    )


def _file_needs(record: ApprovalFileWithdrawn | ApprovalFileReopened, _state: State) -> Iterator[Need]:
    yield file_need(record.file)


def _withdrawn_check(record: ApprovalFileWithdrawn, state: State, _setting: Setting) -> list[Breach]:
    if known_file(state, record.file).state == "withdrawn":
        raise Contradiction(
            f"approval file {record.file} is withdrawn already", where="file", mend="nothing is left to withdraw"
        )
    return []


def _withdrawn_effects(fact: Fact, state: State) -> None:
    record: ApprovalFileWithdrawn = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(ApprovalFile, record.file, state="withdrawn", frozen=None)


def _reopened_check(record: ApprovalFileReopened, state: State, _setting: Setting) -> list[Breach]:
    if known_file(state, record.file).state == "open":
        raise Contradiction(f"approval file {record.file} is open", where="file", mend="go on with it")
    return []


def _reopened_effects(fact: Fact, state: State) -> None:
    record: ApprovalFileReopened = fact.record  # type: ignore[assignment]  # the kind table pairs them
    row = state.held(ApprovalFile, record.file)
    if row is not None:
        state.put(msgspec.structs.replace(row, state="open", frozen=None, reopened=row.reopened + 1))


def _about(record: ApprovalFileOpened | ApprovalFileWithdrawn | ApprovalFileReopened) -> list[str]:
    return [approval_node(record.file)]


KINDS = (
    Kind(ApprovalFileOpened, "decision", _opened_needs, _opened_check, _opened_effects, _about),
    Kind(ApprovalFileWithdrawn, "decision", _file_needs, _withdrawn_check, _withdrawn_effects, _about),
    Kind(ApprovalFileReopened, "decision", _file_needs, _reopened_check, _reopened_effects, _about),
)
