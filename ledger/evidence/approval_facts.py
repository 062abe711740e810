"""What the facts about approval files give: their rows, folded anew or read from views, and what follows from them.

Pure.  The service reads the rows from its views, the verifier of a dossier folds them from entries; from here on both go
the same way.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple, TypeVar

from ledger.conformity.checklist import Checklist
from ledger.conformity.completeness import Answered, Asked, ItemState, SampleBall, item_states
from ledger.line.approval_files import approval_node, classes_of
from ledger.line.approval_frozen import draw_place
from ledger.line.approval_kinds import APPROVAL_KINDS
from ledger.line.approval_rows import (
    ApprovalAnnouncement,
    ApprovalChange,
    ApprovalFile,
    ApprovalFreeze,
    ApprovalHandOver,
    ApprovalPart,
    ApprovalReply,
    ApprovalSample,
    ApprovalSignature,
)
from ledger.line.fact import Fact
from ledger.line.record import Record
from ledger.line.rows import Row
from ledger.line.state import State
from ledger.line.views import VIEW_OF

R = TypeVar("R", bound=Row)

APPROVAL_RECORDS: frozenset[type[Record]] = frozenset(kind.record for kind in APPROVAL_KINDS)
"""The kinds of records whose facts are about approval files."""

_KIND_OF = {kind.record: kind for kind in APPROVAL_KINDS}

ROWS: tuple[type[Row], ...] = (
    *(ApprovalFile, ApprovalAnnouncement, ApprovalSample, ApprovalPart, ApprovalFreeze, ApprovalSignature),
    *(ApprovalHandOver, ApprovalReply, ApprovalChange),
)
"""The rows of an approval file; each has a column ``file``."""


class ApprovalRows(NamedTuple):
    """What the book holds of one approval file: rows in the order of their facts, samples in the order of the draw."""

    file: ApprovalFile
    announcements: Sequence[ApprovalAnnouncement]
    samples: Sequence[ApprovalSample]
    parts: Sequence[ApprovalPart]
    freezes: Sequence[ApprovalFreeze]
    signatures: Sequence[ApprovalSignature]
    hand_overs: Sequence[ApprovalHandOver]
    replies: Sequence[ApprovalReply]
    changes: Sequence[ApprovalChange]


def fold_approvals(facts: Iterable[Fact]) -> dict[str, ApprovalRows]:
    """The rows of each file from the facts about it, by id; facts of other kinds are passed over.

    ``facts`` in order of address.  A file that no fact here opens has no rows.
    """
    state = State()
    for fact in facts:
        kind = _KIND_OF.get(type(fact.record))
        if kind is None:
            continue
        for need in kind.needs(fact.record, state):
            state.expect(need.row, need.column, need.value)
        kind.effects(fact, state)
    files = [row.file for row in state.all_of(ApprovalFile)]
    held = {row: state.all_of(row) for row in ROWS}
    return {file: approval_rows(file, {row: _of(rows, file) for row, rows in held.items()}) for file in files}


def _of(rows: Iterable[Row], file: str) -> list[Row]:
    return [row for row in rows if getattr(row, "file", None) == file]


def approval_rows(file: str, held: Mapping[type[Row], Sequence[Row]]) -> ApprovalRows:
    """The rows of a file in their order, from those of each view. Raises KeyError where the file has no row."""
    opened = [row for row in held.get(ApprovalFile, ()) if isinstance(row, ApprovalFile) and row.file == file]
    if not opened:
        raise KeyError(file)
    samples = sorted((row for row in held.get(ApprovalSample, ()) if isinstance(row, ApprovalSample)), key=draw_place)
    return ApprovalRows(
        opened[0],
        _by_fact(held, ApprovalAnnouncement),
        samples,
        _by_fact(held, ApprovalPart),
        _by_fact(held, ApprovalFreeze),
        _by_fact(held, ApprovalSignature),
        _by_fact(held, ApprovalHandOver),
        _by_fact(held, ApprovalReply),
        _by_fact(held, ApprovalChange),
    )


def _by_fact(held: Mapping[type[Row], Sequence[Row]], row: type[R]) -> list[R]:
    key = VIEW_OF[row].key[0]
    return sorted((one for one in held.get(row, ()) if isinstance(one, row)), key=lambda one: _order(getattr(one, key)))


def _order(key: str) -> tuple[int, ...]:
    return tuple(int(part) for part in key.split("."))


def sample_units(rows: ApprovalRows) -> list[str]:
    """Every ball that the draw gave, replaced and passed-over ones too, ascending."""
    return sorted(row.unit for row in rows.samples)


def approval_nodes(rows: ApprovalRows) -> set[str]:
    """The nodes whose facts a dossier of the file needs beside those of its balls' sheets."""
    return {approval_node(rows.file.file), f"model:{rows.file.model}"}


def approval_files(rows: ApprovalRows) -> dict[str, str]:
    """The files that the rows name, by digest: ``candidates``, ``frozen``, ``document``, ``photo``, ``letter``.

    Rulebook and checklist have places of their own in a dossier.
    """
    named = {row.candidates: "candidates" for row in rows.announcements}
    named |= {row.digest: "frozen" for row in rows.freezes}
    named |= {row.digest: row.sort for row in rows.parts if row.digest is not None}
    letters = [*(row.letter for row in rows.replies), *(row.letter for row in rows.changes)]
    return named | {letter: "letter" for letter in letters if letter is not None}


def answers_of(rows: ApprovalRows) -> dict[str, Answered]:
    """What was given for each item, as far as it stands."""
    standing = [row for row in rows.parts if row.stands]
    return {
        item: Answered(
            documents=frozenset(row.name for row in standing if (row.item, row.sort) == (item, "document")),
            photos=frozenset((row.name, row.unit) for row in standing if (row.item, row.sort) == (item, "photo")),
            fields=frozenset(row.name for row in standing if (row.item, row.sort) == (item, "field")),
            statement=any((row.item, row.sort) == (item, "statement") for row in standing),
        )
        for item in {row.item for row in standing}
    }


def approval_states(
    rows: ApprovalRows, checklist: Checklist, balls: Mapping[str, SampleBall], core: str
) -> tuple[ItemState, ...]:
    """How each item of the checklist stands. ``balls``: the samples by unit; one that is not among them is not measured."""
    samples = [_ball(row, balls) for row in rows.samples if row.state == "in"]
    return item_states(checklist, samples, answers_of(rows), Asked(classes=classes_of(rows.file), core=core))


def _ball(row: ApprovalSample, balls: Mapping[str, SampleBall]) -> SampleBall:
    known = balls.get(row.unit)
    quantities, unusable = (frozenset[str](), frozenset[str]()) if known is None else (known.quantities, known.unusable)
    return SampleBall(ball=row.unit, weight_class=row.weight_class, quantities=quantities, unusable=unusable)


def left_open(row: ApprovalFreeze) -> tuple[str, ...]:
    """The items that a freeze left open."""
    return tuple(item for item in row.left_open.split(",") if item)
