"""Importing a file: a dry run, and the run, which enters it stretch by stretch and goes on where it stopped.

The file is a blob before the first entry names it.  A stretch is one entry, under an idempotency key made of the file's
digest and its lines; the book also refuses a stretch that it has, so whoever sends the file again enters nothing twice.
Both give the same verdict on each line: they run the same checks in the same order against the same rows, the dry run
against those that the lines before would have put.  What another enters meanwhile is seen by the run alone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import BinaryIO, NamedTuple

import msgspec

from ledger.access.roles import check_may_say
from ledger.access.tokens import Account
from ledger.application.import_check import Checked, Look, check_stretch
from ledger.application.import_lines import MEDIA_TYPE, ImportFile, Stretch
from ledger.application.import_outcomes import LineOutcome, OutcomeTable, entered_stretches, outcomes_before
from ledger.application.pourbook import Pourbook
from ledger.errors import Contradiction, Refused
from ledger.line.import_rows import ImportedStretch
from ledger.line.imports import Sort
from ledger.line.submission import Submission
from ledger.store.blobs import put_blob
from ledger.store.loader import Loader
from ledger.store.reader import Reader, open_reader
from ledger.store.tentative import TentativeLoader

KINDS: dict[Sort, tuple[str, ...]] = {
    "balls": ("lines-imported", "ball-imported"),
    "shipments": ("lines-imported", "shipment-imported"),
    "claims": ("lines-imported", "claim-opened", "claim-decided"),
}
"""What lines become, by sort: who imports must be allowed to say each."""

ATTEMPTS = 5
"""How often a stretch is checked anew where others wrote between the check and the entry."""


class Imported(msgspec.Struct, frozen=True, kw_only=True):
    """A file and how many of its lines were accepted and refused; ``lines`` of it in all."""

    file: str
    what: str
    lines: int
    accepted: int
    refused: int


class Run(NamedTuple):
    """How a run tells: ``out`` takes the answer as CSV, ``progress`` lines done and in all, ``stop`` ends it early."""

    out: BinaryIO | None = None
    progress: Callable[[int, int], None] | None = None
    stop: Callable[[], bool] | None = None


def check_may_import(account: Account, what: Sort) -> None:
    """Return if an account may say what the lines become. Raises Forbidden."""
    for kind in KINDS[what]:
        check_may_say(account.roles, kind)


def dry_run(reader: Reader, raw: bytes, what: Sort, *, author: str, now_ms: int, out: BinaryIO | None) -> Imported:
    """What the run would say of each line; nothing is stored. Raises MalformedInput, TooLarge for the file itself."""
    return dry_run_told(reader, ImportFile(raw, what), author=author, now_ms=now_ms, told=Run(out))


def dry_run_told(reader: Reader, file: ImportFile, *, author: str, now_ms: int, told: Run) -> Imported:
    """The same for a file that was checked, telling how far it is."""
    loader = TentativeLoader(reader.transaction.dialect)
    before = entered_stretches(reader, file.digest, file.what)
    index = reader.head().size
    table = OutcomeTable(told.out)
    for stretch in file.stretches():
        if stretch.first in before:
            table.add(outcomes_before(reader, before[stretch.first]))
        else:
            look = Look(reader.transaction, loader, author, now_ms, index)
            checked = check_stretch(look, file.what, file.digest, stretch)
            loader.keep(checked.state)
            table.add([msgspec.structs.replace(outcome, entry="") for outcome in checked.outcomes])
            index += 1
        if told.progress is not None:
            told.progress(stretch.last, file.count)
    return _imported(file, table)


def run_import(book: Pourbook, raw: bytes, what: Sort, account: Account, told: Run = Run()) -> Imported:  # noqa: B008  # it is immutable
    """Store the file, and enter every line that may be. Raises Forbidden, MalformedInput, TooLarge, StoreError.

    Ended or killed at any time, the same file goes on after the last entry.
    """
    check_may_import(account, what)
    file = ImportFile(raw, what)
    with open_reader(book.store) as reader:
        before = entered_stretches(reader, file.digest, what)
    _keep(book, raw, begun=bool(before))
    table = OutcomeTable(told.out)
    for stretch in file.stretches():
        if told.stop is not None and told.stop():
            break
        done = before.get(stretch.first)
        table.add(_entered(book, file, stretch, account) if done is None else _told_before(book, done))
        if told.progress is not None:
            told.progress(stretch.last, file.count)
    return _imported(file, table)


def _keep(book: Pourbook, raw: bytes, *, begun: bool) -> None:
    """Store the file; one of which lines are in the book may have been erased since, and goes on all the same."""
    try:
        put_blob(book.store, raw, MEDIA_TYPE)
    except Contradiction:
        if not begun:
            raise


def _imported(file: ImportFile, table: OutcomeTable) -> Imported:
    return Imported(file=file.digest, what=file.what, lines=file.count, accepted=table.accepted, refused=table.refused)


def _told_before(book: Pourbook, stretch: ImportedStretch) -> list[LineOutcome]:
    with open_reader(book.store) as reader:
        return outcomes_before(reader, stretch)


def _entered(book: Pourbook, file: ImportFile, stretch: Stretch, account: Account) -> list[LineOutcome]:
    """Check and enter a stretch; checked anew where what it was checked against changed meanwhile."""
    for attempt in range(1, ATTEMPTS + 1):
        checked = _checked(book, file, stretch, account)
        try:
            entered = book.submit(
                Submission(key=stretch_name(file, stretch), records=checked.records), account
            ).result()
        except Refused:
            with open_reader(book.store) as reader:
                other = entered_stretches(reader, file.digest, file.what).get(stretch.first)
                if other is not None:
                    return outcomes_before(reader, other)
            if attempt == ATTEMPTS:
                raise
            continue
        return _placed(checked, entered.index)
    message = "unreachable: the last attempt answers or raises"
    raise RuntimeError(message)


def _checked(book: Pourbook, file: ImportFile, stretch: Stretch, account: Account) -> Checked:
    with open_reader(book.store) as reader:
        look = Look(
            reader.transaction, Loader(book.store.dialect), account.account, book.clock_ms(), reader.head().size
        )
        return check_stretch(look, file.what, file.digest, stretch)


def stretch_name(file: ImportFile, stretch: Stretch) -> str:
    """The idempotency key of a stretch."""
    return f"import-{file.what}-{file.digest[:48]}-{stretch.first}-{stretch.last}"


def _placed(checked: Checked, index: int) -> list[LineOutcome]:
    """The outcomes with the addresses that the entry got: others may have written since the check."""
    return [
        outcome
        if not outcome.entry
        else msgspec.structs.replace(outcome, entry=f"{index}.{outcome.entry.partition('.')[2]}")
        for outcome in checked.outcomes
    ]
