"""The approval files for which a ball was drawn as a sample, and what became of it there."""

from __future__ import annotations

import msgspec

from ledger.line.approval_rows import ApprovalFile, ApprovalSample
from ledger.line.fact import parse_address
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


class SampleOf(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A ball as a sample of an approval file. ``state``: in, replaced, passed-over; ``fact``: by which it was drawn.

    ``file_state`` and ``body`` are those of the file; ``out`` is the fact by which the ball is no sample any more.
    """

    file: str
    file_state: str
    body: str
    state: str
    fact: str
    out: str = ""


def samples_of(reader: Reader, unit: str) -> tuple[SampleOf, ...]:
    """Every file that a ball was drawn for, in the order of the draws. Two queries."""
    rows = sorted(reader.rows(ApprovalSample, "unit", unit), key=lambda row: (*parse_address(row.address), row.file))
    found: list[ApprovalFile] = rows_with(reader, ApprovalFile, "file", {row.file for row in rows})
    files = {file.file: file for file in found}
    return tuple(
        SampleOf(
            file=row.file,
            file_state=files[row.file].state,
            body=files[row.file].body,
            state=row.state,
            fact=row.address,
            out=row.out or "",
        )
        for row in rows
    )
