"""The approval file of a dossier: its page made anew from the entries, and what its draws and documents show."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.book.instant import instant_ms
from ledger.book.receipt import MAX_RECEIPT_BYTES, parse_receipt
from ledger.conformity.checklist import Checklist, parse_checklist
from ledger.conformity.completeness import SampleBall
from ledger.conformity.toml_text import LARGEST_FILE
from ledger.errors import DossierRejected
from ledger.evidence.approval_check import check_approval, receipt_root
from ledger.evidence.approval_facts import APPROVAL_RECORDS, ApprovalRows, fold_approvals, sample_units
from ledger.evidence.approval_sheet import ApprovalPage, approval_page, sample_ball
from ledger.evidence.archive import Archive
from ledger.evidence.ball_made import BallMade
from ledger.evidence.candidates_check import CandidatesFound, check_candidates
from ledger.evidence.dossier_format import (
    APPROVAL,
    MAX_APPROVAL_BYTES,
    MAX_DOCUMENT_BYTES,
    LotPage,
    Scope,
    first_difference,
    format_page,
    parse_page,
    told_short,
)
from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.first_fault import naming_entries, naming_file
from ledger.evidence.proved_entry import ProvedEntry
from ledger.line.fact import Fact
from ledger.line.record import Record
from ledger.line.rows import Model


class ApprovalPart:
    """Takes the entries, then the sheets of the samples, then checks ``approval.json``."""

    def __init__(self, archive: Archive) -> None:
        """Read what the page says of itself. Raises MalformedDossier."""
        self._archive = archive
        self._said = parse_page(archive.read(APPROVAL, MAX_APPROVAL_BYTES), ApprovalPage, APPROVAL)
        self._units = {line.unit for line in self._said.samples}
        self._facts: list[Fact] = []
        self._balls: dict[str, SampleBall] = {}
        self.candidates = CandidatesFound()

    def take(self, entry: ProvedEntry, records: Sequence[Record]) -> None:
        """Take the records of the next entry."""
        for position, record in enumerate(records):
            if type(record) in APPROVAL_RECORDS:
                recorded_ms = instant_ms(entry.recorded_at)
                self._facts.append(Fact(entry.index, position, record, entry.author, recorded_ms))

    def take_ball(self, ball: BallMade) -> None:
        """Hear of a ball whose sheet was checked."""
        if ball.unit in self._units:
            self._balls[ball.unit] = sample_ball(ball.sheet)

    def check(self, scope: Scope, facts: EntryFacts, lots: Sequence[LotPage] = ()) -> str:
        """Check the page against the entries; what was found, in words. Raises DossierRejected.

        ``lots``: the checked pages of the lots that are here; what they show of the draws is in ``candidates`` then.
        """
        if scope.kind == "approval-file" and scope.names != (self._said.file,):
            raise DossierRejected(
                "approval file is another than the scope names",
                expected=scope.names,
                got=self._said.file,
                where=APPROVAL,
            )
        with naming_entries(APPROVAL):
            rows = fold_approvals(self._facts).get(self._said.file)
            if rows is None:
                raise DossierRejected("no entry here opens the approval file", got=self._said.file, where=APPROVAL)
            missing = sorted(set(sample_units(rows)) - self._balls.keys())
            if missing:
                raise DossierRejected("a sample has no sheet here", got=missing[0], where=APPROVAL)
            model = facts.rows.held(Model, rows.file.model)
            checklist = self._checklist(rows.file.checklist)
            found = approval_page(rows, checklist, self._balls, "" if model is None else model.core)
            if format_page(found) != format_page(self._said):
                self._refuse(found)
            shown = self._shown(rows)
            self.candidates = check_candidates(rows.announcements, self._document, lots)
        return f"the approval file is what its entries say; {shown}"

    def _refuse(self, found: ApprovalPage) -> None:
        differs = first_difference(msgspec.to_builtins(self._said), msgspec.to_builtins(found))
        field, one, other = differs or ("", None, None)
        raise DossierRejected(
            "approval file differs from its entries",
            expected=told_short(other),
            got=told_short(one),
            where=f"{APPROVAL}: {field}",
        )

    def _checklist(self, digest: str) -> Checklist:
        name = f"checklists/{digest}.toml"
        raw = self._archive.read(name, LARGEST_FILE)
        with naming_file(name):
            return parse_checklist(raw, name)

    def _document(self, digest: str) -> bytes:
        return self._archive.read(f"documents/{digest}", MAX_DOCUMENT_BYTES)

    def _shown(self, rows: ApprovalRows) -> str:
        def root_of(index: int) -> bytes:
            receipt = parse_receipt(self._archive.read(f"receipts/{index}.tlog-proof", MAX_RECEIPT_BYTES))
            return receipt_root(receipt, self._archive.read(f"entries/{index}.json", MAX_ENTRY_BYTES))

        found = check_approval(rows, self._document, root_of, lambda index: f"entries/{index}.json" in self._archive)
        return "; ".join(found.said)
