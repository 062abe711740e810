"""Making the report of a dossier: a PDF/A-3 for people who print it, with the dossier inside, and a seal on the whole.

PDF/A-3 level B (ISO 19005-3:2012), tagged as far as there are tags for it.  Without a seal the same dossier, background and
instant give the same bytes with the same versions of the libraries; a seal adds a signature behind them, and its own time.

Importing this takes about a second, so it is done when a report is asked for.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from fpdf import FPDF
from fpdf.prefs import ViewerPreferences

from ledger.evidence.pdf.approval_pages import TITLE, signed_in_book, write_approval
from ledger.evidence.pdf.ball_pages import write_ball
from ledger.evidence.pdf.charts import series_of
from ledger.evidence.pdf.closing_pages import write_cautions, write_signatures
from ledger.evidence.pdf.contents import Contents
from ledger.evidence.pdf.cover import ATTACHMENT, Occasion, write_checking, write_cover
from ledger.evidence.pdf.figures import Judged, judged_of
from ledger.evidence.pdf.flow import SIZES, Flow, Paper
from ledger.evidence.pdf.metadata import xmp_metadata
from ledger.evidence.pdf.parts import Background, ReportParts, read_parts
from ledger.evidence.pdf.seal import Sealed, Sealer
from ledger.evidence.pdf.verdict_pages import CHARTS, serial_of, write_charts, write_verdicts

_CHECKING = "How to check this report"
_SIGNATURES, _CAUTIONS = "Signatures", "Cautions"
_NOTHING = Background()


@dataclass(frozen=True, slots=True)
class ReportContent:
    """What a report is made from.

    ``dossier``: the bytes of the dossier that goes into it, which has no report.  ``plant``: the maker's name.  ``at``: the
    instant that the report states, of the book and not of a clock.  ``balls``: what is drawn of each, by unit.
    """

    dossier: bytes
    plant: str
    at: dt.datetime
    balls: Mapping[str, Background] = field(default_factory=dict)
    paper: Paper = "A4"


def make_report(content: ReportContent, sealer: Sealer | None = None) -> Sealed:
    """The report, sealed if there is a sealer.

    Raises NotFound for a dossier without balls, TooLarge for one with too many or too large, Unsupported where the extra is
    not installed.
    """
    parts = read_parts(content.dossier)
    occasion = Occasion(content.plant, content.at, None if sealer is None else sealer.words)
    plain = _written(parts, occasion, content)
    return Sealed(plain, "it carries no seal") if sealer is None else sealer.seal(plain)


def _written(parts: ReportParts, occasion: Occasion, content: ReportContent) -> bytes:
    pdf = _document(parts, occasion, content.paper)
    flow = Flow(
        pdf,
        content.paper,
        head=f"Evidence report, book {parts.manifest.book}, {parts.manifest.tree_size:,} entries",
        foot=f"The maker's own assessment, not an approval by any body. Root {parts.root.hex()[:16]}",
    )
    try:
        _write(flow, parts, occasion, content)
        flow.finish()
        pdf.embed_file(
            bytes=content.dossier,
            basename=ATTACHMENT,
            mime_type="application/zip",
            associated_file_relationship="Data",
            modification_date=content.at,
            desc="The evidence of this report for machines: entries, proofs, rulebooks, sheets",
        )
        return bytes(pdf.output())
    finally:
        flow.pen.close()


def _document(parts: ReportParts, occasion: Occasion, paper: Paper) -> FPDF:
    pdf = FPDF(unit="mm", format=SIZES[paper], enforce_compliance="PDF/A-3B")
    pdf.set_auto_page_break(False)
    pdf.set_creation_date(occasion.at)
    pdf.set_lang("en")
    manifest = parts.manifest
    pdf.set_xmp_metadata(
        xmp_metadata(
            title=f"Evidence report: {manifest.scope.words}",
            subject=f"Book {manifest.book}, {manifest.tree_size} entries, root {parts.root.hex()}",
            author=occasion.plant or manifest.book,
            at=occasion.at,
        )
    )
    pdf.viewer_preferences = ViewerPreferences(display_doc_title=True)
    return pdf


def _write(flow: Flow, parts: ReportParts, occasion: Occasion, content: ReportContent) -> None:
    verdicts = _verdicts(parts)
    used = [digest for digest in parts.rulebooks if digest in verdicts]
    names = [f"Verdicts by {parts.rulebooks[digest].title}" for digest in used]
    approval = [] if parts.approval is None else [TITLE]
    contents = Contents(
        flow,
        [serial_of(sheet) for sheet in parts.sheets],
        [_CHECKING, *approval, *names, CHARTS, _SIGNATURES, _CAUTIONS],
    )
    write_cover(flow, parts, occasion)
    contents.write()
    flow.new_page("")
    contents.note(_CHECKING)
    write_checking(flow, parts, occasion)
    if parts.approval is not None:
        flow.new_page("")
        contents.note(TITLE)
        write_approval(flow, parts.approval, parts, {sheet.unit: serial_of(sheet) for sheet in parts.sheets})
    for digest, name in zip(used, names, strict=True):
        flow.new_page(parts.rulebooks[digest].id)
        contents.note(name)
        write_verdicts(flow, parts.sheets, parts.rulebooks[digest], verdicts[digest])
    flow.new_page("")
    contents.note(CHARTS)
    write_charts(flow, series_of(_all(parts, verdicts)))
    for sheet in parts.sheets:
        flow.new_page(serial_of(sheet))
        contents.note(serial_of(sheet))
        write_ball(flow, sheet, parts.rulebooks, content.balls.get(sheet.unit, _NOTHING))
    flow.new_page("")
    contents.note(_SIGNATURES)
    write_signatures(flow, occasion, signed_in_book(parts))
    flow.new_page("")
    contents.note(_CAUTIONS)
    write_cautions(flow, parts)


def _verdicts(parts: ReportParts) -> dict[str, list[dict[str, Judged]]]:
    """By rulebook, for each of its requirements in order, the verdicts on the balls by unit."""
    found: dict[str, dict[str, dict[str, Judged]]] = {}
    for sheet in parts.sheets:
        for table in sheet.tables:
            lines = found.setdefault(table.rulebook, {})
            for one in judged_of(sheet, table, parts.rulebooks):
                lines.setdefault(one.requirement.id, {})[sheet.unit] = one
    return {digest: [*lines.values()] for digest, lines in found.items()}


def _all(parts: ReportParts, verdicts: Mapping[str, Sequence[Mapping[str, Judged]]]) -> list[tuple[str, str, Judged]]:
    return [
        (unit, parts.rulebooks[digest].id, one)
        for digest, lines in verdicts.items()
        for line in lines
        for unit, one in line.items()
    ]
