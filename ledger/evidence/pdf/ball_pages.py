"""The pages of one ball: what it is, its verdicts, its readings, its cure against the plan, its materials, its facts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

from msgspec import UNSET

from ledger.conformity.rulebook import Rulebook
from ledger.evidence.dossier_format import BallSheet, FactLine, ReadingLine, VerdictTable
from ledger.evidence.pdf.cure_picture import cure_height, cure_words, draw_cures
from ledger.evidence.pdf.figures import Judged, judged_of, name_of, reading_expanded, reading_value
from ledger.evidence.pdf.flow import Flow
from ledger.evidence.pdf.materials_picture import MaterialsPicture
from ledger.evidence.pdf.parts import Background
from ledger.evidence.pdf.pen import ASIDE, SMALL
from ledger.evidence.pdf.table import Cell, Column, Table
from ledger.evidence.pdf.verdict_pages import serial_of
from ledger.evidence.pdf.words import (
    DECISIONS,
    GRADES,
    MARKS,
    OUTCOMES,
    STAGES,
    STATES,
    instant,
    many,
    word,
)
from ledger.line.quantity import QUANTITIES, UNITS

_OWN = ("the limit is second-hand", "the limit is from memory")
"""Reasons that the mark of a limit says already."""

_LONGEST = 600

_SPANS = 22
"""Stages in one drawing."""


def write_ball(flow: Flow, sheet: BallSheet, rulebooks: Mapping[str, Rulebook], background: Background) -> None:
    """Write them; the ball's number stands in the head of each."""
    number = serial_of(sheet)
    flow.heading("H1", f"Ball {number}", keep=60)
    flow.facts(_identity(sheet), label=34)
    for table in sheet.tables:
        _write_table(flow, sheet, table, rulebooks)
    _write_readings(flow, sheet.readings)
    _write_cures(flow, background)
    _write_materials(flow, sheet, background)
    _write_facts(flow, sheet.facts)


def _identity(sheet: BallSheet) -> list[tuple[str, str]]:
    revision = "" if sheet.revision is UNSET else f", revision {sheet.revision}"
    pounds = "" if sheet.weight_class is UNSET else f", class {sheet.weight_class} lb"
    core = "an asymmetric core" if sheet.core == "asymmetric" else "a symmetric core"
    place = "" if sheet.place is UNSET else f", place {sheet.place} in it"
    grade = "" if sheet.grade is UNSET else f", {word(GRADES, sheet.grade)}"
    rows = [
        ("Number", "none" if sheet.serial is UNSET else sheet.serial),
        ("Model", f"{sheet.model_name} ({sheet.model}){revision}{pounds}, {core}"),
        ("Unit in the book", f"{sheet.unit}, of shell lot {sheet.lot}{place}"),
        ("State", f"{word(STATES, sheet.state)}{grade}"),
    ]
    if sheet.former_serials:
        rows.insert(1, ("Earlier numbers", ", ".join(sheet.former_serials)))
    return rows


_VERDICT_COLUMNS = (
    Column("Quantity", most=38),
    Column("Limit", most=31),
    Column("Value \u00b1 U", "R", most=32),
    Column("Margin", "R", most=20),
    Column("Probability", "R", most=18),
    Column("Verdict", most=60),
)


def _write_table(flow: Flow, sheet: BallSheet, table: VerdictTable, rulebooks: Mapping[str, Rulebook]) -> None:
    rulebook = rulebooks[table.rulebook]
    judged = [*judged_of(sheet, table, rulebooks)]
    shown = [one for one in judged if one.line.outcome != "not_applicable"]
    flow.heading("H2", f"Verdicts by {rulebook.id}: {word(OUTCOMES, table.overall)}", keep=26, outline=False)
    dates = [] if table.made_on is UNSET else [f"manufacture ({rulebook.made_event}) on {table.made_on}"]
    if table.approved_on is not UNSET:
        dates.append(f"approval of the model by a body from {table.approved_on}")
    house = "" if table.house is UNSET else f" By the rule of the house: {word(OUTCOMES, table.house)}."
    flow.paragraph(f"{rulebook.body}, edition {rulebook.edition}; {', '.join(dates) or 'no date known'}.{house}", SMALL)
    if shown:
        Table(flow, _VERDICT_COLUMNS, [_verdict_row(one) for one in shown], size=7.6).write()
    left = len(judged) - len(shown)
    if left:
        does = (
            "does not apply to this ball: its reason stands"
            if left == 1
            else "do not apply to this ball: the reason of each stands"
        )
        flow.paragraph(f"{many(left, 'further limit')} of the rulebook {does} in its sheet.", SMALL)


