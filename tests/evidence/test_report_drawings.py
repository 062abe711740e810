"""The drawings of a report: charts with limits and guard bands, cure against the plan, materials; and lines of text."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing

import pytest
from fpdf import FPDF

from ledger.conformity.rulebook import shipped_rulebooks
from ledger.evidence.dossier_format import HouseLine, LotLine, VerdictLine
from ledger.evidence.pdf.charts import CHART_HEIGHT, MOST_DOTS, Series, draw_chart, series_of
from ledger.evidence.pdf.cure_picture import cure_height, cure_words, draw_cures
from ledger.evidence.pdf.figures import Judged
from ledger.evidence.pdf.materials_picture import MOST_ROWS, MaterialsPicture
from ledger.evidence.pdf.parts import Background, LotLink
from ledger.evidence.pdf.pen import BODY, Pen
from tests.evidence.reported import LONG_NAME, outside_margins, text_of, wide_background, wide_lots

HARDNESS = next(one for one in shipped_rulebooks()["usbc-2026"].rulebook.requirements if one.id == "usbc.hardness")


def drawn(draw: Callable[[Pen], None]) -> bytes:
    """A page with a drawing, margins of 20 mm about it."""
    pdf = FPDF(unit="mm", format="A4")
    pdf.set_auto_page_break(False)
    with closing(Pen(pdf)) as pen:
        pdf.add_page()
        draw(pen)
        return bytes(pdf.output())


def judged(value: str, *, band: str | None = None, rulebook: str = "usbc-2026") -> tuple[str, str, Judged]:
    """A verdict on a hardness, its ball named by its value."""
    house = HouseLine(outcome="conforms", decision="three_way", **({} if band is None else {"guard_band": band}))
    line = VerdictLine(
        requirement=HARDNESS.id,
        outcome="conforms",
        limit=HARDNESS.limit_text,
        unit=HARDNESS.unit,
        decision="simple",
        provenance="read",
        value=value,
        margin="1",
        house=house,
    )
    return f"U-{value}", rulebook, Judged(HARDNESS, line, None, "")


def hardness(count: int) -> Series:
    """The series of so many balls, 72 Shore D and upwards by tenths."""
    (series,) = series_of(judged(f"{72 + number / 10:.1f}", band="0.7") for number in range(count))
    return series


def test_series_gathers_limits_of_several_rulebooks() -> None:
    """The same limit of two rulebooks is one line with both names, and its guard band is the widest that was used."""
    found = series_of([judged("74", band="0.5"), judged("74", band="0.8", rulebook="house"), judged("75")])
    (series,) = found
    assert series.words() == (
        "Hardness: 2 balls, 74 to 75 Shore D; limit ≥ 73 Shore D of usbc-2026, house, guard band up to 0.8"
    )


def test_unmeasured_balls_are_in_no_chart() -> None:
    """A verdict without a value adds nothing."""
    unit, rulebook, one = judged("74")
    line = VerdictLine(**{name: getattr(one.line, name) for name in ("requirement", "limit", "unit", "decision")},
                       outcome="not_measured", provenance="read")  # fmt: skip
    assert series_of([(unit, rulebook, one._replace(line=line))]) == []


@pytest.mark.parametrize("count", [1, MOST_DOTS, MOST_DOTS + 1, 200])
def test_chart_of_few_and_of_many_balls_stays_in_its_box(count: int) -> None:
    """Dots or bars, a chart names its quantity, count and limit, and no letter leaves its box."""
    pdf = drawn(lambda pen: draw_chart(pen, (20, 20), 82, hardness(count)))
    text = text_of(pdf)
    assert f"Hardness, Shore D {count} ball{'' if count == 1 else 's'} limit ≥ 73 Shore D" in text
    assert outside_margins(pdf, 19.5) == []
    assert CHART_HEIGHT < 60


def test_cure_is_told_in_words_too() -> None:
    """What the drawing shows of each stage stands in its text for who cannot see it: kept, not kept, or without a window."""
    words = cure_words(wide_background().cures)
    assert words.count(":") == 24 + words.count("NOT KEPT:")
    assert "Core in its mould (MATERIAL-LOT-OF-A-VERY-LONG-NAME-0002): 3 h, NOT KEPT: at least 2 h." in words
    assert "no window in the plan" in words
    assert "Block at rest (MATERIAL-LOT-OF-A-VERY-LONG-NAME-0001, possible): 2 h, plan at least 2 h." in words


def test_cure_drawing_stays_in_its_room() -> None:
    """Twenty-four stages with long names stay inside the width that is given."""
    spans = wide_background().cures
    pdf = drawn(lambda pen: draw_cures(pen, 20, 20, spans, 170))
    assert outside_margins(pdf, 19.5) == []
    assert cure_height(spans) == pytest.approx(6 + 24 * 8.4 + 2)


def test_materials_keep_a_gap_for_lines_that_pass_a_column() -> None:
    """A line that passes a column makes it a row taller, so that it runs behind no lot."""
    lots = [
        LotLine(lot=lot, stage=stage, certainty="certain", level=level)
        for lot, stage, level in (("S", "shell", 0), ("C", "core", 1), ("K", "batch", 1))
    ]
    links = (LotLink("S", "C", certain=True), LotLink("C", "K", certain=True))
    without = MaterialsPicture(lots, Background(links=links))
    passing = MaterialsPicture(lots, Background(links=(*links, LotLink("S", "K", certain=True))))
    assert passing.height > without.height
    assert passing.words() == (
        "Lots that the ball descends from: Shell lot S certain; Core lot C certain; Batch K certain. 3 lines between them."
    )


def test_materials_of_forty_lots_stay_in_their_room() -> None:
    """Long names are shortened in their boxes, and the key stands below."""
    picture = MaterialsPicture(wide_lots(), wide_background())
    assert picture.fits
    pdf = drawn(lambda pen: picture.draw(pen, (20, 20), 170))
    assert outside_margins(pdf, 19.5) == []
    assert "possible: the records do not tell whether the ball holds it or another lot" in text_of(pdf)


def test_too_many_lots_are_not_drawn() -> None:
    """Above so many rows there is a list instead."""
    lots = [
        LotLine(lot=f"M-{number}", stage="material", certainty="certain", level=1) for number in range(MOST_ROWS + 1)
    ]
    assert not MaterialsPicture(lots, Background()).fits
    assert MaterialsPicture(lots[1:], Background()).fits


def test_lots_that_came_from_their_own_stage_are_drawn() -> None:
    """A shell lot split off from another has a line round the column, not through a box."""
    lots = [LotLine(lot=lot, stage="shell", certainty="certain", level=level) for level, lot in enumerate("AB")]
    picture = MaterialsPicture(lots, Background(links=(LotLink("A", "B", certain=True),)))
    assert "A" in text_of(drawn(lambda pen: picture.draw(pen, (20, 20), 170)))


@pytest.fixture
def pen() -> Iterator[Pen]:
    """A pen over nothing, for what is measured."""
    with closing(Pen(FPDF(unit="mm"))) as made:
        yield made


@pytest.mark.parametrize("width", [5.0, 20.0, 60.0])
def test_no_line_of_text_is_wider_than_its_room(pen: Pen, width: float) -> None:
    """A long word is broken, after a sign where it has one, and no letter is lost."""
    lines = pen.lines(LONG_NAME, BODY, width)
    assert [line for line in lines if pen.width(line, BODY) > width] == []
    assert "".join(lines).replace(" ", "") == pen.printable(LONG_NAME).replace(" ", "")


def test_shortened_text_says_so(pen: Pen) -> None:
    """What does not fit into one line ends in three dots."""
    short = pen.shortened(LONG_NAME, BODY, 30)
    assert short.endswith("...")
    assert pen.width(short, BODY) <= 30
    assert pen.shortened("short", BODY, 30) == "short"
