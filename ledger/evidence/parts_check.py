"""The parts of a dossier beside its sheets: lots, table of verdicts, events, credentials, approval file, documents.

Each is heard of in its turn: entries, then the settled facts, then each ball, then the end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ledger.book.checkpoint import Checkpoint
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.approval_part import ApprovalPart
from ledger.evidence.archive import Archive
from ledger.evidence.ball_made import BallMade
from ledger.evidence.ball_sheet import DatedRulebook
from ledger.evidence.credentials_check import CredentialsCheck
from ledger.evidence.dossier_format import APPROVAL, DID, MAX_VERDICTS_BYTES, VERDICTS, VERDICTS_LIMIT, Scope
from ledger.evidence.dossier_layout import Layout
from ledger.evidence.entry_check import EntryTaker
from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.entry_read import ProvedEntries
from ledger.evidence.events_check import EventsCheck
from ledger.evidence.first_fault import naming_entries
from ledger.evidence.lot_check import LotCheck, LotFound, SeatedBall
from ledger.evidence.verdict_table import VerdictTableWriter
from ledger.line.rows import BookKey


class PartsCheck:
    """Checks them all; ``words`` says what was found of those that were checked, ``candidates_left`` what draws leave open."""

    def __init__(self, archive: Archive, layout: Layout, checkpoint: Checkpoint, entries: ProvedEntries) -> None:
        """Check what their names alone show. Raises MalformedDossier or DossierRejected."""
        self._archive = archive
        self._layout = layout
        self._checkpoint = checkpoint
        self.words: dict[str, str] = {}
        self.candidates_left = ""
        self._check_names()
        self._events = EventsCheck(archive, checkpoint.origin, entries) if layout.events else None
        self._approval = ApprovalPart(archive) if layout.approval else None
        self._table = VerdictTableWriter(VERDICTS_LIMIT if layout.verdicts else 0)
        self._credentials: CredentialsCheck | None = None
        self._lots: LotCheck | None = None

    def _check_names(self) -> None:
        layout = self._layout
        for sort, form in (("events", "events/{}.jsonld"), ("credentials", "credentials/{}.json")):
            for unit in getattr(layout, sort):
                if f"balls/{unit}.json" not in self._archive:
                    raise DossierRejected(f"{sort} of a ball without a sheet", where=form.format(unit))
        if layout.credentials and not layout.did:
            raise MalformedDossier("credentials without the document of who gives them", expected=DID, where=DID)
        for folder, digests, end in (("documents", layout.documents, ""), ("checklists", layout.checklists, ".toml")):
            for digest in digests:
                name = f"{folder}/{digest}{end}"
                if not layout.approval:
                    raise MalformedDossier("file of an approval file that is not here", where=name)
                if self._archive.digest(name) != digest:
                    raise DossierRejected("file is not the one that its name says", where=name)

    def takers(self) -> Iterator[EntryTaker]:
        """Who hears of the entries."""
        if self._events is not None:
            yield self._events
        if self._approval is not None:
            yield self._approval

    def settle(self, facts: EntryFacts, rulebooks: Sequence[DatedRulebook], now_ms: int | None) -> None:
        """Begin with what the entries give. Raises MalformedDossier or DossierRejected."""
        self._lots = LotCheck(self._archive, self._layout.lots, facts)
        if self._layout.did:
            keys = facts.rows.all_of(BookKey)
            self._credentials = CredentialsCheck(self._archive, self._checkpoint, rulebooks, keys, now_ms)

    def take_ball(self, ball: BallMade) -> None:
        """Check what there is of a ball whose sheet was checked. Raises MalformedDossier or DossierRejected."""
        if self._layout.verdicts:
            self._table.take(ball.sheet)
        if self._events is not None and (name := f"events/{ball.unit}.jsonld") in self._archive:
            with naming_entries(name):
                self._events.check(ball.rows, ball.judged)
        if self._credentials is not None and (name := f"credentials/{ball.unit}.json") in self._archive:
            with naming_entries(name):
                self._credentials.check(ball.rows, ball.sheet)
        if self._approval is not None:
            self._approval.take_ball(ball)

    @property
    def may_be_shared(self) -> bool:
        """Whether `take_ball` changes nothing that is needed later, now that the first balls were taken."""
        keeps = self._layout.verdicts or self._approval is not None
        return not keeps and (self._events is None or self._events.has_begun)

    def seat(self, ball: SeatedBall) -> None:
        """Hear of a ball that was checked and taken, for the page of its lot. Raises DossierRejected."""
        if self._lots is not None:
            self._lots.take(ball)

    def finish(self, scope: Scope, facts: EntryFacts) -> tuple[LotFound, ...]:
        """Check what speaks of all balls together; the lots. Raises DossierRejected."""
        lots = () if self._lots is None else self._lots.found(scope)
        if self._layout.verdicts and self._archive.read(VERDICTS, MAX_VERDICTS_BYTES) != self._table.text():
            raise DossierRejected("table of verdicts is not that of the sheets", where=VERDICTS)
        if scope.kind == "approval-file" and self._approval is None:
            raise DossierRejected(
                "the approval file that the scope names is missing", expected=APPROVAL, where=APPROVAL
            )
        if self._layout.events:
            self.words["events"] = "the EPCIS events of each ball are those that its entries give"
        if self._layout.credentials:
            self.words["credentials"] = (
                "every credential is signed by a key of the book for them, and claims what its sheet says"
            )
        if self._approval is not None:
            pages = () if self._lots is None else self._lots.pages()
            self.words["approval"] = self._approval.check(scope, facts, pages)
            candidates = self._approval.candidates
            self.candidates_left = candidates.left
            if candidates.found:
                self.words["candidates"] = candidates.found
        return lots