def _verdict_row(one: Judged) -> list[Cell]:
    line = one.line
    value = f"{one.value} \u00b1 {one.expanded_text}" if one.expanded_text else one.value
    why = "; ".join(reason for reason in line.reasons if not reason.startswith(_OWN))
    house = ""
    # Where the house has no distance of its own to keep, it says what the limit says.
    if (
        line.house is not UNSET
        and one.value
        and (line.house.guard_band is not UNSET or line.house.outcome != line.outcome)
    ):
        band = "" if line.house.guard_band is UNSET else f", guard band {line.house.guard_band}"
        house = f"house rule: {word(OUTCOMES, line.house.outcome)}{band}"
    said = "; ".join(part for part in (house, why) if part)
    return [
        Cell(name_of(one.requirement), f"{line.requirement}, {word(DECISIONS, line.decision)}"),
        Cell(f"{one.limit}{MARKS.get(line.provenance, '')}"),
        Cell(value, "" if one.expanded_text or not one.value else "U is not known"),
        Cell(one.margin),
        Cell(one.probability),
        Cell(word(OUTCOMES, line.outcome), _cut(said), strong=line.outcome == "does_not_conform"),
    ]


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST].rstrip()} ... (more in the sheet)"


_READING_COLUMNS = (
    Column("Quantity", most=40),
    Column("Value", "R", most=26),
    Column("U (k = 2)", "R", most=20),
    Column("How it was taken", most=96),
    Column("Gauge", most=22),
    Column("Fact", "R", most=16),
)


def _write_readings(flow: Flow, readings: Sequence[ReadingLine]) -> None:
    flow.heading("H2", "Readings", keep=24, outline=False)
    if not readings:
        flow.paragraph("No reading of this ball stands.")
        return
    Table(flow, _READING_COLUMNS, [_reading_row(line) for line in readings], size=7.6).write()


def _reading_row(line: ReadingLine) -> list[Cell]:
    taken = "one reading" if line.values == 1 else f"{line.statistic} of {line.values}"
    conditions = [
        (line.temperature_c, "{} \u00b0C"),
        (line.delay_s, "within {} s"),
        (line.spacing_mm, "{} mm apart"),
        (line.surface, "surface {}"),
        (line.definition, "{}"),
    ]
    said = [form.format(value) for value, form in conditions if value is not UNSET]
    source = "" if line.uncertainty_from is UNSET else line.uncertainty_from
    unusable = "" if line.usable else f"NOT USED: {'' if line.why is UNSET else line.why}"
    name = QUANTITIES[line.quantity].name
    return [
        Cell(name[:1].upper() + name[1:]),
        Cell(f"{reading_value(line)} {UNITS[line.unit].printed}"),
        Cell(reading_expanded(line) or "not known"),
        Cell(", ".join([taken, *said]), _cut("; ".join(part for part in (unusable, source) if part))),
        Cell(line.gauge),
        Cell(line.fact),
    ]


def _write_cures(flow: Flow, background: Background) -> None:
    flow.heading("H2", "Cure and rest against the process plan", keep=20, outline=False)
    spans = background.cures
    if not spans:
        flow.paragraph("No stage of cure or rest is told in this report.")
        return
    for first in range(0, len(spans), _SPANS):
        part = spans[first : first + _SPANS]
        flow.picture(cure_height(part), cure_words(part), partial(draw_cures, spans=part, room=flow.room))
    flow.paragraph(
        "Each window is that of the plan in force when the step began. Dates are month and day at midnight UTC.", SMALL
    )


def _write_materials(flow: Flow, sheet: BallSheet, background: Background) -> None:
    picture = MaterialsPicture(sheet.lots, background)
    title = f"Materials: {many(len(sheet.lots), 'lot')}, from the ball back to the drum"
    flow.heading("H2", title, keep=picture.height if picture.fits else 30, outline=False)
    if picture.fits:
        flow.picture(picture.height, picture.words(), lambda pen, x, y: picture.draw(pen, (x, y), flow.room))
        return
    flow.paragraph("There are too many lots for a drawing; they are listed instead.", ASIDE)
    rows = [
        [word(STAGES, line.stage), line.lot, background.names.get(line.lot, ""), line.certainty] for line in sheet.lots
    ]
    columns = (Column("Stage"), Column("Lot", most=50), Column("What", most=60), Column("Descent"))
    Table(flow, columns, rows, size=7.6).write()


def _write_facts(flow: Flow, facts: Sequence[FactLine]) -> None:
    flow.heading("H2", "Facts about this ball in the book", keep=20, outline=False)
    rows = [
        [
            Cell(line.fact),
            Cell(word({}, line.kind), "" if line.body is UNSET else f"corrected: said now by fact {line.body}"),
            Cell(instant(line.at)),
        ]
        for line in facts
    ]
    columns = (
        Column("Fact", least=20, most=24),
        Column("Kind", least=60, most=80),
        Column("When, as said", least=40, most=52),
    )
    Table(flow, columns, rows, size=7.6).write()
