"""Where a label leads: ``/01/{gtin14}/21/{serial}`` for anyone, ``/01/{gtin14}/10/{lot}`` for whoever may see lots.

The public page says whether the number was issued here, and what it is; a label can be copied, so it never says that
the ball in the hand is the one.  Nothing internal: no lot, no station, no reading, no person.  The same answer comes as
JSON to a client that prefers it.  The address is read undecoded, since a serial may hold an escaped slash.
"""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.pages import prefers_html
from api.pages.page import page as page_of
from api.parts import json_answer, parts_of
from api.standby import check_newest
from ledger.application.public import PublicAnswer
from ledger.errors import MalformedLink
from ledger.line.gs1 import Link, parse_link

HOW_TO_CHECK = (
    "A label can be copied. Compare the serial engraved on the ball with the one above, and the model, weight class and "
    "date with the ball itself. If they differ, or the ball is new and the status says otherwise, ask the maker."
)


class PublicPage(msgspec.Struct, frozen=True, kw_only=True):
    """The public answer, and what it is worth."""

    answer: PublicAnswer
    gtin: str
    how_to_check: str = HOW_TO_CHECK


class PublicLink(Controller):
    """What a scanned label shows."""

    @get(
        "/01/{rest:path}",
        opt=described(
            Operation(
                "What a label leads to: GS1 Digital Link, {gtin14}/21/{serial}",
                "public",
                answer=PublicPage,
                limited=True,
                problems=(400, 429),
                may_lag=True,
            )
        ),
    )
    async def ball(self, request: Request[Any, Any, Any], rest: FromPath[str]) -> Response[bytes]:  # noqa: ARG002  # read raw
        """The public page of a number, or the way to a lot."""
        link = scanned(request)
        if link.serial is None and link.lot is not None:
            return _to_lot(link.lot, "/lot/" if prefers_html(request) else "/lots/")
        if link.serial is None:
            raise MalformedLink("address names no serial", expected="/01/{gtin14}/21/{serial}", where="address")
        answer = await asyncio.to_thread(parts_of(request).book.public, link.gtin14, link.serial)
        check_newest(found=answer.issued)
        page = PublicPage(answer=answer, gtin=link.gtin14)
        headers = {"vary": "Accept"}
        if prefers_html(request):
            return page_of(request, "public.html", shown=page)
        return json_answer(page, headers=headers)


def scanned(request: Request[Any, Any, Any]) -> Link:
    """What the address of a request names. Raises MalformedLink."""
    raw: bytes = request.scope.get("raw_path") or request.scope["path"].encode()
    query: bytes = request.scope.get("query_string", b"")
    text = raw.decode("latin-1") + (f"?{query.decode('latin-1')}" if query else "")
    return parse_link(f"https://label.invalid{text}")


def _to_lot(lot: str, where: str) -> Response[bytes]:
    safe = "".join(char for char in lot if char.isascii() and (char.isalnum() or char in "._-"))
    headers = {"location": f"{where}{safe}", "vary": "Accept"}
    return Response(content=b"", status_code=307, headers=headers, media_type="text/plain")
