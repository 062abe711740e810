"""The report of a dossier as a PDF: what it says, what it never says, what is in it, and that nothing runs over."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from ledger.errors import NotFound, TooLarge
from ledger.evidence.dossier_format import BallSheet, parse_page
from ledger.evidence.pdf.cover import ATTACHMENT
from ledger.evidence.pdf.flow import SIZES, Paper
from ledger.evidence.pdf.parts import MOST_BALLS, MOST_BYTES, check_balls, read_parts
from tests.evidence.reported import (
    LONG_NAME,
    MAKER,
    SERIAL,
    attached,
    changed,
    made,
    outside_margins,
    pages_of,
    small_report,
    text_of,
    wide_backgrounds,
    wide_dossier,
    wide_rulebooks,
)
from tests.evidence.small_dossier import ORIGIN, dossier, members, sheet

NEVER = re.compile(r"\b(certified|approved)\b", re.IGNORECASE)


def test_report_says_what_the_sheets_say() -> None:
    """Numbers, values, limits, margins and gauges of both balls stand in it, and the book that they are of."""
    text = text_of(small_report())
    wanted = ["2345ACDFG", "2345ACDFH", "Rockrose", "74.5", "≥ 73 Shore D", "+1.5", "15.1 ± 0.02", "≤ 16 lb²", "G-HARD"]
    assert [one for one in [*wanted, ORIGIN, MAKER, "8.1"] if one not in text] == []
    assert "corrected: said now by fact 11.0.0" in text


def test_report_states_the_head_in_full() -> None:
    """Size and root of the checkpoint stand in it so that paper can be compared with what others publish."""
    parts = read_parts(dossier())
    text = text_of(small_report())
    root = parts.root.hex()
    assert " ".join(root[at : at + 8] for at in range(0, 64, 8)) in text
    assert f"{parts.manifest.tree_size} entries" in text
    assert "no witness has cosigned this head" in text


def test_report_never_says_that_a_body_agreed() -> None:
    """Neither word stands in any text of our own, on any page of the small or of the wide report."""
    wide = made(wide_dossier(1), balls=wide_backgrounds(1))
    assert [found for pdf in (small_report(), wide) for page in pages_of(pdf) for found in NEVER.findall(page)] == []
    assert "not an approval" in text_of(small_report())


def test_same_content_gives_the_same_bytes() -> None:
    """Nothing of the clock or of the machine is in a report that is not sealed."""
    assert made(dossier()) == small_report()


def test_report_holds_the_dossier() -> None:
    """Another program finds the dossier in it, byte for byte, and no other file."""
    assert attached(small_report()) == {ATTACHMENT: dossier()}


def test_pages_are_numbered_and_named() -> None:
    """Each page says which it is, of how many; those of a ball name the ball."""
    pages = pages_of(small_report())
    assert [f"page {number} of {len(pages)}" in page for number, page in enumerate(pages, 1)] == [True] * len(pages)
    first = next(number for number, page in enumerate(pages) if "Ball 2345ACDFG" in page and "Readings" in page)
    assert pages[first].index("2345ACDFG") < pages[first].index("Ball 2345ACDFG")
    assert pages[0].split()[-2:] == [f"{first + 1}", f"{first + 2}"]


@pytest.mark.parametrize("paper", get_args(Paper))
def test_nothing_runs_over_the_margins(paper: Paper) -> None:
    """Long names, sixteen quantities, three rulebooks and forty lots stay inside the margins, on both papers."""
    pdf = made(wide_dossier(1), paper=paper, balls=wide_backgrounds(1))
    assert outside_margins(pdf, 9.5) == []
    wide, tall = SIZES[paper]
    assert f"/MediaBox [0 0 {wide / 25.4 * 72:.2f} {tall / 25.4 * 72:.2f}]".encode() in pdf


def test_every_letter_is_printed_or_said_to_be_missing() -> None:
    """German, Slavic and Cyrillic letters stand as they are; of one that the typeface lacks its base letter, or a question mark."""
    text = text_of(made(wide_dossier(1)))
    assert SERIAL in text
    assert "Größenwahn Wÿčęşğ №7 “Żółć” Модель ??" in text
    assert "漢" in LONG_NAME
    assert "漢" not in text


def test_too_many_balls_are_refused_with_the_reason() -> None:
    """The limit stands in the refusal, and that the files alone have none."""
    with pytest.raises(TooLarge, match=f"at most {MOST_BALLS}, got {MOST_BALLS + 1}") as refused:
        check_balls(MOST_BALLS + 1)
    assert "leave the report out" in refused.value.mend
    check_balls(MOST_BALLS)


def test_no_ball_is_refused() -> None:
    """A report of nothing is none."""
    with pytest.raises(NotFound):
        made(changed(dossier(), [], wide_rulebooks()))


def test_too_large_a_dossier_is_refused() -> None:
    """What a report takes into itself has a limit."""
    with pytest.raises(TooLarge):
        read_parts(bytes(MOST_BYTES + 1))


def test_report_is_tagged_and_has_a_title() -> None:
    """It has headings, tables with heads, pictures with their text, a language and a title, for who cannot see it."""
    pdf = made(wide_dossier(1), balls=wide_backgrounds(1))
    for tag in (b"/S /H1", b"/S /H2", b"/S /P", b"/S /Table", b"/S /TR", b"/S /TH", b"/S /TD", b"/S /Figure"):
        assert tag in pdf
    assert pdf.count(b"/S /Figure") == pdf.count(b"/Alt ")
    assert b"/Lang (en)" in pdf
    assert b"/DisplayDocTitle true" in pdf
    assert b"Cure and rest. Block in its mould" in pdf


def test_parse_page_reads_what_the_report_holds() -> None:
    """A sheet out of the attached file is the one that the report was made of."""
    inside = members(attached(small_report())[ATTACHMENT])
    assert parse_page(inside["balls/U-1.json"], BallSheet, "balls/U-1.json") == sheet("U-1")
