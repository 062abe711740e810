"""What the store holds of an approval file: its rows, its checklist, its samples as measured, its lists and documents."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from ledger.application.adopted_files import checklist_by_digest
from ledger.application.judging import grounds_of
from ledger.book.tiles import root_from_tiles
from ledger.conformity.checklist import Checklist
from ledger.conformity.completeness import SampleBall
from ledger.conformity.from_rows import readings_from_row
from ledger.errors import MalformedInput, NotFound, StoreDamaged
from ledger.evidence.approval_check import parse_candidates
from ledger.evidence.approval_facts import ROWS, ApprovalRows, approval_rows
from ledger.line.approval_document import Frozen, parse_frozen
from ledger.line.approval_draw import Candidate, sample_seed
from ledger.line.approval_frozen import frozen_document, frozen_needs
from ledger.line.approval_rows import ApprovalFile
from ledger.line.fact import parse_address
from ledger.line.rows import Model
from ledger.store.blobs import read_blobs
from ledger.store.reader import Reader
from ledger.store.selections import rows_with, select_units
from ledger.store.tiles import StoredTiles


def stored_file(reader: Reader, file: str) -> ApprovalRows:
    """The rows of a file, one query a view. Raises NotFound."""
    return stored_files(reader, [file])[file]


def stored_files(reader: Reader, files: Collection[str]) -> dict[str, ApprovalRows]:
    """The rows of several files, one query a view for all. Raises NotFound naming the first that is none."""
    held = {row: rows_with(reader, row, "file", files) for row in ROWS}
    missing = sorted(set(files) - {row.file for row in held[ApprovalFile]})
    if missing:
        raise NotFound(f"no approval file {missing[0]}", where="file", mend="check the id, or open it first")
    return {
        file: approval_rows(file, {row: [one for one in rows if one.file == file] for row, rows in held.items()})
        for file in files
    }


def checklist_of(reader: Reader, file: ApprovalFile) -> Checklist:
    """The checklist that a file is gathered by. Raises NotFound where its file is not here."""
    found = checklist_by_digest(reader, file.checklist)
    if found is None:
        raise NotFound(
            f"the checklist of approval file {file.file} is not here",
            expected=f"the file with digest {file.checklist}",
            where="checklist",
            mend="send the file again (POST /checklists)",
        )
    return found


def core_of(reader: Reader, model: str) -> str:
    """The sort of core of a model as it stands."""
    row = reader.one(Model, model)
    return "" if row is None else row.core


def sample_balls(reader: Reader, units: Sequence[str]) -> dict[str, SampleBall]:
    """Balls as samples: which quantities were read so that they may be used, and which may not. Seven queries."""
    selected = select_units(reader.transaction, units) if units else []
    grounds = grounds_of(reader, selected)
    found: dict[str, SampleBall] = {}
    for one in selected:
        readings = readings_from_row(one.measured, grounds.calibrations, grounds.gauges, grounds.studies)
        found[one.unit.unit] = SampleBall(
            ball=one.unit.unit,
            weight_class=one.unit.weight_class or 0,
            quantities=frozenset(name for name, reading in readings.items() if reading.usable),
            unusable=frozenset(name for name, reading in readings.items() if not reading.usable),
        )
    return found


def stored_candidates(reader: Reader, digest: str) -> list[Candidate]:
    """A list of candidates. Raises NotFound, StoreDamaged for a file that is none."""
    try:
        return parse_candidates(_file(reader, digest, "list of candidates"))
    except MalformedInput as error:
        raise StoreDamaged("a list of candidates is none", got=error.problem, where=f"blob {digest}") from error


def stored_frozen(reader: Reader, digest: str) -> Frozen:
    """A document that was frozen. Raises NotFound, StoreDamaged for a file that is none."""
    try:
        return parse_frozen(_file(reader, digest, "frozen document"))
    except MalformedInput as error:
        raise StoreDamaged("a frozen document is none", got=error.problem, where=f"blob {digest}") from error


def _file(reader: Reader, digest: str, what: str) -> bytes:
    raw = read_blobs(reader.transaction, [digest]).get(digest)
    if raw is None:
        raise NotFound(f"the {what} is not stored", got=digest, where="digest", mend="restore it from a copy")
    return raw


def document_now(reader: Reader, file: str) -> bytes:
    """The document of a file as it stands at this look; no bytes for a file that is none."""
    state = reader.state_with(lambda held: frozen_needs(file, held))
    return frozen_document(file, state)


def seed_of(reader: Reader, announcement: str) -> str:
    """The seed that an announcement gives, from the tree that ends with its entry; O(log n) rows."""
    size = parse_address(announcement)[0] + 1
    return sample_seed(root_from_tiles(StoredTiles(reader.transaction), size))


def by_class(candidates: Collection[Candidate]) -> Mapping[int, list[Candidate]]:
    """Candidates by nominal class, ascending."""
    found: dict[int, list[Candidate]] = {}
    for one in sorted(candidates):
        found.setdefault(one.weight_class, []).append(one)
    return found
