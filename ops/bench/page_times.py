"""How long each page takes on the measured book, with the session of its role, asked by one browser after another page.

The pages are those of `ops.screens.page_list`; one that needs something that the measured book does not hold (a claim,
a case) is left out, and the row says how many.  A page that answers otherwise than its example says fails the run.
"""

from __future__ import annotations

import http.client
import time
from collections.abc import Mapping
from contextlib import closing
from statistics import median
from typing import NamedTuple
from urllib.parse import urlsplit

from ledger.access.roles import ROLES
from ledger.application.pourbook import wall_clock_ms
from ledger.errors import Refused
from ledger.store.sessions import add_session
from ops.bench.field import Field
from ops.bench.figures import Row
from ops.bench.plant import LOT
from ops.bench.serving import PRODUCT, running_server
from ops.screens.page_list import PAGES, PageExample

MOST_MEDIAN_MS, MOST_WORST_MS = 50.0, 200.0
COOKIE = "pourbook"


WORKED_OUT = frozenset(
    {"limits-answer", "charts-answer", "changes-rules", "changes-gauge", "changes-correction", "lot-below"}
)
"""Examples that answer a question over a population, which a page asks for after it has loaded: not a page's own time."""


class Timed(NamedTuple):
    """One page: the median of its answers in milliseconds, and the slowest of them, the first after a start included."""

    page: PageExample
    median_ms: float
    slowest_ms: float


def measure_pages(field: Field) -> list[Row]:
    """Ask for each page in turn, and again; the rows of the table."""
    places, cookies = _prepare(field)
    examples = [(page, _address(page, places)) for page in PAGES if page.name not in WORKED_OUT]
    asked = [(page, address) for page, address in examples if address]
    taken: dict[PageExample, list[float]] = {page: [] for page, _ in asked}
    with (
        running_server(field, field.product, PRODUCT) as server,
        closing(http.client.HTTPConnection(urlsplit(server).netloc, timeout=60)) as connection,
    ):
        for _ in range(field.sizes.page_asks):
            for page, address in asked:
                if page in taken:
                    taken_ms = _ask_ms(connection, page, address, cookies)
                    if taken_ms is None:
                        del taken[page]
                    else:
                        taken[page].append(taken_ms)
    return _rows(field, [Timed(page, median(times), max(times)) for page, times in taken.items()])


def _rows(field: Field, found: list[Timed]) -> list[Row]:
    middle = median(one.median_ms for one in found)
    worst = max(found, key=lambda one: one.median_ms)
    slowest = max(found, key=lambda one: one.slowest_ms)
    left_out = len(PAGES) - len(found)
    count = f"{len(found)} pages" + (f" ({left_out} need what this book does not hold)" if left_out else "")
    return [
        Row(what=f"a page in a book of {field.balls:,} balls: median of {count}, {field.sizes.page_asks} asks each",
            measured=f"{middle:.1f} ms", target=f"under {MOST_MEDIAN_MS:.0f} ms", reached=middle < MOST_MEDIAN_MS),
        Row(what=f"the slowest of these pages, {worst.page.name}; slowest single answer {slowest.slowest_ms:.0f} ms, {slowest.page.name}",
            measured=f"{worst.median_ms:.1f} ms", target=f"under {MOST_WORST_MS:.0f} ms",
            reached=worst.median_ms < MOST_WORST_MS),
    ]  # fmt: skip


def _ask_ms(
    connection: http.client.HTTPConnection, page: PageExample, address: str, cookies: Mapping[str, str]
) -> float | None:
    """How long an answer took; None where the measured book holds no such thing."""
    headers = {"accept": "text/html"}
    if page.role:
        headers["cookie"] = f"{COOKIE}={cookies[page.role]}"
    began = time.perf_counter()
    connection.request("GET", address, headers=headers)
    answer = connection.getresponse()
    answer.read()
    taken = (time.perf_counter() - began) * 1_000
    if answer.status == http.HTTPStatus.NOT_FOUND != page.status:
        return None
    if answer.status != page.status:
        raise Refused(
            "page answered otherwise", where=f"{page.name}: {address}", expected=page.status, got=answer.status
        )
    return taken


def _address(page: PageExample, places: Mapping[str, str]) -> str:
    """The example's address in the measured book; empty where that holds no such thing."""
    try:
        return page.address.format_map(places)
    except KeyError:
        return ""


def _prepare(field: Field) -> tuple[dict[str, str], dict[str, str]]:
    """What example addresses may name, and the cookie of a session for each role.

    The batch and the material lot are below every ball of the book: the hardest lots there are.
    """
    number = field.balls // 2
    lot = number // LOT
    book = field.open()
    try:
        accounts = {role: book.open_account(f"Reader of pages, {role}", (role,))[0].account for role in ROLES}
        cookies = {role: add_session(book.store, account, wall_clock_ms()) for role, account in accounts.items()}
        serial = book.ball(f"U{number:09d}").serial
    finally:
        book.close()
    unit = f"U{number:09d}"
    places = {
        "unit": unit, "unit_inspected": unit, "unit_engraved": unit, "serial": str(serial), "unit_lot": f"S{lot}",
        "model": "M1", "gtin": "09520123456788", "gauge": "G-MASS", "rulebook": "usbc-2026", "account": accounts["quality"],
        "lot_shell": f"S{lot}", "lot_core": f"C{lot}", "lot_block": f"BL{lot}", "lot_batch": "B1", "lot_material": "R1",
    }  # fmt: skip
    return places, cookies
