"""Dossiers that reports are made of: the little one, and one in which everything is long, many and in other alphabets."""

from __future__ import annotations

import datetime as dt
import io
from functools import cache

import msgspec
import pypdfium2  # type: ignore[import-untyped]  # the package has no type marker

from ledger.conformity.rulebook import RulebookFile, shipped_rulebooks
from ledger.evidence.dossier_format import (
    BallSheet,
    FactLine,
    HouseLine,
    LotLine,
    ReadingLine,
    VerdictLine,
    VerdictTable,
    format_page,
)
from ledger.evidence.pdf.flow import Paper
from ledger.evidence.pdf.make import ReportContent, make_report
from ledger.evidence.pdf.parts import Background, CureSpan, LotLink
from ledger.line.quantity import QUANTITIES
from tests.evidence.small_dossier import archived, dossier, members

AT = dt.datetime(2026, 10, 31, 12, tzinfo=dt.UTC)
MAKER = "Käßbohrer & Söhne Kugelwerk (invented)"

LONG_NAME = (
    "Überlänge-Straßenbahnschaffnerin-Größenwahn Ŵÿčęşğ №7 “Żółć” Модель 漢字 ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789" * 2
)
"""Long words without a space, German and Slavic letters, and two that the typeface lacks."""

SERIAL = "WÜRZBURG-0001-LANGE-NUMMER-ÄÖ"
LONG_LOT = "MATERIAL-LOT-OF-A-VERY-LONG-NAME-{:04}"
QUANTITIES_READ = [name for name, quantity in QUANTITIES.items() if quantity.of == "ball"][:16]
RULEBOOKS = ("usbc-2026", "usbc-2012", "ibf")


def made(raw: bytes, *, paper: Paper = "A4", balls: dict[str, Background] | None = None) -> bytes:
    """The report of a dossier, without a seal."""
    return make_report(ReportContent(dossier=raw, plant=MAKER, at=AT, balls=balls or {}, paper=paper)).pdf


@cache
def small_report() -> bytes:
    """The report of the little dossier."""
    return made(dossier())


def pages_of(pdf: bytes) -> list[str]:
    """The text of each page, lines joined by spaces."""
    with pypdfium2.PdfDocument(pdf) as opened:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in opened]


def text_of(pdf: bytes) -> str:
    """The text of a report."""
    return " ".join(pages_of(pdf))


def attached(pdf: bytes) -> dict[str, bytes]:
    """The files in a PDF by name, as another program finds them."""
    with pypdfium2.PdfDocument(pdf) as opened:
        files = [opened.get_attachment(number) for number in range(opened.count_attachments())]
        return {file.get_name(): bytes(file.get_data()) for file in files}


def changed(
    raw: bytes, sheets: list[BallSheet], rulebooks: list[RulebookFile], more: dict[str, bytes] | None = None
) -> bytes:
    """The dossier with other sheets and rulebooks, and more files; a report looks at no digest and no count."""
    files = {name: content for name, content in members(raw).items() if not name.startswith(("balls/", "rulebooks/"))}
    files |= {f"rulebooks/{one.digest}.toml": one.raw for one in rulebooks}
    files |= {f"balls/{sheet.unit}.json": format_page(sheet) for sheet in sheets}
    files |= more or {}
    order = sorted(files, key=_place)
    return archived({name: files[name] for name in order})


def _place(name: str) -> tuple[int, int, str]:
    """Where a file stands in a dossier, in the order of `dossier_format`."""
    heads = ["README.txt", "VERIFY.md", "verify.html", "checkpoint", "tokens", "keys.json", "rulebooks", "checklists"]
    heads += [
        "entries",
        "receipts",
        "openings",
        "lots",
        "balls",
        "approval.json",
        "verdicts.csv",
        "SHA256SUMS",
        "manifest.json",
    ]
    head, _, rest = name.partition("/")
    if head in {"entries", "receipts", "openings"}:
        return heads.index("entries"), int(rest.split(".")[0]), f"{heads.index(head):02}"
    return (heads.index(head) if head in heads else len(heads)), 0, rest


def wide_sheet(number: int) -> BallSheet:
    """A ball with sixteen readings, three rulebooks, forty lots, and long names everywhere."""
    rulebooks = [shipped_rulebooks()[name] for name in RULEBOOKS]
    return BallSheet(
        unit=f"U-{number:04}",
        serial=SERIAL if number == 1 else f"B{number:08}",
        former_serials=tuple(f"OLD-{old:06}" for old in range(12)),
        model="MODEL-OF-A-VERY-LONG-NAME-0000000000001",
        model_name=LONG_NAME,
        revision=12,
        core="asymmetric",
        weight_class=15,
        lot="SHELL-LOT",
        place=number,
        state="released",
        grade="first",
        facts=tuple(
            FactLine(fact=f"{1_000_000 + place}.{place}", kind="ball-engraved", at="2026-09-24T08:14:00.000+02:00")
            for place in range(60)
        ),
        lots=wide_lots(),
        readings=tuple(_reading(name) for name in QUANTITIES_READ),
        tables=tuple(_table(one, number) for one in rulebooks),
    )


