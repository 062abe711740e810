"""The files that the claims of a dossier name by their SHA-256, and which of them an entry says were erased.

The files themselves lie beside the book and are in no dossier; a file that was erased is not one that is missing.
"""

from __future__ import annotations

from collections.abc import Iterable

from ledger.line.blob_erasures import BlobErasure
from ledger.line.claims import ClaimExamined, ClaimOpened, ClaimReplied, files_named
from ledger.line.corrections import Correction
from ledger.line.record import Record

_SPEAKS_OF_FILES = (BlobErasure, Correction, ClaimOpened, ClaimExamined, ClaimReplied)


class FilesTally:
    """Counts the files of the records that it hears, each once."""

    def __init__(self) -> None:
        """Nothing is heard yet."""
        self._named = set[str]()
        self._erased = set[str]()

    def hear(self, records: Iterable[Record]) -> None:
        """The records of an entry."""
        for record in records:
            if not isinstance(record, _SPEAKS_OF_FILES):
                continue
            if isinstance(record, BlobErasure):
                self._erased.update(record.blobs)
            elif isinstance(record, Correction):
                self._named.update(
                    digest
                    for change in record.changes
                    if isinstance(change.replacement, Record)
                    for digest in files_named(change.replacement)
                )
            else:
                self._named.update(files_named(record))

    @property
    def named(self) -> int:
        """How many files are named."""
        return len(self._named)

    @property
    def erased(self) -> int:
        """How many of the named ones were erased."""
        return len(self._named & self._erased)
