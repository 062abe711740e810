"""Dossiers of the floor as they are wanted, written and checked."""

from __future__ import annotations

import io
from typing import Any

import msgspec

from ledger.application.dossier_wanted import DossierWanted
from ledger.book.signing import format_verifier
from ledger.evidence.archive import Archive
from ledger.evidence.report import DossierReport
from ledger.evidence.verifier import check_dossier
from ledger.line.lot_changes import balls_root
from ledger.line.rows import Unit
from ledger.store.answer import Entered
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, floor_signers

KEY = format_verifier(floor_signers().checkpoint.verifier)


def written(floor: Floor, **wanted: Any) -> bytes:
    """The bytes of the dossier that is wanted."""
    out = io.BytesIO()
    floor.book.write_dossier(DossierWanted(**wanted), out)
    return out.getvalue()


def checked(raw: bytes) -> DossierReport:
    """What a check of it found, by the book's key."""
    return check_dossier(io.BytesIO(raw), [KEY])


def page(raw: bytes, name: str) -> Any:
    """A JSON file of it."""
    archive = Archive(io.BytesIO(raw))
    return msgspec.json.decode(archive.read(name, archive.size(name)))


def closed(floor: Floor, lot: str = "SL-1", hours: float = 120) -> Entered:
    """Close a lot with the balls that it has."""
    with open_reader(floor.book.store) as reader:
        units = reader.rows(Unit, "lot", lot)
    root = balls_root((unit.unit, unit.serial) for unit in units)
    return floor.say({"kind": "lot-closed", "at": at(hours), "lot": lot, "count": len(units), "balls_root": root})
