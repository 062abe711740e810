"""The entries of the book: as a plain table, newest first, and each in words. For those who may see whole entries."""

import asyncio
from typing import Any
from urllib.parse import quote, urlencode

from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.pages import HTML
from api.pages.book.shown import CHECK
from api.pages.kind_words import KIND_WORDS
from api.pages.page import page
from api.parts import Parts, parts_of
from ledger.application.entry_list import EntryPage, Wanted, entry_page
from ledger.application.entry_told import EntryTold, entry_told
from ledger.duties.rechecks import DUTIES
from ledger.errors import MalformedInput, NotFound
from ledger.store.reader import open_reader

LISTED = "/book/entries"
LONGEST = 100
_PAGE_OF = {"lot": "/lot/", "unit": "/ball/"}


class Entries(Controller):
    """Entries, for a person."""

    path = "/book"

    @get(
        "/entries",
        opt=described(Operation("Entries as a table", "pages", action=CHECK, media=HTML, page=True, may_lag=True)),
    )
    async def listed(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A page of entries, newest first; by kind, lot or ball where asked."""
        wanted = _wanted(request.query_params)
        found = await asyncio.to_thread(_listed, parts_of(request), wanted)
        older = None if found.older is None else _address(wanted._replace(below=found.older))
        return page(
            request,
            "book/entries.html",
            found=found,
            wanted=wanted,
            older=older,
            newest=_address(wanted._replace(below=None)),
            kinds=KIND_WORDS,
            duties=DUTIES,
        )

    @get(
        "/entry/{index:str}",
        opt=described(Operation("One entry", "pages", action=CHECK, media=HTML, page=True, may_lag=True)),
    )
    async def one(self, request: Request[Any, Any, Any], index: FromPath[str]) -> Response[bytes]:
        """An entry in words: its facts, what is sealed and erased, what was wrong, what corrected it."""
        found = await asyncio.to_thread(_told, parts_of(request), _index(index, "index"))
        return page(request, "book/entry.html", entry=found, page_of=_page_of, duties=DUTIES)


def _listed(parts: Parts, wanted: Wanted) -> EntryPage:
    with open_reader(parts.book.store) as reader:
        return entry_page(reader, wanted)


def _told(parts: Parts, index: int) -> EntryTold:
    with open_reader(parts.book.store) as reader:
        return entry_told(reader, index)


def _wanted(query: Any) -> Wanted:
    """What an address asks for. Raises MalformedInput for a number that is none."""
    kind, lot, ball, below = (str(query.get(name, "")).strip()[:LONGEST] for name in ("kind", "lot", "ball", "below"))
    if kind and kind not in KIND_WORDS:
        raise MalformedInput("no such kind of record", got=kind, where="kind", mend="choose a kind from the list")
    return Wanted(kind=kind, lot=lot, ball=ball, below=_index(below, "below") if below else None)


def _index(text: str, where: str) -> int:
    """An index as typed. Raises NotFound for what no store can be asked for."""
    if not (text.isascii() and text.isdigit() and len(text) <= 15):
        raise NotFound("entry is not in the book", got=text, where=where, mend="ask for a number below the book's size")
    return int(text)


def _address(wanted: Wanted) -> str:
    asked = {name: value for name, value in wanted._asdict().items() if value not in ("", None)}
    return f"{LISTED}?{urlencode(asked)}" if asked else LISTED


def _page_of(node: str) -> str:
    """The page of a node; empty where it has none."""
    sort, _, name = node.partition(":")
    return f"{_PAGE_OF[sort]}{quote(name, safe='')}" if sort in _PAGE_OF and name else ""
