"""Files of shipments, of balls made before this book, and of old claims: tried, imported, and told line by line.

A file is CSV in UTF-8 with a header; `ledger.application.import_columns` has the columns.  The run goes on in the
background and tells how far it is; the answer about each line comes as CSV.
"""

import asyncio
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, BinaryIO

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from litestar.response import Stream

from api.guards import account_of
from api.operation import Operation, described
from api.parts import Parts, json_answer, parts_of
from api.request_body import read_bytes, read_query
from api.sent_file import sent_file
from ledger.application.import_columns import COLUMNS
from ledger.application.import_jobs import ImportJobs, ImportStanding, imported_files, write_outcomes
from ledger.application.import_lines import MEDIA_TYPE, MOST_BYTES
from ledger.application.importing import check_may_import, dry_run
from ledger.line.imports import Sort
from ledger.store.reader import open_reader

TABLE = "text/csv; charset=utf-8; header=present"
_COLUMNS = "; ".join(f"{what}: {', '.join(column.name for column in columns)}" for what, columns in COLUMNS.items())


class FileToImport(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the lines of the file are."""

    what: Sort


class ImportedFiles(msgspec.Struct, frozen=True, kw_only=True):
    """Every file of which lines are in the book."""

    files: tuple[ImportStanding, ...]


class Imports(Controller):
    """Lines in, a verdict on each out."""

    path = "/imports"

    @post(
        # The limit is that of imports, and kept while the body comes in.
        request_max_body_size=None,
        opt=described(
            Operation(
                f"Import a file; sent again, it goes on where it stopped. Columns of {_COLUMNS}",
                "import",
                action="import",
                takes=MEDIA_TYPE,
                query=FileToImport,
                answer=ImportStanding,
                problems=(413, 503),
                status=202,
            )
        ),
        status_code=202,
    )
    async def begin(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Store the file and set to work; 202 with how far it is, at once."""
        parts, asked = parts_of(request), read_query(request, FileToImport)
        raw = await _file(request)
        standing = await asyncio.to_thread(jobs_of(request, parts).begin, raw, asked.what, account_of(request))
        return json_answer(standing, status=202)

    @post(
        "/dry-run",
        request_max_body_size=None,
        status_code=200,
        opt=described(
            Operation(
                "What an import would say of each line of a file; nothing is stored",
                "import",
                action="import",
                takes=MEDIA_TYPE,
                query=FileToImport,
                media=TABLE,
                problems=(413,),
            )
        ),
    )
    async def try_out(self, request: Request[Any, Any, Any]) -> Stream:
        """The same verdict on each line as the run's, without an entry."""
        parts, asked, account = parts_of(request), read_query(request, FileToImport), account_of(request)
        check_may_import(account, asked.what)
        raw = await _file(request)
        named = {"author": account.account, "now_ms": parts.book.clock_ms()}
        return await _sent(lambda out: parts.long_reads.written(out, dry_run, raw, asked.what, **named))

    @get(opt=described(Operation("Every imported file", "import", action="look-up", answer=ImportedFiles)))
    async def files(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """How many lines of each are in the book."""
        parts = parts_of(request)
        return json_answer(ImportedFiles(files=await parts.long_read(_files, parts)))

    @get(
        "/{file:str}",
        opt=described(
            Operation(
                "How far the import of a file is, by its SHA-256",
                "import",
                action="look-up",
                query=FileToImport,
                answer=ImportStanding,
                problems=(404,),
            )
        ),
    )
    async def standing(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """Lines done, accepted and refused, and whether it is at work."""
        parts, asked = parts_of(request), read_query(request, FileToImport)
        return json_answer(await asyncio.to_thread(jobs_of(request, parts).standing, file, asked.what))

    @get(
        "/{file:str}/lines",
        opt=described(
            Operation(
                "What became of each line of an imported file",
                "import",
                action="import",
                query=FileToImport,
                media=TABLE,
                problems=(404,),
            )
        ),
    )
    async def lines(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Stream:
        """Line, outcome, entry, code, column, reason: as the book has them."""
        parts, asked = parts_of(request), read_query(request, FileToImport)
        return await _sent(lambda out: parts.long_reads.written(out, write_outcomes, file, asked.what))


async def _file(request: Request[Any, Any, Any]) -> bytes:
    return await read_bytes(request, MOST_BYTES)


async def _sent(write: Callable[[BinaryIO], Future[Any]]) -> Stream:
    return await sent_file(write, TABLE, {"content-disposition": 'attachment; filename="lines.csv"'})


def jobs_of(request: Request[Any, Any, Any], parts: Parts) -> ImportJobs:
    """The imports of this service, made with the first of them."""
    state = request.app.state
    jobs: ImportJobs | None = state.get("import_jobs")
    if jobs is None:
        jobs = state["import_jobs"] = ImportJobs(parts.book)
    return jobs


def _files(parts: Parts) -> tuple[ImportStanding, ...]:
    with open_reader(parts.book.store) as reader:
        return imported_files(reader)
