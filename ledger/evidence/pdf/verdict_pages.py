"""The verdicts over all balls of a report: what each limit comes to, then the table of all balls, some limits at a time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from fractions import Fraction

from ledger.conformity.outcome import OUTCOMES
from ledger.conformity.rulebook import Rulebook
from ledger.evidence.dossier_format import BallSheet
from ledger.evidence.pdf.charts import CHART_HEIGHT, Series, draw_chart
from ledger.evidence.pdf.figures import Judged, name_of
from ledger.evidence.pdf.flow import Flow
from ledger.evidence.pdf.pen import ASIDE, SMALL
from ledger.evidence.pdf.table import Cell, Column, Table
from ledger.evidence.pdf.words import DECISIONS, MARKS, SHORT, word

CHARTS = "The values against the limits"
"""The title of the part with the charts."""

_ACROSS = 6
"""Limits beside each other in the table of all balls."""

_HEADS = {"does_not_conform": "does not conform", "barred": "barred", "not_applicable": "n/a"}

ByUnit = Mapping[str, Judged]
"""The verdicts on one requirement, by the unit of the book."""


def write_verdicts(flow: Flow, sheets: Sequence[BallSheet], rulebook: Rulebook, verdicts: Sequence[ByUnit]) -> None:
    """The part of one rulebook. ``verdicts``: for each requirement in its order the verdicts on the balls."""
    flow.heading("H1", f"Verdicts by {rulebook.title}", keep=60)
    flow.facts(
        [
            ("Body and edition", f"{rulebook.body}, {rulebook.edition}"),
            ("Rulebook", rulebook.id),
            ("Manufacture is", f"the {rulebook.made_event} of a ball"),
        ]
    )
    if rulebook.note:
        flow.paragraph(rulebook.note, ASIDE)
    judged = [one for one in verdicts if any(line.line.outcome != "not_applicable" for line in one.values())]
    rest = [one for one in verdicts if one not in judged]
    if judged:
        flow.heading("H2", "What each limit comes to", outline=False)
        Table(flow, _COUNTED, [_counted(one, sheets) for one in judged], size=7.6).write()
    if rest:
        names = "; ".join(f"{name_of(one.requirement)} {one.limit}" for one in map(_any, rest))
        flow.paragraph(f"Applying to no ball here: {names}.", SMALL)
    _write_marks(flow)
    if judged:
        _write_all(flow, sheets, judged)


def _any(verdicts: ByUnit) -> Judged:
    return next(iter(verdicts.values()))


_COUNTED = (
    Column("Quantity and limit", most=48),
    Column("Decided by", most=24),
    *(Column(word(_HEADS, outcome), "R", 8, 14) for outcome in OUTCOMES),
    Column("Least margin", "R", 12, 24),
)


def _counted(verdicts: ByUnit, sheets: Sequence[BallSheet]) -> list[Cell]:
    one = _any(verdicts)
    counts = Counter(judged.line.outcome for judged in verdicts.values())
    margins = {unit: Fraction(judged.margin) for unit, judged in verdicts.items() if judged.margin}
    least = min(margins, key=lambda unit: (margins[unit], unit), default=None)
    numbers = [
        Cell(
            f"{counts[outcome]:,}" if counts[outcome] else "\u2013",
            strong=outcome == "does_not_conform" and counts[outcome] > 0,
        )
        for outcome in OUTCOMES
    ]
    closest = Cell("")
    if least is not None:
        number = next(serial_of(sheet) for sheet in sheets if sheet.unit == least)
        closest = Cell(f"{verdicts[least].margin} {one.unit}", number)
    limit = f"{one.limit}{MARKS.get(one.line.provenance, '')}"
    name = Cell(f"{name_of(one.requirement)} {limit}", one.line.requirement)
    return [name, Cell(word(DECISIONS, one.line.decision)), *numbers, closest]


def serial_of(sheet: BallSheet) -> str:
    """The number that a ball bears, or where it has none the unit's own."""
    return sheet.serial if isinstance(sheet.serial, str) else sheet.unit


def _write_marks(flow: Flow) -> None:
    flow.paragraph(
        "Margin: how far inside the limit a value lies, in the limit's unit; with a minus, outside. \u00b1 is U, the "
        "expanded uncertainty with k = 2, rounded up. \u00b2: the limit is second-hand, quoted elsewhere. \u00b3: the limit is "
        "from memory, not read anywhere.",
        SMALL,
    )


def _write_all(flow: Flow, sheets: Sequence[BallSheet], judged: Sequence[ByUnit]) -> None:
    titles = Counter(_title(_any(one)) for one in judged)
    twice = {title for title, count in titles.items() if count > 1}
    for first in range(0, len(judged), _ACROSS):
        part = judged[first : first + _ACROSS]
        more = f", limits {first + 1} to {first + len(part)} of {len(judged)}" if len(judged) > _ACROSS else ""
        flow.heading("H2", f"All balls: value \u00b1 U and margin{more}", keep=30, outline=False)
        columns = [Column("Ball", least=19, most=34), *(_column(_any(one), twice) for one in part)]
        rows = [[Cell(serial_of(sheet)), *(_cell(one.get(sheet.unit)) for one in part)] for sheet in sheets]
        Table(flow, columns, rows, size=7.6).write()


def _column(one: Judged, twice: Collection[str]) -> Column:
    """A column; two limits that read the same are told apart by the rulebook's own names for them."""
    title = _title(one)
    return Column(f"{title} ({one.line.requirement})" if title in twice else title, "R", 17, 27)


def _title(one: Judged) -> str:
    return f"{name_of(one.requirement)} {one.limit}{MARKS.get(one.line.provenance, '')}"


def _cell(one: Judged | None) -> Cell:
    if one is None:
        return Cell("")
    outcome = one.line.outcome
    if not one.value:
        return Cell(word(SHORT, outcome))
    value = f"{one.value} \u00b1 {one.expanded_text}" if one.expanded_text else one.value
    said = [one.margin, SHORT.get(outcome, outcome), "" if one.expanded_text else "U unknown"]
    return Cell(value, ", ".join(part for part in said if part), strong=outcome == "does_not_conform")


def write_charts(flow: Flow, series: Sequence[Series]) -> None:
    """A histogram of each quantity, two beside each other."""
    flow.heading("H1", CHARTS)
    flow.paragraph(
        "Dashed lines are limits; the slanted ground inside a limit is its guard band, as wide as the widest that any of "
        "these balls was judged with. Of few balls each is a dot with its U to either side, of many there are bars, "
        "slanted where they lie outside a limit. Values are in the limit's unit, converted exactly where they were "
        "measured in another.",
        SMALL,
    )
    gap = 8.0
    wide = (flow.room - gap) / 2
    for first in range(0, len(series), 2):
        flow.need(CHART_HEIGHT)
        for place, one in enumerate(series[first : first + 2]):
            with flow.pen.structure.content("Figure", alt=one.words()):
                draw_chart(flow.pen, (flow.left + place * (wide + gap), flow.y), wide, one)
        flow.y += CHART_HEIGHT + 4.5
