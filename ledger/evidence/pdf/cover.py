"""The first page of a report: what it is about, of which book and head, sealed by whom, what came out, how to check it."""

from __future__ import annotations

import base64
import datetime as dt
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from msgspec import UNSET

from ledger.conformity.outcome import OUTCOMES
from ledger.evidence.pdf.flow import Flow
from ledger.evidence.pdf.parts import ReportParts
from ledger.evidence.pdf.pen import EDGE, LABEL, SMALL_INK, STRONG, TITLE, Style
from ledger.evidence.pdf.seal import SealWords
from ledger.evidence.pdf.words import OUTCOMES as OUTCOME_WORDS
from ledger.evidence.pdf.words import many, word

ATTACHMENT = "dossier.zip"


class Occasion(NamedTuple):
    """Who made the report, and the instant that it states; ``seal``: None where it will carry none."""

    plant: str
    at: dt.datetime
    seal: SealWords | None


def write_cover(flow: Flow, parts: ReportParts, occasion: Occasion) -> None:
    """Write it; it runs on to a second page where names are long."""
    flow.new_page("")
    flow.y += 8
    flow.paragraph("Evidence report", Style("", 11, LABEL.tone), after=0.5)
    flow.paragraph(_title(parts), TITLE, after=1)
    flow.paragraph(
        f"of {occasion.plant}" if occasion.plant else f"of the book {parts.manifest.book}", Style("", 13), after=3
    )
    with flow.pen.structure.artifact():
        flow.pen.line([(flow.left, flow.y), (flow.right, flow.y)], tone=EDGE, width=0.8)
    flow.y += 5
    flow.facts(_about(parts, occasion))
    _write_outcomes(flow, parts)
    flow.framed(
        [
            (
                "The verdicts in this report are the maker's own assessment. Nothing in it is an approval: that rests with "
                "the governing body alone, and every limit must be checked against the body's current manual."
            ),
            _limit_caution(parts),
        ]
    )


def _title(parts: ReportParts) -> str:
    models = sorted({sheet.model_name for sheet in parts.sheets})
    balls = many(len(parts.sheets), "ball")
    if len(parts.sheets) == 1:
        sheet = parts.sheets[0]
        number = sheet.serial if isinstance(sheet.serial, str) else sheet.unit
        return f"Ball {number}, {models[0]}"
    return f"{balls} of {models[0]}" if len(models) == 1 else f"{balls} of {many(len(models), 'model')}"


def _about(parts: ReportParts, occasion: Occasion) -> list[tuple[str, str]]:
    manifest, root = parts.manifest, parts.root.hex()
    rows = [
        ("Scope", manifest.scope.words),
        ("Book", manifest.book),
        ("Head of the book", f"{many(manifest.tree_size, 'entry', 'entries')}, root {root[:16]} ... {root[-8:]}"),
        ("Cosigned by", "; ".join(_witnesses(parts)) or "nobody: no witness has cosigned this head"),
        ("Time stamps", "; ".join(_stamps(parts)) or "none over this head"),
        ("Seal of this file", _seal(occasion.seal)),
        ("State of", f"{occasion.at:%Y-%m-%d %H:%M:%S} UTC"),
        ("Inside this file", f"{ATTACHMENT}: {_inside(parts)}"),
    ]
    sealed = manifest.counts
    rows.append(
        (
            "Sealed fields",
            f"{sealed.opened:,} opened, {sealed.withheld:,} withheld, {sealed.erased:,} erased in that file",
        )
    )
    return rows


def _inside(parts: ReportParts) -> str:
    counts = parts.manifest.counts
    return (
        f"the same evidence for machines, {many(counts.entries, 'entry', 'entries')} of the book with their proofs, "
        f"{many(counts.balls, 'sheet')}, {many(counts.rulebooks, 'rulebook')}"
    )


def _witnesses(parts: ReportParts) -> list[str]:
    return [f"{one.name}{f' ({one.at:%Y-%m-%d %H:%M} UTC)' if one.at else ''}" for one in parts.cosigners]


def _stamps(parts: ReportParts) -> list[str]:
    return [f"{one.name}: {f'{one.at:%Y-%m-%d %H:%M:%S} UTC' if one.at else 'not readable'}" for one in parts.tokens]


def _seal(seal: SealWords | None) -> str:
    if seal is None:
        return "not sealed: no seal was set up when it was made"
    return f"signature of {seal.subject}; SHA-256 of the certificate {grouped(seal.fingerprint)}"


