"""The last pages of a report: who signed, with room for ink, and what the report does not say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ledger.conformity.rulebook import Rulebook
from ledger.evidence.dossier_format import BallSheet
from ledger.evidence.pdf.cover import Occasion, grouped
from ledger.evidence.pdf.figures import name_of, pretty_limit
from ledger.evidence.pdf.flow import Flow
from ledger.evidence.pdf.parts import ReportParts
from ledger.evidence.pdf.pen import EDGE, LABEL, SMALL
from ledger.evidence.pdf.table import Cell, Column, Table
from ledger.evidence.pdf.words import MARKS, PROVENANCES, many, word

_INK_FIELDS = 4

_NOT_SAID = (
    "Whether what was written down is true. The book proves that it was written then, and not changed since.",
    (
        "Whether the book holds further facts about these balls that were left out: the check of the dossier says which lots "
        "are here complete."
    ),
    "Whether the rulebooks are those of the bodies that they name, and current.",
    "Anything for a ball that is not named here: one ball's values say nothing of another's.",
)


def write_signatures(flow: Flow, occasion: Occasion, signed: Sequence[tuple[str, str, str]]) -> None:
    """``signed``: the accounts that signed an approval file, what they signed, and when, all in words."""
    flow.heading("H1", "Signatures")
    flow.heading("H2", "Seal of this file", outline=False)
    if occasion.seal is None:
        flow.paragraph("This file carries no seal.")
    else:
        flow.paragraph(
            f"The file as a whole is signed by {occasion.seal.subject} (PAdES). SHA-256 of the certificate: "
            f"{grouped(occasion.seal.fingerprint)}. The seal says who made the file, and that it was not changed since; a "
            "time stamp of the seal, where there is one, stands in the signature. On paper neither can be seen."
        )
    flow.heading("H2", "Signed in the book", outline=False)
    if signed:
        columns = (Column("Account", most=44), Column("What was signed", most=90), Column("When", most=40))
        Table(flow, columns, [list(row) for row in signed]).write()
    else:
        flow.paragraph("No sign-off of an approval file belongs to this report.")
    flow.heading("H2", "Signed on paper", outline=False)
    flow.paragraph("Who signs here has seen the printed report. Nothing in the file depends on it.", SMALL)
    for _ in range(_INK_FIELDS):
        _write_ink_field(flow)


def _write_ink_field(flow: Flow) -> None:
    height = 24.0
    flow.need(height)
    pen, half = flow.pen, flow.room / 2
    labels = (
        ("Name", 0.0, 10.0),
        ("For, as", half + 4, 10.0),
        ("Place and date", 0.0, 21.0),
        ("Signature", half + 4, 21.0),
    )
    for text, x, y in labels:
        with pen.structure.content("P"):
            pen.write(flow.left + x, flow.y + y + 2.8, text, LABEL._replace(size=7))
        with pen.structure.artifact():
            pen.line([(flow.left + x, flow.y + y), (flow.left + x + half - 4, flow.y + y)], tone=EDGE, width=0.25)
    flow.y += height + 3


def write_cautions(flow: Flow, parts: ReportParts) -> None:
    """What the report does not say, which limits were not read, how the figures are worked out, what is left closed."""
    flow.heading("H1", "Cautions")
    flow.framed(
        [
            (
                "Every verdict here is the maker's own assessment. It is not an approval: approval rests with the governing "
                "body, and every limit must be checked against the body's current manual."
            ),
        ]
    )
    flow.heading("H2", "What this report does not say", outline=False)
    flow.points(_NOT_SAID)
    _write_limits(flow, parts.sheets, parts.rulebooks)
    flow.heading("H2", "How the figures are worked out", outline=False)
    flow.points(
        [
            (
                "A value is the figure that stands for the readings (a mean, a median, one reading), in the unit of the limit, "
                "converted exactly where it was measured in another."
            ),
            (
                "U is the expanded uncertainty with k = 2: twice the standard uncertainty by which the value was judged, "
                "rounded up to two digits. How it was found stands with each reading."
            ),
            (
                "The probability is that of the true value lying within the limit, for a normal distribution about the "
                "measured value and without any earlier knowledge of the production (JCGM 106:2012, 7.2 to 7.4; clauses from "
                "memory)."
            ),
            (
                "Simple acceptance compares the value alone with the limit. Guarded acceptance and the rule of three outcomes "
                "keep a distance from it, and leave undecided what lies between (JCGM 106:2012, 8.3; ISO 14253-1:2017; clauses "
                "from memory)."
            ),
            "A lot is certain where every way of the records leads to it, and possible where a ball may hold it or another.",
        ]
    )
    counts = parts.manifest.counts
    flow.heading("H2", "What is left closed", outline=False)
    flow.paragraph(
        f"Of the sealed fields in the entries {many(counts.opened, 'is', 'are')} opened, {counts.withheld:,} withheld and "
        f"{counts.erased:,} erased. A withheld field (recipe, supplier, consignee, person) can be opened later and will "
        "then be seen to be as it was sealed; of an erased one the book keeps the seal alone, and an entry says that it was "
        "erased."
    )


def _write_limits(flow: Flow, sheets: Sequence[BallSheet], rulebooks: Mapping[str, Rulebook]) -> None:
    """Each limit that a verdict here rests on, how well it is known, and where it was found."""
    used = {
        (table.rulebook, line.requirement)
        for sheet in sheets
        for table in sheet.tables
        for line in table.verdicts
        if line.outcome != "not_applicable"
    }
    rows = [
        [
            Cell(f"{name_of(one)} {pretty_limit(one.limit_text)}{MARKS.get(one.provenance, '')}", rulebook.id),
            Cell(word(PROVENANCES, one.provenance)),
            Cell(one.source, one.section),
        ]
        for digest, rulebook in rulebooks.items()
        for one in rulebook.requirements
        if (digest, one.id) in used
    ]
    flow.heading("H2", "Where the limits come from", outline=False)
    if rows:
        columns = (Column("Limit", most=58), Column("How it is known", most=34), Column("Source", most=90))
        Table(flow, columns, rows, size=7.6).write()
