"""What the dossier of an approval file holds besides its samples: its page, its checklist, and the files that it names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from ledger.application.approval_stored import checklist_of, core_of, stored_file
from ledger.application.dossier_scope import Scoped
from ledger.errors import NotFound
from ledger.evidence.approval_facts import ApprovalRows, approval_files, sample_units
from ledger.evidence.approval_sheet import approval_page, sample_ball
from ledger.evidence.ball_made import BallMade
from ledger.evidence.dossier_format import MAX_DOCUMENT_BYTES, Scope, format_page
from ledger.store.blobs import read_blobs
from ledger.store.reader import Reader

NEEDED = frozenset({"candidates", "frozen"})
"""The files without which the draws and the freeze cannot be checked."""


class ApprovalContent(NamedTuple):
    """The rows of an approval file, its checklist's bytes, and the files that it names, by digest."""

    rows: ApprovalRows
    checklist: bytes
    documents: Mapping[str, bytes]


def by_approval_file(reader: Reader, file: str) -> tuple[Scoped, ApprovalRows]:
    """The samples that the file's draws gave, replaced ones too. Raises NotFound for no such file, or one not drawn yet."""
    rows = stored_file(reader, file)
    units = sample_units(rows)
    if not units:
        raise NotFound(
            f"no sample of approval file {file} is drawn", where="approval_file", mend="draw its samples first"
        )
    words = f"approval file {file}: {len(units)} sample{'' if len(units) == 1 else 's'} of model {rows.file.model}"
    return Scoped(Scope(kind="approval-file", names=(file,), words=words), units), rows


def approval_content(reader: Reader, rows: ApprovalRows, *, documents: bool) -> ApprovalContent:
    """What goes in: lists and frozen documents always, papers and photos with ``documents``, as far as they are stored.

    Raises NotFound where a file that is needed is not here.
    """
    sorts = approval_files(rows)
    wanted = [digest for digest, sort in sorts.items() if documents or sort in NEEDED]
    found = read_blobs(reader.transaction, [*wanted, rows.file.checklist])
    for digest in (rows.file.checklist, *(digest for digest in wanted if sorts[digest] in NEEDED)):
        if digest not in found:
            raise NotFound("a file of the approval file is not stored", got=digest, mend="send the file again")
    kept = {digest: found[digest] for digest in sorted(wanted) if len(found.get(digest, b"")) <= MAX_DOCUMENT_BYTES}
    checklist = found[rows.file.checklist]
    return ApprovalContent(rows, checklist, {digest: raw for digest, raw in kept.items() if digest in found})


def approval_json(reader: Reader, rows: ApprovalRows, balls: Iterable[BallMade]) -> bytes:
    """The page of the file, by the sheets of its samples."""
    samples = {ball.sheet.unit: sample_ball(ball.sheet) for ball in balls}
    page = approval_page(rows, checklist_of(reader, rows.file), samples, core_of(reader, rows.file.model))
    return format_page(page)
