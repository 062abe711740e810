"""The record kinds of approval files: facts about a file alone, which no correction touches."""

from __future__ import annotations

from ledger.line import approval_changes, approval_files, approval_items, approval_samples, approval_signing
from ledger.line.kind import Kind

APPROVAL_KINDS: tuple[Kind, ...] = (
    *approval_files.KINDS,
    *approval_samples.KINDS,
    *approval_items.KINDS,
    *approval_signing.KINDS,
    *approval_changes.KINDS,
)
