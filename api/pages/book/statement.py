"""The book's first page: a dated statement in words, keys, the checkpoint, and an earlier checkpoint held against it."""

from typing import Any

from litestar import Controller, Request, Response, get, post

from api.operation import Operation, described
from api.pages import HTML
from api.pages.book.shown import show
from api.parts import Parts, parts_of
from api.problems import problem_of
from ledger.application.earlier_checkpoint import LONGEST, Compared, compare_checkpoint
from ledger.errors import LedgerError
from ledger.store.reader import open_reader


class Statement(Controller):
    """How the book stands."""

    path = "/book"

    @get(opt=described(Operation("How the book stands", "pages", action="look-up", media=HTML, page=True)))
    async def stands(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The statement, the keys and the checkpoint. A few rows, whatever the size of the book."""
        return await show(request)

    @post(
        "/compare",
        status_code=200,
        opt=described(Operation("Compare an earlier checkpoint", "pages", action="look-up", media=HTML, page=True)),
    )
    async def compared(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The same page, and in words whether the book only grew since a checkpoint that is pasted."""
        typed = str((await request.form()).get("checkpoint", ""))[: LONGEST + 1]
        parts = parts_of(request)
        try:
            found = await parts.long_read(_compared, parts, typed)
        except LedgerError as error:
            problem = problem_of(error, request.scope["path"]).problem
            return await show(request, status=problem.status, problem=problem, typed=typed)
        return await show(request, compared=found, typed=typed)


def _compared(parts: Parts, text: str) -> Compared:
    newest = parts.book.checkpoint()
    with open_reader(parts.book.store) as reader:
        return compare_checkpoint(reader, parts.book.origin, newest, text)
