"""Tests of api/labels."""

import io
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from qrcode.constants import ERROR_CORRECT_L  # type: ignore[import-untyped]  # the package has no type marker
from qrcode.main import QRCode  # type: ignore[import-untyped]  # the package has no type marker

from api.labels.ball_label import MODULE_MM, Label, _check_svg, dots_for, png_label, printed, svg_label
from api.labels.qr import decode_check, format_path, module_runs, parse_path, qr_matrix, qr_raster
from api.labels.sheet import _check_places, _places, pdf_sheet, rendered_pages
from api.labels.traveller_card import CAUTIONS, DEFERS, Traveller, caution, lot_address, traveller_pdf, traveller_png
from ledger.errors import (
    LabelUnreadable,
    LedgerError,
    MalformedInput,
    MalformedInstant,
    MalformedLink,
    MalformedSerial,
    TooLarge,
)
from ledger.line.gs1 import format_link
from ledger.line.serial import next_serials

SERIALS = next_serials(b"k" * 32, 0, 60)
SERIAL = SERIALS[0]
GTIN = "09520123456788"
LINK = format_link("id.example.com", GTIN, SERIAL)
CREATED = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)
LINES = ("Comet Pearl 15 lb", "first quality")


def labels(count: int) -> list[Label]:
    """The first labels of the invented plant."""
    return [Label(format_link("id.example.com", GTIN, serial), serial, LINES) for serial in SERIALS[:count]]


def test_the_quiet_zone_is_four_light_modules_on_each_side() -> None:
    """No dark module lies within four modules of the edge, and the finder begins right after."""
    matrix = qr_matrix(LINK)
    side = len(matrix)
    dark = {(x + step, y) for x, y, length in module_runs(matrix) for step in range(length)}
    assert {(4, side - 5)} == {(min(x for x, _ in dark), max(x for x, _ in dark))}
    assert {(4, side - 5)} == {(min(y for _, y in dark), max(y for _, y in dark))}


@given(
    st.integers(1, 12).flatmap(
        lambda n: st.lists(st.lists(st.booleans(), min_size=n, max_size=n), min_size=n, max_size=n)
    )
)
def test_a_path_reads_back_to_its_modules(rows: list[list[bool]]) -> None:
    """Whatever the modules, the path draws exactly them; a blank one is no path."""
    matrix = tuple(map(tuple, rows))
    if not any(map(any, matrix)):
        with pytest.raises(LabelUnreadable):
            parse_path(format_path(matrix), len(matrix))
    else:
        assert matrix == parse_path(format_path(matrix), len(matrix))


@pytest.mark.parametrize(
    "path", ["", "M0 0h1v1h-2z", "M0 9h1v1h-1z", "M4 0h2v1h-2z", "x", "M0 0h1v1h-1z M1 1", "M0 0h1v1h-1zx"]
)
def test_a_path_that_draws_anything_else_is_refused(path: str) -> None:
    """Other commands, runs outside the square, and a tail are found."""
    with pytest.raises(LabelUnreadable):
        parse_path(path, 5)


def test_a_symbol_of_another_text_fails_its_check() -> None:
    """One serial's symbol is not taken for another's."""
    with pytest.raises(LabelUnreadable):
        decode_check(qr_matrix(LINK), format_link("id.example.com", GTIN, SERIALS[1]))


def test_a_picture_without_or_with_two_symbols_fails_its_check() -> None:
    """Exactly one symbol must be there."""
    blank = Image.new("L", (200, 200), 255)
    one = qr_raster(qr_matrix(LINK), 4)
    two = Image.new("L", (2 * one.width, one.height), 255)
    two.paste(one, (0, 0))
    two.paste(one, (one.width, 0))
    for picture in (blank, two):
        with pytest.raises(LabelUnreadable):
            decode_check(picture, LINK)


def test_a_symbol_of_another_level_fails_its_check() -> None:
    """Right text at level L is still refused."""
    weak = QRCode(error_correction=ERROR_CORRECT_L, border=4)
    weak.add_data(LINK, optimize=0)
    weak.make(fit=True)
    with pytest.raises(LabelUnreadable) as refusal:
        decode_check(tuple(map(tuple, weak.get_matrix())), LINK)
    assert "L" == refusal.value.got


