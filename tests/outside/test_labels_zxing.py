"""Labels as printed, read by an independent decoder: zxing-cpp, which shares no code with the encoder."""

import io
from datetime import UTC, datetime

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from api.labels.ball_label import Label, png_label
from api.labels.sheet import pdf_sheet, rendered_pages
from ledger.line.gs1 import format_link, parse_link
from ledger.line.serial import SERIAL_COUNT, next_serials, serial_at

GTIN = "09520123456788"  # Source: GS1 Digital Link URI Syntax, examples; 952 is the range for examples.
KEY = b"0123456789abcdef"


def read(image: Image.Image) -> list[zxingcpp.Barcode]:
    """Everything that the decoder finds, of any symbology."""
    return list(zxingcpp.read_barcodes(image.convert("L")))


@pytest.mark.parametrize(("dpi", "dots"), [(203, 4), (300, 5), (300, 6), (600, 10), (600, 12)])
def test_a_label_is_read_at_each_printer_resolution(dpi: int, dots: int) -> None:
    """Source: zxing-cpp; a plain QR (]Q1, ISO/IEC 18004 symbology identifier) at level Q with the very address."""
    link = format_link("id.example.com", GTIN, serial_at(1, KEY))
    with Image.open(io.BytesIO(png_label(link, serial_at(1, KEY), ("Model", "first"), dpi=dpi, dots=dots))) as image:
        found = [(code.text, code.ec_level, code.symbology_identifier) for code in read(image)]
    assert [(link, "Q", "]Q1")] == found


def test_a_turned_and_blurred_label_is_still_read() -> None:
    """Common practice, no source: a print held askew, a little out of focus."""
    link = format_link("id.example.com", GTIN, serial_at(2, KEY))
    with Image.open(io.BytesIO(png_label(link, serial_at(2, KEY)))) as image:
        seen = image.convert("L").rotate(17, expand=True, fillcolor=255).filter(ImageFilter.GaussianBlur(1.5))
    assert [link] == [code.text for code in read(seen)]


@settings(max_examples=40)
@given(st.integers(0, SERIAL_COUNT - 1))
def test_the_read_address_names_the_serial(counter: int) -> None:
    """Source: zxing-cpp; from the counter to the picture and back to the serial."""
    serial = serial_at(counter, KEY)
    with Image.open(io.BytesIO(png_label(format_link("id.example.com", GTIN, serial), serial))) as image:
        (code,) = read(image)
    assert serial == parse_link(code.text).serial


def test_every_label_of_a_rendered_sheet_is_found() -> None:
    """Source: PDFium renders, zxing-cpp reads the whole page: each address once."""
    serials = next_serials(KEY, 0, 12)
    sheet = [Label(format_link("id.example.com", GTIN, serial), serial) for serial in serials]
    (page,) = rendered_pages(pdf_sheet(sheet, created=datetime(2026, 1, 2, tzinfo=UTC)))
    assert sorted(label.link for label in sheet) == sorted(code.text for code in read(page))
