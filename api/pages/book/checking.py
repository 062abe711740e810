"""A check of the whole book: begun here, run in a process of its own, looked at while it runs and after."""

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.book.shown import CHECK
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import Parts, parts_of
from ledger.application.book_checks import BookCheck, Progress
from ledger.store.entry_search import names_of
from ledger.store.reader import open_reader


class Checking(Controller):
    """Checks of the whole book."""

    path = "/book/check"

    @post(
        status_code=303, opt=described(Operation("Check the whole book", "pages", action=CHECK, media=HTML, page=True))
    )
    async def begun(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Begin a check, or go to the one that runs."""
        check = parts_of(request).checks.begin(account_of(request).account)
        return see_other(f"/book/check/{check}")

    @get(
        "/{check:str}",
        opt=described(Operation("One check of the book", "pages", action=CHECK, media=HTML, page=True)),
    )
    async def one(self, request: Request[Any, Any, Any], check: FromPath[str]) -> Response[bytes]:
        """How far a check is, or what it found."""
        seen, progress, name, now = await asyncio.to_thread(_seen, parts_of(request), check)
        return page(request, "book/check.html", check=seen, progress=progress, name=name, now=now)


def _seen(parts: Parts, check: str) -> tuple[BookCheck, Progress | None, str | None, int]:
    """A check, its progress, the name of who asked for it, and the entries of the book now."""
    seen, progress = parts.checks.seen(check)
    with open_reader(parts.book.store) as reader:
        name = names_of(reader.transaction, [seen.by]).get(seen.by, seen.by)
        return seen, progress, name, reader.head().size