@pytest.mark.parametrize(
    ("text", "error"), [("", MalformedLink), ("é", MalformedLink), ("a\n", MalformedLink), ("a" * 301, TooLarge)]
)
def test_a_text_that_is_no_address_gets_no_symbol(text: str, error: type[LedgerError]) -> None:
    """Only printable ASCII of a sensible length is drawn."""
    with pytest.raises(error):
        qr_matrix(text)


def test_a_label_names_the_serial_in_text_and_in_its_address() -> None:
    """The SVG shows serial and lines as text, escaped."""
    root = ElementTree.fromstring(svg_label(LINK, SERIAL, ("R&D <5>", "Žár")))  # noqa: S314  # our own bytes
    texts = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert [SERIAL, "R&D <5>", "Žár"] == texts


def test_a_label_of_another_serial_is_refused() -> None:
    """Address and text cannot name two balls."""
    for render in (svg_label, png_label):
        with pytest.raises(MalformedLink):
            render(LINK, SERIALS[1])


@pytest.mark.parametrize("lines", [("",), ("a\nb",), ("x" * 61,), ("a",) * 5, ("a\ud800",)])
def test_lines_that_cannot_be_printed_are_refused(lines: tuple[str, ...]) -> None:
    """Empty, broken, too long or too many lines do not reach a label."""
    with pytest.raises(MalformedInput):
        svg_label(LINK, SERIAL, lines)


def test_a_serial_that_a_label_cannot_carry_is_refused() -> None:
    """An imported number with a slash gets no label."""
    with pytest.raises(MalformedSerial):
        Label(format_link("id.example.com", GTIN, "a/b"), "a/b")


def test_a_png_has_whole_dots_and_says_its_resolution() -> None:
    """Each module is six dots at 300 dpi, black or white, and the file carries 300 dpi."""
    with Image.open(io.BytesIO(png_label(LINK, SERIAL, LINES))) as image:
        side = len(qr_matrix(LINK))
        assert ("1", side * 6) == (image.mode, image.width)
        assert 300 == round(image.info["dpi"][0])
        modules = image.convert("L").crop((0, 0, side * 6, side * 6)).resize((side, side), Image.Resampling.NEAREST)
        assert modules.tobytes() == qr_raster(qr_matrix(LINK), 1).tobytes()


def test_the_dots_of_common_printers_are_whole() -> None:
    """Four, six and twelve dots at 203, 300 and 600 dpi (common practice, no source)."""
    assert [4, 6, 12] == [dots_for(203), dots_for(300), dots_for(600)]


@pytest.mark.parametrize(("dpi", "dots"), [(300, 2), (300, 20), (600, 6), (99, None), (2401, None), (300, 0)])
def test_a_module_outside_the_readable_sizes_is_refused(dpi: int, dots: int | None) -> None:
    """A label that scanners would not read is not printed."""
    with pytest.raises(MalformedInput):
        png_label(LINK, SERIAL, dpi=dpi, dots=dots)


def test_text_beside_the_symbol_is_folded_to_what_the_fonts_have() -> None:
    """Latin-1 stays, accents beyond it fall away, the rest is a question mark."""
    assert "Zár é ½ ? ?" == printed("Žár é ½ 球 Ł")


def test_a_sheet_holds_every_label_on_as_many_pages_as_needed() -> None:
    """Sixty labels take two pages of forty-nine places."""
    assert 2 == len(list(rendered_pages(pdf_sheet(labels(60), created=CREATED))))


def test_a_symbol_in_another_label_s_place_is_found() -> None:
    """Two labels that changed places on the sheet fail its check, though each can be read."""
    two = labels(2)
    matrices = [qr_matrix(label.link) for label in two]
    side = len(matrices[0]) * MODULE_MM
    places = _places(side, 2, 2)
    sheet = pdf_sheet(two, created=CREATED)
    _check_places(sheet, two, places, [side, side])
    with pytest.raises(LabelUnreadable):
        _check_places(sheet, two[::-1], places, [side, side])


def test_an_svg_with_a_damaged_path_is_found() -> None:
    """A path of another address, no path, or no light ground does not pass."""
    svg = svg_label(LINK, SERIAL)
    _check_svg(svg, LINK)
    other = svg_label(format_link("id.example.com", GTIN, SERIALS[1]), SERIALS[1])
    for damaged in (other, svg.replace(b"<path", b"<g"), svg.replace(b"<rect", b"<g"), svg.replace(b"v1h", b"v2h")):
        with pytest.raises(LabelUnreadable):
            _check_svg(damaged, LINK)


