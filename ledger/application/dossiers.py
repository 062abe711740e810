"""A dossier of balls, put together from one look at the store: sheets, the entries they rest on, receipts, keys, rulebooks."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any, BinaryIO

from msgspec import UNSET

from ledger.application.adopted_files import rulebooks_here
from ledger.application.ball_view import find_units
from ledger.application.imported_sources import refuse_imported
from ledger.application.proofs import erased_fields
from ledger.application.release_policies import policy_in_force
from ledger.book.entry import read_entry
from ledger.book.signing import NoteSigner
from ledger.errors import NotFound, StoreDamaged
from ledger.evidence.ball_sheet import BallRows, DatedRulebook, ball_sheet
from ledger.evidence.dossier import DossierContent, DossierEntry, sealed_paths, write_dossier
from ledger.evidence.dossier_format import BallSheet, FactLine
from ledger.evidence.needed_entries import needed_indexes, sheet_nodes
from ledger.line.claim_rows import ClaimEvidence
from ledger.line.erasure_rows import ErasedBlob, ErasedField
from ledger.line.fact import parse_address
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, Measured
from ledger.line.refold import kind_name
from ledger.line.rows import (
    About,
    Approval,
    BookKey,
    FactRow,
    Lot,
    Model,
    Plan,
    Row,
    SerialRow,
    Unit,
)
from ledger.line.standing_readings import gauges_of
from ledger.store.openings import openings_between
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, every_row, rows_with
from ledger.tracing.back import trace_back


def serial_units(reader: Reader, serials: Sequence[str]) -> list[str]:
    """The unit that bears each number now, once each, ascending. Raises NotFound for a number that none or several bear."""
    units: set[str] = set()
    for place, serial in enumerate(serials):
        bearers = [found.unit for found in find_units(reader, serial) if found.bears_it_now]
        if len(bearers) != 1:
            raise NotFound(
                f"{len(bearers)} balls bear {serial} now",
                expected="one ball",
                where=f"serials[{place}]",
                mend="look the number up; name another that the ball bears",
            )
        units.add(bearers[0])
    return sorted(units)


def dossier_of(
    reader: Reader,
    units: Sequence[str],
    out: BinaryIO,
    *,
    note: bytes,
    signer: NoteSigner,
    withhold: Collection[str] = (),
) -> None:
    """Write the dossier of balls to ``out``. ``withhold`` names sealings (``withheld``, ``erasable``) left closed.

    Every receipt is against ``note``, which must be of this look's tree or an earlier one that covers the entries.
    Raises NotFound for a ball that was made before the book, which holds no evidence of its making.
    """
    refuse_imported(reader, units)
    policy = policy_in_force(reader)
    rows = [_ball_rows(reader, unit)._replace(policy=policy) for unit in units]
    nodes = {node for one in rows for node in sheet_nodes(one)}
    keys: list[BookKey] = every_row(reader.transaction, BookKey)
    nodes |= {f"key:{key.key_name}" for key in keys}
    names = _rulebook_names(reader, {one.model.model for one in rows})
    editions = sorted(
        (edition for edition in rulebooks_here(reader).editions if edition.rulebook.id in names),
        key=lambda edition: edition.digest,
    )
    dated = [DatedRulebook(edition.digest, edition.rulebook) for edition in editions]
    content = DossierContent(
        scope=f"{len(rows)} balls by serial" if len(rows) != 1 else "1 ball by serial",
        checkpoint=note,
        keys=keys,
        rulebooks=[edition.raw for edition in editions],
        entries=_entries(reader, needed_indexes(_StoredFacts(reader), nodes), note, withhold),
        balls=_sheets(rows, dated),
        signer=signer,
    )
    write_dossier(out, content)


def _sheets(rows: list[BallRows], dated: list[DatedRulebook]) -> Iterator[BallSheet]:
    for one in rows:
        yield ball_sheet(one, dated)


def _rulebook_names(reader: Reader, models: set[str]) -> set[str]:
    plans: list[Plan] = rows_with(reader, Plan, "model", models)
    return {name for plan in plans for name in plan.rulebooks.split(",") if name}


def _ball_rows(reader: Reader, name: str) -> BallRows:
    unit = reader.one(Unit, name)
    lot = None if unit is None else reader.one(Lot, unit.lot)
    model = None if lot is None or lot.model is None else reader.one(Model, lot.model)
    if unit is None or lot is None or model is None:
        raise NotFound(f"unit {name} has no lot or model", where="unit", mend="define the model of its lot first")
    trace = trace_back(StoredEdges(reader), lot.lot, unit.place)
    lots = {row.lot: row for row in rows_with(reader, Lot, "lot", [lot.lot, *(above.lot for above in trace.ancestors)])}
    measured = reader.one(Measured, name)
    calibrations: dict[str, list[Calibration]] = {}
    for calibration in rows_with(reader, Calibration, "gauge", gauges_of(measured)):
        calibrations.setdefault(calibration.gauge, []).append(calibration)
    studies: dict[str, list[GaugeStudy]] = {}
    for study in rows_with(reader, GaugeStudy, "gauge", gauges_of(measured)):
        studies.setdefault(study.gauge, []).append(study)
    released = None if unit.release is None else reader.one(FactRow, unit.release)
    return BallRows(
        unit=unit,
        serials=reader.rows(SerialRow, "unit", name),
        measured=measured,
        facts=_facts(reader, name),
        trace=trace,
        lots=lots,
        model=model,
        approvals=reader.rows(Approval, "model", model.model),
        calibrations=calibrations,
        released_ms=None if released is None else released.at_ms,
        gauges={gauge.gauge: gauge for gauge in rows_with(reader, Gauge, "gauge", gauges_of(measured))},
        studies=studies,
    )


def _facts(reader: Reader, unit: str) -> list[FactLine]:
    return [
        FactLine(fact=fact.address, kind=kind_name(fact), at=fact.record.at, body=fact.body or UNSET)
        for fact in reader.facts_about(f"unit:{unit}")
    ]


def _entries(reader: Reader, indexes: Sequence[int], note: bytes, withhold: Collection[str]) -> Iterator[DossierEntry]:
    for index in indexes:
        raw = reader.entry(index).bytes
        stored = openings_between(reader.transaction, index, index + 1)
        records = read_entry(raw).said.records
        erased = frozenset(erased_fields(reader, index, len(records)))
        missing = {path for path, _ in sealed_paths(records)} - {one.opening.path for one in stored} - erased
        if missing:
            raise StoreDamaged("an opening is missing that no erasure names", where=f"entry {index}, {min(missing)}")
        yield DossierEntry(
            index=index,
            raw=raw,
            receipt=reader.receipt(index, note),
            openings=[one.opening for one in stored if one.sealing not in withhold],
            erased=erased,
        )


class _StoredFacts:
    """Where the entries of a dossier are found."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader

    def about(self, nodes: Collection[str]) -> list[str]:
        """Addresses of the facts about the nodes."""
        rows: list[About] = rows_with(self._reader, About, "node", sorted(nodes))
        return [row.address for row in rows]

    def bodies_in(self, indexes: Collection[int]) -> list[str]:
        """Where the bodies of the facts said in these entries stand, of those corrected or withdrawn."""
        rows: list[FactRow] = self._of_entries(FactRow, '"body" <> \'\' AND "index"', indexes)
        return [row.body for row in rows]

    def erasures_in(self, indexes: Collection[int]) -> list[str]:
        """Addresses of the facts that erased something said in these entries."""
        rows: list[ErasedField] = self._of_entries(ErasedField, '"entry"', indexes)
        return [row.address for row in rows] + self._file_erasures(indexes)

    def _file_erasures(self, indexes: Collection[int]) -> list[str]:
        """Addresses of the facts that erased a file which a claim of these entries names. Cost: the files ever erased."""
        erased = {row.digest: row.address for row in every_row(self._reader.transaction, ErasedBlob)}
        named: list[ClaimEvidence] = rows_with(self._reader, ClaimEvidence, "digest", erased.keys())
        return [erased[row.digest] for row in named if parse_address(row.address)[0] in indexes]

    def _of_entries(self, row: type[Row], column: str, indexes: Collection[int]) -> list[Any]:
        wanted = sorted(indexes)
        found: list[Any] = []
        for start in range(0, len(wanted), 500):
            chunk = wanted[start : start + 500]
            marks = ", ".join("?" for _ in chunk)
            found += every_row(self._reader.transaction, row, f"{column} IN ({marks})", chunk)
        return found