def grouped(digest: str) -> str:
    """Hex digits in groups of eight, so that people can compare them."""
    return " ".join(digest[at : at + 8] for at in range(0, len(digest), 8))


def _write_outcomes(flow: Flow, parts: ReportParts) -> None:
    counts: dict[str, Counter[str]] = {}
    for sheet in parts.sheets:
        for table in sheet.tables:
            counts.setdefault(table.rulebook, Counter())[table.overall] += 1
    flow.paragraph("Balls by the worst of their verdicts", STRONG, after=1)
    rows = []
    for digest, found in counts.items():
        rulebook = parts.rulebooks[digest]
        said = ", ".join(f"{word(OUTCOME_WORDS, outcome)} {found[outcome]:,}" for outcome in OUTCOMES if found[outcome])
        rows.append((rulebook.id, f"{said}. {rulebook.body}, edition {rulebook.edition}"))
    flow.facts(rows or [("none", "the dossier holds no rulebook")])


def _limit_caution(parts: ReportParts) -> str:
    used = {line.provenance for sheet in parts.sheets for table in sheet.tables for line in table.verdicts}
    if used <= {"read"}:
        return "Every limit used here was read in the body's own text."
    kinds = [
        name
        for code, name in (("second-hand", "second-hand (\u00b2)"), ("memory", "from memory (\u00b3)"))
        if code in used
    ]
    return (
        f"Some limits used here were not read in the body's own text: they are {' or '.join(kinds)}, and marked so "
        "wherever they appear."
    )


def write_checking(flow: Flow, parts: ReportParts, occasion: Occasion) -> None:
    """How a reader checks the report: the seal, the file inside, the head in full, the keys."""
    flow.heading("H1", "How to check this report")
    flow.paragraph(
        f"The report is for reading. What proves it is the file {ATTACHMENT} inside: entries of the book as they were "
        "hashed, their proofs, and the rules by which the balls were judged. It can be checked without the maker, "
        "offline, years from now."
    )
    flow.points(_steps(parts, occasion), numbered=True)
    flow.heading("H2", "The head of the book", outline=False)
    flow.paragraph(
        "Everything in the dossier is proved against this signed head. Compare it with what the maker, a witness or a "
        "mirror publishes for the same number of entries."
    )
    flow.facts(
        [
            ("Book", parts.manifest.book),
            ("Entries", f"{parts.manifest.tree_size}"),
            ("Root (SHA-256)", grouped(parts.root.hex())),
            ("Root in Base64", base64.b64encode(parts.root).decode()),
            *((f"Cosignature {number}", said) for number, said in enumerate(_witnesses(parts), 1)),
            *((f"Time stamp {number}", said) for number, said in enumerate(_stamps(parts), 1)),
            ("SHA256SUMS", grouped(parts.manifest.sums)),
        ],
        style=SMALL_INK._replace(size=8.5),
    )
    flow.heading("H2", "Keys of the book", outline=False)
    flow.paragraph("As its entries introduce them. Get the checkpoint key from somewhere else too, and compare.")
    flow.facts(_keys(parts), style=SMALL_INK._replace(size=8.5))


def _keys(parts: ReportParts) -> Sequence[tuple[str, str]]:
    return [
        (
            f"{key.purpose.capitalize()} key",
            f"{key.verifier}, from entry count {key.from_size:,} "
            + ("on" if key.to_size is UNSET else f"to {key.to_size:,}"),
        )
        for key in parts.keys
    ]


def _steps(parts: ReportParts, occasion: Occasion) -> list[str]:
    key = next((line.verifier for line in parts.keys if line.purpose == "checkpoint"), "the book's verifier key")
    if occasion.seal is None:
        seal = "This file carries no seal: whether it was changed since shows in the file inside alone."
    else:
        seal = (
            "Open the file in a PDF reader and look at its signatures, or run: pdfsig report.pdf. The signature must be "
            "valid, cover the whole file, and be of the certificate named on the cover. Readers call the certificate "
            "unknown until you tell them to trust it."
        )
    return [
        seal,
        f"Save the attached file {ATTACHMENT}, or take it out by: pdfdetach -save 1 report.pdf",
        f"Check it: pourbook verify dossier {ATTACHMENT} --key {key}",
        (
            "Or unpack it and follow VERIFY.md with public tools, or open verify.html in a browser, offline. First compare "
            "the digest of verify.html with the one that the maker publishes: a page inside a file proves nothing by itself."
        ),
        "Then hold this report against what the check says: each ball, value and verdict stands in the file balls/<unit>.json.",
    ]
