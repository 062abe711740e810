"""The part of a report that tells an approval file: what is applied for, what was asked and is there, the drawn balls.

It says what `approval.json` of the dossier says. People are named by their accounts alone: a printed name could not be erased.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import UNSET, UnsetType

from ledger.evidence.approval_sheet import ApprovalPage, ItemLine
from ledger.evidence.pdf.flow import Flow
from ledger.evidence.pdf.parts import ReportParts
from ledger.evidence.pdf.pen import SMALL
from ledger.evidence.pdf.table import Cell, Column, Table
from ledger.evidence.pdf.words import instant, many, word

TITLE = "The approval file"

_ANSWERS = {"approved": "accepted", "more-wanted": "more is wanted"}
"""The body's answer, in words that no reader takes for ours."""

_ITEMS = (Column("Asked", most=80), Column("What is missing", most=80), Column(""))
_BALLS = (Column("Ball", most=50), Column("Class", "R", most=18), Column("Drawn", most=50), Column("", most=70))
_EVENTS = (Column("When, as said", most=44), Column("What", most=120), Column("Fact", "R", most=20))

_SAMPLES = {"in": "sample", "passed-over": "passed over"}


def write_approval(flow: Flow, page: ApprovalPage, parts: ReportParts, numbers: Mapping[str, str]) -> None:
    """Write it, on pages of its own. ``numbers``: of the balls, by unit."""
    flow.heading("H1", TITLE)
    flow.facts(_facts(page))
    flow.paragraph(
        "The checklist is the maker's own reading of what the body asks for, and has to be held against the body's current "
        "manual.",
        SMALL,
    )
    flow.heading("H2", "The checklist, by what is in the book now", keep=30, outline=False)
    Table(flow, _ITEMS, [_item_row(line) for line in page.items]).write()
    if page.samples:
        flow.heading("H2", "The sample balls", keep=34, outline=False)
        flow.paragraph(
            "Drawn by a seed out of candidates that were announced before; with both the draw can be done again.", SMALL
        )
        columns = (
            Column("Ball", most=50),
            Column("Class", "R", most=18),
            Column("Drawn", most=50),
            Column("", most=70),
        )
        Table(flow, columns, [*_sample_rows(page, numbers)]).write()
        seeds = [(f"Seed of {line.fact}", line.seed) for line in page.announcements if line.seed is not UNSET]
        flow.facts(seeds, style=SMALL._replace(size=8))
    rows = sorted(_since(page, parts), key=lambda row: row[0])
    if rows:
        flow.heading("H2", "Handed over, answered, changed", keep=24, outline=False)
        Table(flow, _EVENTS, [[instant(at) if at else "", what, fact] for at, what, fact in rows]).write()


def _facts(page: ApprovalPage) -> list[tuple[str, str]]:
    rows = [
        ("File", page.file),
        ("Applied for", f"model {page.model}, revision {page.revision}, {page.core} core"),
        ("Classes", ", ".join(f"{pounds} lb" for pounds in page.classes)),
        ("Body", page.body),
        ("Checklist", f"{page.checklist_id}, SHA-256 {page.checklist[:16]}..."),
        ("State", word({}, page.state) + (f", opened again {many(page.reopened, 'time')}" if page.reopened else "")),
    ]
    standing = next((line for line in page.freezes if line.fact == page.frozen), None)
    if standing is not None:
        left = f"; left open: {', '.join(standing.left_open)}" if standing.left_open else ""
        rows.append(("Frozen", f"by fact {standing.fact}, SHA-256 of the document {standing.document}{left}"))
    if page.answer is not UNSET:
        rows.append(("Body's answer", word(_ANSWERS, page.answer)))
    return rows


def _item_row(line: ItemLine) -> list[Cell]:
    if not line.applies:
        return [Cell(line.text, line.item), Cell(""), Cell("does not apply")]
    counts = [
        f"{'all' if one.weight_class is UNSET else f'{one.weight_class} lb'}: {one.measured} of "
        f"{one.drawn if one.wanted is UNSET else one.wanted} measured"
        for one in line.counts
    ]
    missing = "; ".join(line.missing)
    shown = missing if len(missing) <= 900 else f"{missing[:900].rstrip()} ... (more in approval.json)"
    return [
        Cell(line.text, line.item),
        Cell(shown or "nothing", "; ".join(counts)),
        Cell("there" if line.met else "MISSING", strong=not line.met),
    ]


def _sample_rows(page: ApprovalPage, numbers: Mapping[str, str]) -> Iterator[list[str]]:
    for line in page.samples:
        said = [word(_SAMPLES, line.state)]
        said += [word({}, line.reason)] if line.reason is not UNSET else []
        said += [f"instead {numbers.get(line.instead, line.instead)}"] if line.instead is not UNSET else []
        drawn = f"announcement {line.announcement}, place {line.place + 1}"
        yield [numbers.get(line.unit, line.unit), f"{line.weight_class} lb", drawn, ", ".join(said)]


def _since(page: ApprovalPage, parts: ReportParts) -> Iterator[tuple[str, str, str]]:
    """When, what and the fact, of what became of a file after it was frozen."""
    for sent in page.hand_overs:
        yield parts.said_at.get(sent.fact, ""), f"handed over with a dossier, SHA-256 {sent.dossier}", sent.fact
    for reply in page.replies:
        reference = "" if reply.reference is UNSET else f", reference {reply.reference}"
        yield (
            parts.said_at.get(reply.fact, ""),
            f"the body answered: {word(_ANSWERS, reply.answer)}{reference}",
            reply.fact,
        )
    for change in page.changes:
        told = "the body was not told yet" if change.reported is UNSET else f"the body was told, fact {change.reported}"
        what = f"changed since: {word({}, change.sort)} {change.subject} (fact {change.shown_by}); {told}"
        yield parts.said_at.get(change.fact, ""), what, change.fact


def signed_in_book(parts: ReportParts) -> list[tuple[str, str, str]]:
    """Of each signature on an approval file: the account, what it signed, when."""
    if parts.approval is None:
        return []
    documents = {line.fact: line.document for line in parts.approval.freezes}
    return [
        (
            line.by,
            f"fact {line.fact}: the document frozen by {line.freeze}, SHA-256 {documents.get(line.freeze, 'unknown')}"
            + _standing(line.freeze, parts.approval.frozen),
            instant(parts.said_at[line.fact]) if line.fact in parts.said_at else "",
        )
        for line in parts.approval.signatures
    ]


def _standing(freeze: str, frozen: str | UnsetType) -> str:
    return "" if freeze == frozen else " (counts no more: the file was opened again)"
