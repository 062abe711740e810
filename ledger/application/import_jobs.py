"""Imports that a service runs in the background, one file at a time, and how far each is.

What a file became stands in the book; here is only who is at work.  A service that ends leaves a file where it was: sent
again, it goes on.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from typing import BinaryIO

import msgspec

from ledger.access.tokens import Account
from ledger.application.import_lines import ImportFile
from ledger.application.import_outcomes import OutcomeTable, entered_stretches, outcomes_before
from ledger.application.importing import Run, check_may_import, run_import
from ledger.application.pourbook import Pourbook
from ledger.errors import LedgerError, NotFound
from ledger.line.import_rows import ImportedStretch
from ledger.line.imports import Sort
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import every_row


class ImportStanding(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How far a file is. ``lines``: of the file in all, 0 where only the book knows of it; ``done``: told so far.

    ``stopped``: why it is not at work though lines are left; sent again, it goes on.
    """

    file: str
    what: str
    lines: int
    done: int
    accepted: int
    refused: int
    at_work: bool = False
    stopped: str = ""


class _Job:
    """One file at work, or that was."""

    def __init__(self, lines: int) -> None:
        self.lines = lines
        self.at_work = True
        self.stopped = ""


class ImportJobs:
    """The imports of one service. Any thread may ask."""

    def __init__(self, book: Pourbook) -> None:
        """Nothing runs before the first file comes."""
        self._book = book
        self._lock = threading.Lock()
        self._turn = threading.Lock()
        self._jobs: dict[tuple[str, str], _Job] = {}

    def begin(self, raw: bytes, what: Sort, account: Account) -> ImportStanding:
        """Check the file and who sends it, and set to work; one that is at work already is left at it.

        Raises Forbidden, MalformedInput, TooLarge.
        """
        check_may_import(account, what)
        file = ImportFile(raw, what)
        with self._lock:
            job = self._jobs.get((file.digest, what))
            if job is None or not job.at_work:
                job = self._jobs[file.digest, what] = _Job(file.count)
                # Ended with the process: what was not entered is entered when the file comes again.
                threading.Thread(target=self._run, args=(job, raw, what, account), name="import", daemon=True).start()
        return self.standing(file.digest, what)

    def standing(self, file: str, what: Sort) -> ImportStanding:
        """How far a file is. Raises NotFound for one that nobody sent."""
        with self._lock:
            job = self._jobs.get((file, what))
            lines, at_work, stopped = (0, False, "") if job is None else (job.lines, job.at_work, job.stopped)
        with open_reader(self._book.store) as reader:
            rows = entered_stretches(reader, file, what).values()
        if job is None and not rows:
            raise NotFound("no such file was imported", got=file, where="file", mend="send it (POST /imports)")
        found = standing_of(file, what, rows)
        return msgspec.structs.replace(found, lines=lines, at_work=at_work, stopped=stopped)

    def _run(self, job: _Job, raw: bytes, what: Sort, account: Account) -> None:
        try:
            with self._turn:
                run_import(self._book, raw, what, account, Run())
        except LedgerError as error:
            job.stopped = str(error)
        except Exception as error:  # noqa: BLE001  # whatever ended it is told; the file can be sent again
            job.stopped = f"the service ended it: {type(error).__name__}"
        finally:
            job.at_work = False


def standing_of(file: str, what: str, rows: Iterable[ImportedStretch]) -> ImportStanding:
    """How far a file is by the book alone."""
    accepted = refused = 0
    for row in rows:
        accepted += row.accepted
        refused += row.refused
    return ImportStanding(file=file, what=what, lines=0, done=accepted + refused, accepted=accepted, refused=refused)


def imported_files(reader: Reader) -> tuple[ImportStanding, ...]:
    """Every file of which lines are in the book, by digest."""
    found: dict[tuple[str, str], list[ImportedStretch]] = {}
    rows: list[ImportedStretch] = every_row(reader.transaction, ImportedStretch)
    for row in rows:
        found.setdefault((row.file, row.what), []).append(row)
    return tuple(standing_of(file, what, own) for (file, what), own in sorted(found.items()))


def write_outcomes(reader: Reader, file: str, what: str, out: BinaryIO) -> None:
    """Write to ``out``, an open file, what became of each line that is in the book, as CSV. Raises NotFound."""
    stretches = entered_stretches(reader, file, what)
    if not stretches:
        raise NotFound("no line of such a file is in the book", got=file, where="file", mend="import it first")
    table = OutcomeTable(out)
    for first in sorted(stretches):
        table.add(outcomes_before(reader, stretches[first]))