def wide_lots() -> tuple[LotLine, ...]:
    """Forty lots of five stages."""
    lots = [LotLine(lot="SHELL-LOT", stage="shell", certainty="certain", level=0)]
    for stage, count, level in (("core", 3, 1), ("block", 3, 2), ("batch", 12, 2), ("material", 21, 3)):
        for place in range(count):
            name = LONG_LOT.format(place) if stage == "material" else f"{stage.upper()}-{place:02}"
            certainty = "certain" if place % 2 else "possible"
            lots.append(LotLine(lot=name, stage=stage, certainty=certainty, level=level))  # type: ignore[arg-type]  # one of two
    return tuple(lots)


def wide_background() -> Background:
    """Lines between the forty lots, and stages of cure that were kept, not kept, and without a window."""
    links = [LotLink("SHELL-LOT", f"CORE-{place:02}", certain=False) for place in range(3)]
    links += [LotLink(f"CORE-{place:02}", f"BLOCK-{place:02}", certain=False) for place in range(3)]
    links += [LotLink("SHELL-LOT", f"BATCH-{place:02}", certain=True) for place in range(4)]
    links += [LotLink(f"BLOCK-{place % 3:02}", f"BATCH-{place:02}", certain=False) for place in range(4, 12)]
    links += [LotLink(f"BATCH-{place % 12:02}", LONG_LOT.format(place), certain=place % 2 == 1) for place in range(21)]
    stages = ("block-demould", "block-rest", "core-demould", "core-rest", "shell-demould", "final-cure")
    cures = tuple(
        CureSpan(
            stage=stage,
            lot=LONG_LOT.format(place),
            began=f"2026-09-{place + 1:02}T08:00:00.000+00:00",
            ended=f"2026-09-{place + 1:02}T{9 + place % 8:02}:00:00.000+00:00",
            elapsed_s=3600 * (1 + place % 8),
            least_s=None if place % 4 == 3 else 7200,
            most_s=None if place % 3 else 20_000,
            kept=None if place % 4 == 3 else place % 5 != 2,
            certain=place % 2 == 0,
        )
        for place, stage in enumerate(stages * 4)
    )
    return Background(cures, tuple(links), {LONG_LOT.format(place): LONG_NAME for place in range(21)})


def _reading(name: str) -> ReadingLine:
    return ReadingLine(
        quantity=name,
        unit=QUANTITIES[name].units[0],
        value=12_345_678,
        standard_uncertainty=12_345,
        uncertainty_from="repeatability, calibration, resolution and bias, as registered and found; " * 4,
        statistic="mean",
        values=5,
        temperature_c="21.5",
        delay_s="1",
        spacing_mm="25",
        surface="sanded 4000 and cleaned",
        gauge="GAUGE-OF-A-VERY-LONG-NAME-00000000000001",
        fact="1234567.499",
        usable=name != "friction",
        why="the gauge was overdue, and no good as-found calibration has come since",
    )


def _table(rulebook: RulebookFile, number: int) -> VerdictTable:
    outcomes = ("conforms", "does_not_conform", "undecided", "not_measured", "barred", "not_applicable")
    lines = []
    for place, requirement in enumerate(rulebook.rulebook.requirements):
        outcome = outcomes[(place + number) % len(outcomes)]
        line = VerdictLine(
            requirement=requirement.id,
            outcome=outcome,
            limit=requirement.limit_text,
            unit=requirement.unit,
            decision=requirement.decision,
            provenance=requirement.provenance,
            reasons=("a long reason that was told by the gauge and by the person who took the reading",) * 3,
        )
        if outcome not in {"not_measured", "not_applicable"}:
            house = HouseLine(outcome="undecided", decision="three_way", guard_band="0.0123")
            line = msgspec.structs.replace(line, value="12.345678", margin="-0.123456", fact="1234567.499", house=house)
        lines.append(line)
    return VerdictTable(
        rulebook=rulebook.digest,
        id=rulebook.rulebook.id,
        made_on="2026-09-24",
        approved_on="2025-03-14",
        overall="does_not_conform",
        house="undecided",
        verdicts=tuple(lines),
    )


def wide_rulebooks() -> list[RulebookFile]:
    """The three rulebooks, by digest."""
    return sorted((shipped_rulebooks()[name] for name in RULEBOOKS), key=lambda one: one.digest)


def wide_dossier(count: int) -> bytes:
    """A dossier of so many such balls."""
    return changed(dossier(), [wide_sheet(number) for number in range(1, count + 1)], wide_rulebooks())


def wide_backgrounds(count: int) -> dict[str, Background]:
    """The background of each."""
    return {f"U-{number:04}": wide_background() for number in range(1, count + 1)}


def outside_margins(pdf: bytes, margin_mm: float) -> list[tuple[int, str]]:
    """Letters nearer to an edge of their page than the margin: page from 1, letter."""
    margin = margin_mm * 72 / 25.4
    found = []
    with pypdfium2.PdfDocument(io.BytesIO(pdf)) as opened:
        for number, page in enumerate(opened, 1):
            wide, tall = page.get_size()
            text = page.get_textpage()
            for place in range(text.count_chars()):
                left, bottom, right, top = text.get_charbox(place)
                near = min(left, bottom, wide - right, tall - top)
                if near < margin and right > left:
                    found.append((number, text.get_text_range(place, 1)))
    return found
