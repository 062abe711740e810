"""Letters as PDF: the same bytes for the same letter, all of its text on the pages, headings over every part of a table."""

from __future__ import annotations

import datetime as dt
from contextlib import closing
from typing import Any

import msgspec
import pypdfium2  # type: ignore[import-untyped]  # the package has no type marker
import pytest

from ledger.errors import MalformedInput, TooLarge
from ledger.evidence.letter import MOST_ROWS, Letter, letter_pdf, printable


def letter(count: int = 3, **fields: Any) -> Letter:
    """A letter with a table of so many rows."""
    said: dict[str, Any] = {
        "sender": ("Example Ball Works", "1 Mill Lane"),
        "to": ("Shop Canal Side", "12 Canal Side"),
        "on": dt.date(2026, 5, 4),
        "reference": "C-12 / SHOP-1",
        "subject": "Recall of the balls listed here",
        "paragraphs": ("To whom it may concern,", "Please keep them apart. " * 20),
        "columns": ("Serial", "Model", "Sent on"),
        "rows": tuple((f"P{number:06d}", "Orbit", "2026-03-04") for number in range(count)),
        "closing": ("Yours sincerely,", "Example Ball Works"),
    }
    return Letter(**{**said, **fields})


def pages(raw: bytes) -> list[str]:
    """The text of each page of a PDF."""
    with closing(pypdfium2.PdfDocument(raw)) as document:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def test_the_same_letter_gives_the_same_bytes() -> None:
    """No clock is looked at: the date is the letter's own."""
    raw = letter_pdf(letter(40))
    assert raw == letter_pdf(letter(40))
    assert raw != letter_pdf(letter(40, on=dt.date(2026, 5, 5)))


def test_everything_said_stands_on_the_page() -> None:
    """Sender, addressee, date, reference, subject, text, table and closing."""
    (text,) = pages(letter_pdf(letter()))
    for part in (
        "Example Ball Works", "1 Mill Lane", "Shop Canal Side", "12 Canal Side", "2026-05-04", "C-12 / SHOP-1",
        "Recall of the balls listed here", "To whom it may concern", "P000002", "Orbit", "Yours sincerely",
    ):  # fmt: skip
        assert part in text
    assert "Page 1 of 1" in text


def test_a_long_table_repeats_its_headings_and_loses_no_row() -> None:
    """Every page with rows has the headings once; pages are numbered to the last."""
    found = pages(letter_pdf(letter(200)))
    assert len(found) > 3
    for number, text in enumerate(found, 1):
        assert f"Page {number} of {len(found)}" in text
        assert (1 if "P000" in text else 0) == text.count("Sent on")
    assert [f"P{number:06d}" for number in range(200)] == [
        word for text in found for word in text.split() if word.startswith("P0")
    ]


def test_a_long_cell_is_broken_and_not_cut() -> None:
    """Over as many lines as it needs, also where it is wider than its share."""
    long = " ".join(f"word{number}" for number in range(60))
    rows = (("P000001", long, "2026-03-04"), ("P000002", "Orbit", "2026-03-05"))
    told = " ".join(pages(letter_pdf(msgspec.structs.replace(letter(), rows=rows))))
    assert all(f"word{number}" in told for number in range(60))
    assert "2026-03-05" in told


def test_what_the_fonts_cannot_print_keeps_its_base_letter() -> None:
    """A question mark stands where there is none; quotes and dashes are plain."""
    assert 'Zlutý, sûre - "ok" ... ?' == printable("Žlutý, sûre – “ok” … 球")
    assert "Café\nß" == printable("Café\nß")
    assert "?" == printable("\u0007")


def test_a_letter_without_table_has_none() -> None:
    """Text alone, over several pages where it is long."""
    found = pages(letter_pdf(letter(columns=(), rows=(), paragraphs=("Some words. " * 300,) * 4)))
    assert len(found) > 2
    assert "Yours sincerely" in found[-1]


def test_rows_fit_the_columns() -> None:
    """A row of another length is refused, and so is a table without end."""
    with pytest.raises(MalformedInput):
        letter_pdf(msgspec.structs.replace(letter(), rows=(("P1",),)))
    with pytest.raises(TooLarge):
        letter_pdf(msgspec.structs.replace(letter(), rows=(("P1", "", ""),) * (MOST_ROWS + 1)))