def test_a_sheet_is_the_same_bytes_again() -> None:
    """Nothing but the labels and the given date goes into it."""
    assert pdf_sheet(labels(3), created=CREATED) == pdf_sheet(labels(3), created=CREATED)


def test_a_sheet_takes_labels_of_several_sizes() -> None:
    """A longer address has more modules; the grid follows the largest."""
    long = Label(format_link("a-much-longer-host-name.serials.example.com", GTIN, SERIALS[1]), SERIALS[1])
    assert pdf_sheet([*labels(1), long], created=CREATED).startswith(b"%PDF-")


def test_a_sheet_of_none_too_many_or_without_a_zone_is_refused() -> None:
    """At least one label, at most 500, and a date that means one instant."""
    with pytest.raises(MalformedInput):
        pdf_sheet([], created=CREATED)
    with pytest.raises(TooLarge):
        pdf_sheet(labels(1) * 501, created=CREATED)
    with pytest.raises(MalformedInstant):
        pdf_sheet(labels(1), created=CREATED.replace(tzinfo=None))


def test_a_traveller_reads_back_to_the_lot_s_own_address() -> None:
    """The card's symbol, found on the whole rendered page, is the lot's address."""
    link = lot_address("http://127.0.0.1:8000/", "SL 104/2")
    assert "http://127.0.0.1:8000/lot/SL%20104%2F2" == link
    card = Traveller(
        link, "SL 104/2", "shell", None, 48, "2026-01-02T08:00:00.000+01:00", (("Parents", "CL-88 or CL-89"),)
    )
    (page,) = rendered_pages(traveller_pdf(card, created=CREATED))
    decode_check(page, link)
    with Image.open(io.BytesIO(traveller_png(card))) as image:
        decode_check(image, link)


def test_a_traveller_of_every_stage_fits_its_card() -> None:
    """The longest lot and the longest cautions stay on one page."""
    for stage in (*CAUTIONS, "an unknown stage"):
        card = Traveller(lot_address("a.example", "L" * 60), "L" * 60, stage, "M" * 60, 1, "b", (("n", "v" * 59),) * 3)
        assert 1 == len(list(rendered_pages(traveller_pdf(card, created=CREATED))))


def test_a_traveller_with_more_than_the_card_holds_is_refused() -> None:
    """Four further facts, or a lot of two lines, do not fit."""
    with pytest.raises(MalformedInput):
        Traveller(LINK, "L", "shell", None, 1, "b", (("n", "v"),) * 4)
    with pytest.raises(MalformedInput):
        Traveller(LINK, "L\nL", "shell", None, 1, "b")


def test_cautions_name_every_usual_hazard_and_defer() -> None:
    """Each hazard of the trade stands in some stage's text, and every text defers to sheets, codes and practice."""
    said = " ".join(CAUTIONS.values()).lower()
    hazards = (
        "styrene",
        "isocyanates",
        "organic peroxides",
        "exotherm",
        "dust",
        "rotating machine",
        "laser light and fumes",
    )
    assert [] == [hazard for hazard in hazards if hazard not in said]
    assert all(caution(stage).endswith(DEFERS) for stage in (*CAUTIONS, "an unknown stage"))


def test_a_service_starts_without_the_libraries_of_statistics(project: Path) -> None:
    """They take a second to load, and a label is read, and a ball registered, without them."""
    code = (
        "import sys, api.app, api.labels.qr; from api.labels.qr import decode_check, qr_matrix\n"
        f"decode_check(qr_matrix({LINK!r}), {LINK!r})\n"
        "print(sorted({'numpy', 'scipy', 'uncertainties'} & set(sys.modules)))"
    )
    ran = subprocess.run([sys.executable, "-c", code], cwd=project, capture_output=True, text=True, check=True)
    assert "[]\n" == ran.stdout


def test_a_service_starts_without_what_it_may_never_need(project: Path, tmp_path: Path) -> None:
    """Rendering of sheets, certificates, and the framework's models of libraries that nothing here is sent in."""
    code = (
        "import sys; from pathlib import Path; import ops.commands.serve; from tests.api.running import running\n"
        f"with running(Path({str(tmp_path)!r})) as service: assert 200 == service.nobody.get('/checkpoint').status_code\n"
        "late = ('pypdfium2', 'cryptography.x509', 'litestar.plugins.pydantic', 'litestar.plugins.attrs', 'fpdf')\n"
        "print([name for name in late if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], cwd=project, capture_output=True, text=True, check=True)
    assert "[]\n" == ran.stdout
