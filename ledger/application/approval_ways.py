"""What may be done next with an approval file, and what stands in the way of each step, in sentences with their facts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

import msgspec

from ledger.conformity.completeness import ItemState
from ledger.evidence.approval_facts import ApprovalRows
from ledger.line.approval_signing import SIGNERS

Step = Literal["announce", "draw", "freeze", "sign", "hand-over", "answer", "report-changes"]


class ChangeSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something that the file rests on and that is another since it was frozen, in a sentence.

    ``found_by``: the fact that enters it, absent until one does; ``reported_by``: the fact that says that the body was told.
    """

    sort: str
    subject: str
    fact: str
    said: str
    found_by: str | None = None
    reported_by: str | None = None


class Way(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A step: whether it may be done now, what stands in its way, and what whoever does it should know."""

    step: Step
    may: bool
    in_the_way: tuple[str, ...] = ()
    to_know: tuple[str, ...] = ()


def ways_on(
    rows: ApprovalRows, states: Sequence[ItemState], changes: Sequence[ChangeSeen], *, same: bool
) -> Iterator[Way]:
    """Each step in its turn. ``same``: the file still says what was frozen, as far as it is frozen."""
    waiting = next((row for row in rows.announcements if row.drawn is None), None)
    yield _way(
        "announce", [*_not_open(rows), *([] if waiting is None else [f"fact {waiting.announcement} is not drawn"])]
    )
    yield _way("draw", [*_not_open(rows), *([] if waiting is not None else ["no announcement waits for its draw"])])
    yield _freeze(rows, states, waiting is not None)
    changed = [] if same else _changed(changes)
    yield _way("sign", [*_not_in(rows, "frozen", "signed"), *changed], _signers(rows))
    yield _way("hand-over", [*_not_in(rows, "signed", "handed-over", "answered"), *changed], _signers(rows))
    yield _way("answer", _not_in(rows, "handed-over", "answered"))
    yield _report(rows, changes)


def _way(step: Step, in_the_way: Sequence[str], to_know: Sequence[str] = ()) -> Way:
    return Way(step=step, may=not in_the_way, in_the_way=tuple(in_the_way), to_know=tuple(to_know))


def _not_open(rows: ApprovalRows) -> list[str]:
    if rows.file.state == "open":
        return []
    return [f"the file is frozen by fact {rows.file.frozen}" if rows.file.frozen else f"the file is {rows.file.state}"]


def _not_in(rows: ApprovalRows, *states: str) -> list[str]:
    return [] if rows.file.state in states else [f"the file is {rows.file.state}"]


def _freeze(rows: ApprovalRows, states: Sequence[ItemState], waiting: bool) -> Way:  # noqa: FBT001  # said by name nowhere else
    left = [f"{state.item}: {missing}" for state in states for missing in state.missing]
    drawn = ["an announcement is not drawn yet, and stays on the file"] if waiting else []
    return _way("freeze", _not_open(rows), [*drawn, *(f"left open: {one}" for one in left)])


def _changed(changes: Sequence[ChangeSeen]) -> list[str]:
    said = [one.said for one in changes]
    return said or ["readings or answers that the file rests on are others since it was frozen"]


def _signers(rows: ApprovalRows) -> list[str]:
    signed = [row for row in rows.signatures if row.freeze == rows.file.frozen]
    return [f"{len(signed)} of {SIGNERS} people have signed"] if rows.file.frozen else []


def _report(rows: ApprovalRows, changes: Sequence[ChangeSeen]) -> Way:
    due = [one for one in changes if one.reported_by is None]
    out = rows.file.state in {"handed-over", "answered"}
    if due and out:
        return _way("report-changes", [], [one.said for one in due])
    return _way("report-changes", ["no change is to be reported" if out else "the file was not handed over"])
