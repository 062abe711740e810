"""`pourbook import`: lines of a CSV file into the book: shipments, balls made before it, old claims.

With ``--dry-run`` nothing is stored, and each line gets the verdict that the run would give it.  Without it the file is
entered through a writer of its own, beside a service that may be running, with the keys of the settings
(`api.settings`, as `pourbook serve` takes them), in the name of the account whose token is given.  Ended at any time, the
same command goes on where it stopped.
"""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import msgspec

from api.settings import first_line, settings_from_environment
from ledger.application.import_columns import COLUMNS
from ledger.application.import_lines import MOST_BYTES, MOST_LINES, ImportFile
from ledger.application.importing import Imported, Run, dry_run_told, run_import
from ledger.application.pourbook import open_book, wall_clock_ms
from ledger.errors import MalformedInput
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ops.commands.serve import signers_of
from ops.progress import Progress

if TYPE_CHECKING:
    from ledger.line.imports import Sort

_NOBODY = "a-0000000000000000"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the file, what its lines are, and where the answer goes."""
    parser.add_argument("what", choices=tuple(COLUMNS), help="what the lines are")
    parser.add_argument(
        "file", nargs="?", type=Path, help=f"CSV in UTF-8, at most {MOST_BYTES // 2**20} MiB and {MOST_LINES:,} lines"
    )
    parser.add_argument("--store", dest="store_url", help="where the book is, as a URL (POURBOOK_STORE_URL)")
    parser.add_argument("--dry-run", action="store_true", help="say what the run would, and enter nothing")
    parser.add_argument("--token-file", type=Path, help="first line: the token of the account that imports")
    parser.add_argument("--answer", type=Path, metavar="FILE", help="write what became of each line to this CSV file")
    parser.add_argument("--columns", action="store_true", help="say which columns there are, and what each holds")


def run(arguments: argparse.Namespace) -> int:
    """Import, or try to; 0 where every line was accepted, 1 where one was refused."""
    if arguments.columns:
        print("\n".join(column_lines(arguments.what)))
        return 0
    raw = _read(arguments.file)
    progress = Progress(f"{'trying' if arguments.dry_run else 'importing'} lines")
    with ExitStack() as stack:
        out = None if arguments.answer is None else stack.enter_context(_written(arguments.answer))
        told = Run(out, progress)
        try:
            done = (_tried if arguments.dry_run else _entered)(arguments, raw, told)
        finally:
            progress.end()
    print(f"file {done.file}")
    verb = "would be " if arguments.dry_run else ""
    print(f"{done.lines:,} lines: {done.accepted:,} {verb}accepted, {done.refused:,} {verb}refused")
    if done.refused and arguments.answer is None:
        print("--answer FILE says which, and why")
    return 1 if done.refused else 0


def column_lines(what: Sort) -> list[str]:
    """The columns of a sort, one a line."""
    width = max(len(column.name) for column in COLUMNS[what])
    return [
        f"{column.name:<{width}}  {'needed' if column.required else '      '}  {column.holds}"
        for column in COLUMNS[what]
    ]


def _tried(arguments: argparse.Namespace, raw: bytes, told: Run) -> Imported:
    file = ImportFile(raw, arguments.what)
    store = open_store(arguments.store_url or settings_from_environment().store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            return dry_run_told(reader, file, author=_NOBODY, now_ms=wall_clock_ms(), told=told)
    finally:
        store.close()


def _entered(arguments: argparse.Namespace, raw: bytes, told: Run) -> Imported:
    if arguments.token_file is None:
        raise MalformedInput(
            "an import is in somebody's name", where="--token-file", mend="name a file that holds the account's token"
        )
    settings = settings_from_environment()
    if arguments.store_url is not None:
        settings = msgspec.structs.replace(settings, store_url=arguments.store_url)
    signers = signers_of(settings)
    book = open_book(
        settings.store_url, origin=signers.checkpoint.name, signers=signers, label_stem=settings.label_stem
    )
    try:
        book.start()
        account = book.account_of(first_line(str(arguments.token_file)))
        return run_import(book, raw, arguments.what, account, told)
    finally:
        book.close()


def _read(file: Path | None) -> bytes:
    if file is None:
        raise MalformedInput("no file is named", where="file", mend="name the CSV file, or ask with --columns")
    try:
        with file.open("rb") as source:
            # One byte more than may be: the check that follows says so.
            return source.read(MOST_BYTES + 1)
    except OSError as error:
        raise MalformedInput(
            "file cannot be read", got=error.strerror, where=str(file), mend="name a CSV file"
        ) from error


def _written(file: Path) -> BinaryIO:
    try:
        return file.open("wb")
    except OSError as error:
        raise MalformedInput(
            "answer cannot be written", got=error.strerror, where=str(file), mend="name a file in a folder"
        ) from error
