"""The approval that a file names as its body's answer: it is put right, but not taken away from under the file.

An answer is judged by body, revision and status of the approval that it names (`approval_signing`), so a correction by which
one of these is another takes it away, and so does a withdrawal.  Dates, classes, serials and bars are put right as those of
any approval are.  What the body answered last counts: where a later answer names another approval or none, the earlier one
is free again, so that a mistake has a way out that stays to be seen.
"""

from __future__ import annotations

from collections.abc import Iterator

from ledger.errors import RuleStands
from ledger.line.approval_rows import ApprovalFile, ApprovalReply
from ledger.line.fact import Fact, parse_address
from ledger.line.models import ApprovalEntered
from ledger.line.record import Record
from ledger.line.state import Need, State


def answers_otherwise(old: ApprovalEntered, new: Record | None) -> bool:
    """Whether another answer, or none, is said in the place of ``old``."""
    return not isinstance(new, ApprovalEntered) or _answer(new) != _answer(old)


def _answer(record: ApprovalEntered) -> tuple[str, str, int, str]:
    return record.model, record.body, record.revision, record.status


def answer_needs(old: ApprovalEntered, state: State) -> Iterator[Need]:
    """What `refuse_answered` reads. Cost: the files of the model, and what was answered on each."""
    files = Need(ApprovalFile, "model", old.model)
    yield files
    for file in state.where(ApprovalFile, "model", old.model) if state.has(files) else []:
        yield Need(ApprovalReply, "file", file.file)


def refuse_answered(old: Fact, record: ApprovalEntered, state: State, *, where: str) -> None:
    """Refuse to take away the approval that a file's last answer names. Raises RuleStands naming the answer."""
    for file in sorted(state.where(ApprovalFile, "model", record.model), key=lambda row: row.file):
        replies = state.where(ApprovalReply, "file", file.file)
        last = max(replies, key=lambda row: parse_address(row.reply), default=None)
        if last is not None and last.entered == old.address:
            raise RuleStands(
                f"approval file {file.file} names fact {old.address} as what {file.body} answered",
                expected=f"{record.body}, revision {record.revision}, {record.status}",
                got="a correction by which that is another answer, or none",
                where=where,
                mend=f"enter what the body answered (approval-file-answered on {file.file}) anew, then correct this fact",
            )
