"""The letters of a case in one file: of each consignee the newest, for whoever prints and posts them."""

from __future__ import annotations

from typing import BinaryIO

from ledger.application.case_balls import known_case_row
from ledger.application.case_view import notices_of
from ledger.errors import NotFound
from ledger.evidence.archive import ArchiveWriter
from ledger.store.blobs import read_blobs
from ledger.store.reader import Reader

MEDIA_TYPE = "application/zip"


def write_letters(reader: Reader, case: str, *, out: BinaryIO) -> int:
    """Write the newest letter of each consignee of a case as a zip, ``consignee.pdf`` in their order; how many.

    The same letters give the same bytes; one letter is in memory at a time. Raises NotFound for a case that is not there
    or has no letter, and for a letter whose file was erased.
    """
    known_case_row(reader, case)
    newest = {notice.consignee: notice.letter for notice in notices_of(reader, case)}
    if not newest:
        raise NotFound(f"no letter of case {case} was made", where="case", mend="make the letters of the case first")
    archive = ArchiveWriter(out)
    for consignee, digest in sorted(newest.items()):
        raw = read_blobs(reader.transaction, [digest]).get(digest)
        if raw is None:
            raise NotFound(
                f"the letter of case {case} to {consignee} is no longer stored",
                got=digest,
                where="case",
                mend=f"make the letter to {consignee} anew, or fetch the letters one by one",
            )
        archive.add(f"{consignee}.pdf", raw)
    archive.close()
    return len(newest)
