"""Submission checklists that the plant works by: which file, by digest. What a checklist says is not the line's matter."""

from __future__ import annotations

import msgspec

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Digest, Record, Slug
from ledger.line.rows import ChecklistRow
from ledger.line.state import Need, State


class ChecklistAdopted(Record, frozen=True, kw_only=True, tag="checklist-adopted"):
    """The plant submits models by this checklist from now on; an earlier one of the same name is superseded."""

    checklist: Slug
    digest: Digest


def _needs(record: ChecklistAdopted, _state: State) -> list[Need]:
    return [Need(ChecklistRow, "checklist", record.checklist), Need(ChecklistRow, "digest", record.digest)]


def _check(record: ChecklistAdopted, state: State, _setting: Setting) -> list[Breach]:
    for row in state.where(ChecklistRow, "digest", record.digest):
        if row.checklist != record.checklist:
            raise Contradiction(
                f"that file is adopted as checklist {row.checklist}",
                expected=row.checklist,
                got=record.checklist,
                where="checklist",
                mend="use one name for one file",
            )
    return []


def _effects(fact: Fact, state: State) -> None:
    record: ChecklistAdopted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for earlier in state.where(ChecklistRow, "checklist", record.checklist):
        state.put(msgspec.structs.replace(earlier, superseded=True))
    state.put(
        ChecklistRow(
            checklist=record.checklist, digest=record.digest, adopted_ms=instant_ms(record.at), superseded=False
        )
    )


KINDS = (
    Kind(
        ChecklistAdopted,
        "decision",
        _needs,
        _check,
        _effects,
        lambda record: [f"checklist:{record.checklist}"],
    ),
)
