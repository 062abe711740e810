"""Labels over HTTP: one ball as SVG or PNG, many as a PDF sheet, and the traveller of a lot.

A label says what the book says when it is asked for.  A ball has one once it bears a serial; its grade stands on it
unless it is first quality.
"""

import asyncio
import datetime as dt
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from msgspec import Meta

from api.labels.ball_label import Label, png_label, svg_label
from api.labels.sheet import MOST_LABELS, pdf_sheet
from api.labels.traveller_card import Traveller, lot_address, traveller_pdf
from api.operation import Operation, described
from api.parts import file_answer, parts_of
from api.request_body import read_body, read_query
from ledger.application.ball_view import Ball
from ledger.application.lot_view import LotView
from ledger.application.pourbook import Pourbook
from ledger.errors import MalformedLink, NotFound
from ledger.line.gs1 import format_link, lot_link
from ledger.line.record import Id

SVG, PNG, PDF = "image/svg+xml", "image/png", "application/pdf"


class SheetWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The balls whose labels go on the sheet, in this order."""

    units: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=MOST_LABELS)]


class Printer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The printer's resolution; a module is the whole number of dots that comes nearest to 0.508 mm."""

    dpi: Annotated[int, Meta(ge=100, le=2400)] = 300


class Copies(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How many labels of the one ball."""

    count: Annotated[int, Meta(ge=1, le=40)] = 1


WANTED = msgspec.json.Decoder(SheetWanted)


class Labels(Controller):
    """Labels and travellers, every one read back before it is served."""

    @get(
        "/balls/{unit:str}/label.svg",
        opt=described(Operation("A ball's label as SVG", "labels", action="labels", media=SVG, problems=(404,))),
    )
    async def svg(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """One label, sized in millimetres."""
        label = await asyncio.to_thread(_label, parts_of(request).book, unit)
        return file_answer(await asyncio.to_thread(svg_label, label.link, label.serial, label.lines), SVG)

    @get(
        "/balls/{unit:str}/label.png",
        opt=described(
            Operation("A ball's label as PNG", "labels", action="labels", query=Printer, media=PNG, problems=(404,))
        ),
    )
    async def png(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """One label in whole printer dots."""
        dpi = read_query(request, Printer).dpi
        label = await asyncio.to_thread(_label, parts_of(request).book, unit)
        return file_answer(await asyncio.to_thread(png_label, label.link, label.serial, label.lines, dpi=dpi), PNG)

    @get(
        "/balls/{unit:str}/label.pdf",
        opt=described(
            Operation(
                "A ball's labels as a PDF sheet", "labels", action="labels", query=Copies, media=PDF, problems=(404,)
            )
        ),
    )
    async def pdf(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """One label, or several alike, on A4."""
        parts, copies = parts_of(request), read_query(request, Copies).count
        return file_answer(await parts.long_read(_sheet, parts.book, (unit,) * copies), PDF)

    @post(
        "/labels/sheet.pdf",
        status_code=200,
        opt=described(
            Operation(
                "Labels of many balls as a PDF sheet",
                "labels",
                action="labels",
                body=SheetWanted,
                media=PDF,
                problems=(404, 413),
            )
        ),
    )
    async def sheet(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A sheet of labels on A4."""
        wanted = await read_body(request, WANTED)
        parts = parts_of(request)
        return file_answer(await parts.long_read(_sheet, parts.book, wanted.units), PDF)

    @get(
        "/lots/{lot:str}/traveller.pdf",
        opt=described(Operation("The traveller of a lot", "labels", action="labels", media=PDF, problems=(404,))),
    )
    async def traveller(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """The card that goes with a rack of one lot."""
        parts = parts_of(request)
        return file_answer(await parts.long_read(_traveller, parts.book, lot), PDF)


def _label(book: Pourbook, unit: str) -> Label:
    ball = book.ball(unit)
    if ball.serial is None or not ball.gtin:
        raise NotFound(
            f"unit {unit} has no label", where="unit", mend="engrave the ball, and give its model a GTIN, first"
        )
    return Label(format_link(book.label_stem, ball.gtin, ball.serial), ball.serial, _lines(ball))


def _lines(ball: Ball) -> tuple[str, ...]:
    weight = "" if ball.weight_class_lb is None else f"{ball.weight_class_lb} lb"
    grade = "" if ball.grade in {None, "first"} else f"grade: {ball.grade}"
    lines = (f"{ball.brand} {ball.model_name}".strip(), "  ".join(part for part in (weight, grade) if part))
    return tuple(line[:60] for line in lines if line)


def _sheet(book: Pourbook, units: tuple[str, ...]) -> bytes:
    return pdf_sheet([_label(book, unit) for unit in units], created=_now(book))


def _traveller(book: Pourbook, lot: str) -> bytes:
    seen = book.lot(lot)
    facts = [] if seen.weight_class_lb is None else [("Class", f"{seen.weight_class_lb} lb")]
    card = Traveller(
        link=_lot_address(book, seen),
        lot=seen.lot,
        stage=seen.stage,
        model=seen.model,
        count=seen.account.left,
        began=seen.began_at,
        facts=tuple(facts),
    )
    return traveller_pdf(card, created=_now(book))


def _lot_address(book: Pourbook, seen: LotView) -> str:
    if seen.gtin:
        try:
            return lot_link(book.label_stem, seen.gtin, seen.lot)
        except MalformedLink:
            pass  # a lot id longer than GS1 allows has only the plain address
    return lot_address(book.label_stem, seen.lot)


def _now(book: Pourbook) -> dt.datetime:
    return dt.datetime.fromtimestamp(book.clock_ms() / 1000, tz=dt.UTC)
