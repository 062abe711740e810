"""Taking over files: tried first, line by line in words, then entered, with progress; and what was taken over before."""

import asyncio
import csv
import io
import tempfile
from collections.abc import Sequence
from typing import Any, BinaryIO, NamedTuple, cast, get_args

from litestar import Controller, Request, Response, get, post
from litestar.datastructures import UploadFile
from litestar.params import FromPath

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import read_form
from api.pages.desk.forms import Fault, asked_in, fault_of
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import Parts, parts_of
from api.routes.imports import FileToImport, jobs_of
from ledger.access.roles import MAY_SAY
from ledger.application.import_columns import COLUMNS
from ledger.application.import_jobs import ImportStanding, imported_files, write_outcomes
from ledger.application.import_lines import MOST_BYTES
from ledger.application.importing import KINDS, Imported, check_may_import, dry_run
from ledger.errors import LedgerError, MalformedInput, TooLarge
from ledger.line.imports import Sort
from ledger.store.reader import open_reader

TOLD = 200
"""Lines that a page tells; the file of all is for saving."""

_FORM_BYTES = MOST_BYTES + 100_000


class LineTold(NamedTuple):
    """What became of a line, or would."""

    line: str
    outcome: str
    entry: str
    code: str
    column: str
    reason: str
    mend: str


class Trial(NamedTuple):
    """A dry run: the counts, and the lines that were refused or flagged, the first of them."""

    done: Imported
    lines: list[LineTold]


class ImportPages(Controller):
    """Files of shipments, old balls and old claims."""

    path = "/desk/imports"

    @get(opt=described(Operation("Files taken over", "pages", action="import", media=HTML, page=True)))
    async def files(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The form, and what was taken over before."""
        return await _page(request)

    @post(
        status_code=200,
        request_max_body_size=_FORM_BYTES,
        opt=described(Operation("Try a file, or take it over", "pages", action="import", media=HTML, page=True)),
    )
    async def sent(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """``act``: try (nothing is stored), or import (goes on in the background)."""
        form, parts = await read_form(request), parts_of(request)
        what, act = form.text("what"), form.text("act")
        try:
            known, raw = _sort(what), await _file(request)
            check_may_import(account_of(request), known)
            if act != "import":
                return await _page(request, what=what, trial=await _tried(request, raw, known))
            standing = await asyncio.to_thread(jobs_of(request, parts).begin, raw, known, account_of(request))
        except LedgerError as error:
            return await _page(request, what=what, fault=fault_of(request, error, {"body": "file", "line 1": "file"}))
        return see_other(f"/desk/imports/{standing.file}?what={known}")

    @get("/{file:str}", opt=described(Operation("A file taken over", "pages", action="import", media=HTML, page=True)))
    async def one(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """How far it is, and what became of its lines."""
        parts, asked = parts_of(request), asked_in(request, FileToImport)
        standing = await asyncio.to_thread(jobs_of(request, parts).standing, file, asked.what)
        lines: list[LineTold] = []
        if standing.done and not standing.at_work:
            lines = await parts.long_read(_lines_of, parts, file, asked.what)
        return page(request, "desk/import.html", standing=standing, lines=lines, most=TOLD)


def _sort(text: str) -> Sort:
    known: Sort | None = next((one for one in get_args(Sort) if one == text), None)
    if known is None:
        raise MalformedInput("it is not said what the lines are", expected=", ".join(get_args(Sort)), where="what")
    return known


async def _file(request: Request[Any, Any, Any]) -> bytes:
    sent = (await request.form()).get("file")
    raw = await sent.read() if isinstance(sent, UploadFile) else b""
    if not raw:
        raise MalformedInput("no file was chosen", expected="a CSV file", where="file", mend="choose the file again")
    if len(raw) > MOST_BYTES:
        raise TooLarge("file is too long", expected=f"at most {MOST_BYTES:,} bytes", got=len(raw), where="file")
    return raw


async def _tried(request: Request[Any, Any, Any], raw: bytes, what: Sort) -> Trial:
    parts, account = parts_of(request), account_of(request)
    named = {"author": account.account, "now_ms": parts.book.clock_ms()}
    with tempfile.TemporaryFile() as spool:
        out = cast(BinaryIO, spool)  # it has every method of one
        done = await asyncio.wrap_future(parts.long_reads.written(out, dry_run, raw, what, **named))
        return Trial(done, await asyncio.to_thread(_told, out))


def _lines_of(parts: Parts, file: str, what: str) -> list[LineTold]:
    with open_reader(parts.book.store) as reader, tempfile.TemporaryFile() as spool:
        out = cast(BinaryIO, spool)
        write_outcomes(reader, file, what, out)
        return _told(out)


def _told(out: BinaryIO) -> list[LineTold]:
    """The lines of an answer that are refused or flagged."""
    out.seek(0)
    text = io.TextIOWrapper(out, "utf-8", newline="")
    found: list[LineTold] = []
    rows = csv.reader(text)
    next(rows, None)
    while len(found) < TOLD and (row := next(rows, None)) is not None:
        told = LineTold(*row)
        if told.outcome == "refused" or told.code:
            found.append(told)
    # Who opened the file closes it.
    text.detach()
    return found


async def _page(
    request: Request[Any, Any, Any], *, what: str = "", trial: Trial | None = None, fault: Fault | None = None
) -> Response[bytes]:
    parts, roles = parts_of(request), account_of(request).roles
    files = await parts.long_read(_files, parts)
    return page(
        request,
        "desk/imports.html",
        status=200 if fault is None else fault.problem.status,
        sorts=[sort for sort in COLUMNS if all(not MAY_SAY[kind].isdisjoint(roles) for kind in KINDS[sort])],
        columns=COLUMNS,
        what=what,
        trial=trial,
        fault=fault,
        files=files,
        most=TOLD,
    )


def _files(parts: Parts) -> Sequence[ImportStanding]:
    with open_reader(parts.book.store) as reader:
        return imported_files(reader)
