"""What the pages of the book show beside what the book itself says: who may check, and the copy in a second place."""

from pathlib import Path
from typing import Any

import msgspec
from litestar import Request, Response

from api.pages.page import page
from api.pages.session import session_at
from api.parts import Parts, parts_of
from api.settings import Settings
from ledger.access.roles import MAY_DO
from ledger.application.book_statement import BookStanding, book_standing, checkpoint_size
from ledger.application.pourbook import Pourbook
from ledger.errors import LedgerError
from ledger.store.entry_search import names_of
from ledger.store.reader import open_reader

CHECK = "entries"
"""The action that lets an account see entries, and have the book checked: a finding may name what an entry says."""

SHOWN_CHECKS = 10


class SecondPlace(msgspec.Struct, frozen=True, kw_only=True):
    """The copy of the checkpoint in a second place: its entries and when it was written, or what is wrong with it."""

    size: int = 0
    written_ms: int = 0
    wrong: str = ""


def second_place(book: Pourbook, settings: Settings) -> SecondPlace | None:
    """The copy that the settings name; None where none is kept."""
    if not settings.checkpoint_copy:
        return None
    path = Path(settings.checkpoint_copy)
    try:
        written_ms = path.stat().st_mtime_ns // 1_000_000
        return SecondPlace(size=checkpoint_size(book, path.read_bytes()), written_ms=written_ms)
    except OSError as error:
        return SecondPlace(wrong=error.strerror or "it cannot be read")
    except LedgerError as error:
        return SecondPlace(wrong=error.problem)


def may_check(request: Request[Any, Any, Any]) -> bool:
    """Whether who looks may see entries and have the book checked."""
    session = session_at(request)
    roles = session.roles if session is not None else request.scope["user"].roles
    return not MAY_DO[CHECK].isdisjoint(roles)


def standing(parts: Parts) -> tuple[BookStanding, SecondPlace | None, dict[str, str | None]]:
    """How the book stands, its copy, and the names of those who had it checked."""
    found = book_standing(parts.book)
    with open_reader(parts.book.store) as reader:
        names = names_of(reader.transaction, {check.by for check in found.checks[:SHOWN_CHECKS]})
    return found, second_place(parts.book, parts.settings), names


async def show(request: Request[Any, Any, Any], *, status: int = 200, **values: Any) -> Response[bytes]:
    """The page of the book, with what a form on it came to."""
    parts = parts_of(request)
    found, copy, names = await parts.long_read(standing, parts)
    shown = {"compared": None, "problem": None, "typed": "", **values}
    return page(
        request,
        "book/book.html",
        status=status,
        book=found,
        copy=copy,
        names=names,
        may_check=may_check(request),
        running=parts.checks.running,
        most=SHOWN_CHECKS,
        **shown,
    )
