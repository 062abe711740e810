"""Labels over HTTP: each form is decoded from the bytes that were served."""

from __future__ import annotations

import io

import pypdfium2  # type: ignore[import-untyped]  # the package has no type marker
import pytest
import zxingcpp
from PIL import Image

from api.labels.qr import parse_path, qr_raster
from tests.api.running import GTIN, STEM, Service
from tests.plant import AT

LINK = f"{STEM}/01/{GTIN}/21/P00000"


def read(image: Image.Image) -> set[str]:
    """Every QR code in an image."""
    return {code.text for code in zxingcpp.read_barcodes(image.convert("L"))}


def pages(pdf: bytes) -> list[Image.Image]:
    """The pages of a PDF at 300 dpi."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [page.render(scale=300 / 72).to_pil().copy() for page in document]
    finally:
        document.close()


def test_the_svg_reads_as_the_label_address(service: Service) -> None:
    """The path of the SVG is the code of the ball's address, and the serial stands in text."""
    answer = service["station"].get("/balls/U-000001/label.svg")
    path = answer.text.split('<path d="')[1].split('"')[0]
    side = int(answer.text.split('viewBox="0 0 ')[1].split(" ")[0])

    assert "image/svg+xml" == answer.headers["content-type"]
    assert {LINK + "1"} == read(qr_raster(parse_path(path, side), 4))
    assert all(text in answer.text for text in (">P000001<", "Model one", "15 lb"))


@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_the_png_reads_as_the_label_address(service: Service, dpi: int) -> None:
    """The PNG is made for the printer's resolution and reads as the ball's address."""
    answer = service["station"].get(f"/balls/U-000002/label.png?dpi={dpi}")
    with Image.open(io.BytesIO(answer.content)) as image:
        assert ("image/png", dpi) == (answer.headers["content-type"], round(image.info["dpi"][0]))
        assert {LINK + "2"} == read(image)


def test_the_sheet_holds_every_label(service: Service) -> None:
    """A sheet holds the label of each ball asked for; one without a label is named."""
    answer = service["station"].post("/labels/sheet.pdf", json={"units": ["U-000001", "U-000002", "U-000003"]})
    unknown = service["station"].post("/labels/sheet.pdf", json={"units": ["U-000001", "U-404"]})

    assert (200, "application/pdf") == (answer.status_code, answer.headers["content-type"])
    assert {LINK + number for number in "123"} == set().union(*map(read, pages(answer.content)))
    assert 404 == unknown.status_code
    assert "U-404" in unknown.json()["detail"]


def test_the_traveller_leads_to_its_lot(service: Service) -> None:
    """The traveller of a lot with a GTIN carries the lot's GS1 address, any other its plain one."""
    shell = service["station"].get("/lots/SL-1/traveller.pdf")
    drum = service["station"].get("/lots/MT-1/traveller.pdf")

    assert {f"{STEM}/01/{GTIN}/10/SL-1"} == set().union(*map(read, pages(shell.content)))
    assert {f"{STEM}/lot/MT-1"} == set().union(*map(read, pages(drum.content)))


def test_a_ball_without_a_serial_has_no_label(service: Service) -> None:
    """A unit that is not engraved yet has no label, and the answer says what to do."""
    service.say("station", {"kind": "unit-started", "at": AT, "unit": "U-700", "lot": "SL-1", "station": "E1"})
    answer = service["station"].get("/balls/U-700/label.svg")

    assert (404, True) == (answer.status_code, "engrave" in answer.json()["mend"])


@pytest.mark.parametrize("count", [1, 3])
def test_one_ball_has_its_labels_as_a_sheet(service: Service, count: int) -> None:
    """As many labels of it as are asked for, each of which reads as the address of its label; none, or too many, is refused."""
    answer = service["station"].get("/balls/U-000001/label.pdf", params={"count": count})
    assert (200, "application/pdf") == (answer.status_code, answer.headers["content-type"])
    (page,) = pages(answer.content)
    assert [LINK + "1"] * count == [code.text for code in zxingcpp.read_barcodes(page.convert("L"))]
    for wrong in ("0", "41", "x"):
        assert 400 == service["station"].get("/balls/U-000001/label.pdf", params={"count": wrong}).status_code
