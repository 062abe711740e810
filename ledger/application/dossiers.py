"""A dossier of balls, put together from one look at the store: sheets, the entries they rest on, receipts, keys, rulebooks.

Balls and entries are read some hundred at a time, and written before the next are read.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from itertools import chain, islice
from typing import BinaryIO, Literal, NamedTuple

from ledger.application.adopted_files import rulebooks_here
from ledger.application.credentials import Credentials, Issuer, issuer_document
from ledger.application.dossier_approval import ApprovalContent, approval_content, approval_json
from ledger.application.dossier_balls import JudgedBalls
from ledger.application.dossier_entries import StoredFacts, dossier_entries
from ledger.application.dossier_lots import lot_history, lot_page
from ledger.application.dossier_rows import BATCH, DossierRows
from ledger.application.dossier_scope import Scoped
from ledger.application.epcis import StoredEntries, event_nodes, plant_of
from ledger.application.imported_sources import refuse_imported
from ledger.application.published import published_covering
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.signing import NoteSigner
from ledger.conformity.rulebook import RulebookFile
from ledger.evidence.adding_report import add_report
from ledger.evidence.approval_facts import ApprovalRows, approval_nodes
from ledger.evidence.ball_sheet import DatedRulebook
from ledger.evidence.dossier import DossierContent, write_dossier
from ledger.evidence.dossier_format import VERDICTS_LIMIT, LotPage
from ledger.evidence.event_facts import EventFacts
from ledger.evidence.events import Events
from ledger.evidence.needed_entries import needed_indexes, sheet_nodes
from ledger.evidence.pdf.parts import check_balls
from ledger.evidence.withholding import Withholding
from ledger.line.fact import parse_address
from ledger.line.refold import ONCE
from ledger.line.rows import BookKey, Plan
from ledger.store.reader import Reader
from ledger.store.selections import every_row, rows_with

Part = Literal["lots", "events", "credentials", "documents", "verdicts", "report"]

PARTS: tuple[Part, ...] = ("lots", "events", "credentials", "documents", "verdicts", "report")
"""The parts of a dossier that may be left out. ``documents`` are the papers and photos of an approval file."""

USUAL_PARTS: tuple[Part, ...] = tuple(part for part in PARTS if part != "report")
"""The parts that a dossier has if nothing is said: a report is made only if it is asked for, since it takes its time."""

KEPT_ENTRIES = 2_000
"""Entries kept for the events of the next ball."""

Reporter = Callable[[Reader, Scoped, bytes], bytes]
"""Makes report.pdf from the scope and the bytes of the dossier without it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DossierAsked:
    """How a dossier is written.

    ``note``: the book's newest checkpoint, for what no published one covers; a published checkpoint, which witnesses
    cosigned and authorities stamped, is taken wherever it covers every entry. ``stem``: where the addresses of labels begin;
    without it there are no events. Without ``issuer`` there are no credentials, without ``reporter`` there is no report.
    """

    note: bytes
    signer: NoteSigner
    withholding: Withholding
    parts: Collection[str] = PARTS
    stem: str = ""
    issuer: Issuer | None = None
    reporter: Reporter | None = None


class _Ground(NamedTuple):
    """What the sheets rest on: nodes whose facts are needed, the shell lots of the balls, the rulebooks of their models."""

    nodes: set[str]
    lots: list[str]
    editions: list[RulebookFile]


def dossier_of(
    reader: Reader, scoped: Scoped, out: BinaryIO, asked: DossierAsked, approval: ApprovalRows | None = None
) -> None:
    """Write the dossier of the balls of a scope to ``out``, and of an approval file with them.

    Every receipt is against one checkpoint, of this look's tree or an earlier one that covers the entries.
    Raises NotFound for a ball that was made before the book, which holds no evidence of its making.
    """
    refuse_imported(reader, scoped.units)
    content = _Content(reader, scoped, asked, approval)
    if asked.reporter is None or "report" not in asked.parts:
        write_dossier(out, content.whole())
        return
    check_balls(len(scoped.units))
    plain = io.BytesIO()
    write_dossier(plain, content.whole())
    report = asked.reporter(reader, scoped, plain.getvalue())
    add_report(plain, report, out, asked.signer)


