"""What a file is by its own bytes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.application.file_types import file_type
from tests.application.files import JPEG, PDF, SCRIPT, png


def kind(raw: bytes) -> str:
    """What a whole file is taken for."""
    return file_type(raw[:64], raw[-1024:])


def test_pictures_and_papers_are_known() -> None:
    """By more than their first four bytes."""
    assert ("PNG", "JPEG", "PDF") == (kind(png()), kind(JPEG), kind(PDF))


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        SCRIPT,
        png()[:32],
        png()[:8] + SCRIPT,
        png().replace(b"IHDR", b"IDAT", 1),
        png()[:16] + bytes(4) + png()[20:],
        png()[:30] + b"\x00\x00\x00" + png()[33:],
        JPEG[:-2],
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xd9",
        b"\xff\xd8\xff\x00" + JPEG[4:],
        JPEG[:2] + JPEG[3:],
        PDF[:-6],
        b" " + PDF,
        PDF.replace(b"%PDF-1.7", b"%PDF-X.7"),
    ],
    ids=[
        "empty", "script", "cut", "signature alone", "no IHDR", "no width", "wrong CRC", "no end of image", "start alone",
        "start and end alone", "no marker", "no second marker", "no end of file", "late header", "no version",
    ],
)  # fmt: skip
def test_what_only_begins_like_one_is_none(raw: bytes) -> None:
    """Cut short, or with the first bytes of a picture before something else."""
    assert "" == kind(raw)


@given(st.integers(min_value=0, max_value=len(png()) * 8 - 1))
def test_a_png_with_a_changed_header_is_none(bit: int) -> None:
    """Any bit of the 33 bytes up to the end of the header; the rest is not looked at."""
    raw = bytearray(png())
    raw[bit // 8] ^= 1 << (bit % 8)
    assert ("" if bit < 33 * 8 else "PNG") == kind(bytes(raw))


@given(st.binary(max_size=80), st.binary(max_size=80))
def test_any_bytes_give_an_answer(first: bytes, last: bytes) -> None:
    """Nothing is raised."""
    assert file_type(first, last) in {"", "PNG", "JPEG", "PDF"}