class _Content:
    """Puts the content together, so that its parts are read when they are written."""

    def __init__(self, reader: Reader, scoped: Scoped, asked: DossierAsked, approval: ApprovalRows | None) -> None:
        self._reader = reader
        self._scoped = scoped
        self._asked = asked
        self._rows = DossierRows(reader)
        self._ground = _ground(reader, self._rows, scoped, approval)
        self._dated = [DatedRulebook(edition.digest, edition.rulebook) for edition in self._ground.editions]
        self._balls = JudgedBalls(self._rows, scoped.units, self._dated)
        self._approval = approval
        self._told = StoredEntries(reader, asked.withholding, KEPT_ENTRIES)
        self._units = frozenset(scoped.units)
        wants_events = self._wants("events") and bool(asked.stem)
        self._events = EventFacts(self._units.__contains__, self._told.read) if wants_events else None

    def _wants(self, part: Part) -> bool:
        return part in self._asked.parts

    def whole(self) -> DossierContent:
        """The content of the dossier, without its report."""
        reader, asked = self._reader, self._asked
        keys: list[BookKey] = every_row(reader.transaction, BookKey)
        nodes = self._ground.nodes
        if self._events is not None:
            nodes |= event_nodes(reader, nodes)
        nodes |= {f"key:{key.key_name}" for key in keys}
        indexes = needed_indexes(StoredFacts(reader), nodes)
        # They grow with the balls, and are not asked for again.
        nodes.clear()
        published = published_covering(reader, indexes[-1] + 1)
        note = asked.note if published is None else published.note
        approval = self._approval_content()
        issuer = asked.issuer if self._wants("credentials") else None
        return DossierContent(
            scope=self._scoped.scope,
            checkpoint=note,
            tokens={} if published is None else {token.authority: token.response for token in published.tokens},
            keys=keys,
            did=None if issuer is None else issuer_document(reader, issuer.did, parse_checkpoint(note).tree_size),
            rulebooks=[edition.raw for edition in self._ground.editions],
            checklists=[] if approval is None else [approval.checklist],
            entries=dossier_entries(reader, indexes, note, asked.withholding, self._takers()),
            lots=self._lot_pages() if self._wants("lots") else (),
            balls=self._balls,
            events=self._event_files(),
            credentials=() if issuer is None else self._credentials(issuer, note),
            approval=None if approval is None else approval_json(reader, approval.rows, self._balls),
            documents=[] if approval is None else approval.documents.values(),
            signer=asked.signer,
            # Begun for more it would be held, up to the limit, and then let go.
            verdicts=self._wants("verdicts") and len(self._scoped.units) <= VERDICTS_LIMIT,
        )

    def _takers(self) -> list[EventFacts]:
        return [] if self._events is None else [self._events]

    def _approval_content(self) -> ApprovalContent | None:
        if self._approval is None:
            return None
        return approval_content(self._reader, self._approval, documents=self._wants("documents"))

    def _lot_pages(self) -> Iterator[LotPage]:
        scoped = self._scoped
        for lot in self._ground.lots:
            history = scoped.histories.get(lot) or lot_history(self._reader, lot)
            yield lot_page(history, self._units, scoped.gone.get(lot, ()))

    def _event_files(self) -> Iterator[tuple[str, bytes]]:
        if self._events is not None:
            events = Events(plant_of(self._reader, self._asked.stem), self._events)
            balls = iter(self._balls)
            while batch := list(islice(balls, BATCH)):
                facts = chain.from_iterable(self._events.facts_of(f"unit:{ball.unit}") for ball in batch)
                self._told.read_ahead({parse_address(fact)[0] for fact in facts})
                for ball in batch:
                    yield ball.unit, events.of_ball(ball.rows, ball.judged)

    def _credentials(self, issuer: Issuer, note: bytes) -> Iterator[tuple[str, bytes]]:
        credentials = Credentials(self._reader, issuer, parse_checkpoint(note))
        for ball in self._balls:
            if ball.rows.unit.serial is not None:
                yield ball.unit, credentials.of_ball(ball.rows, ball.sheet, self._dated)


def _ground(reader: Reader, rows: DossierRows, scoped: Scoped, approval: ApprovalRows | None) -> _Ground:
    nodes: set[str] = set() if approval is None else approval_nodes(approval)
    lots, models = set(scoped.histories), set[str]()
    for one in rows.outlines(scoped.units):
        nodes |= sheet_nodes(one)
        lots.add(one.unit.lot)
        models.add(one.model.model)
    for lot, gone in scoped.gone.items():
        nodes |= {f"lot:{lot}", *(f"{ONCE}unit:{unit}" for unit in gone)}
    editions = _editions(reader, models, None if approval is None else approval.file.rulebook)
    nodes |= {f"rulebook:{edition.rulebook.id}" for edition in editions}
    return _Ground(nodes, sorted(lots), editions)


def _editions(reader: Reader, models: set[str], own: str | None) -> list[RulebookFile]:
    """The editions that any plan of the models names, and the one that an approval file names by its digest."""
    plans: list[Plan] = rows_with(reader, Plan, "model", models)
    names = {name for plan in plans for name in plan.rulebooks.split(",") if name}
    here = rulebooks_here(reader)
    found = {edition.digest: edition for edition in here.editions if edition.rulebook.id in names}
    if own is not None and own not in found:
        found[own] = here.find(own)
    return [found[digest] for digest in sorted(found)]
