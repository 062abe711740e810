"""The sheet of a ball against the entries: made anew from them, and compared field by field.

Words that explain (reasons of a verdict, why a reading is not usable, where its uncertainty comes from) are left out of the comparison: they are covered
by the manifest's signature, and a later edition may word them otherwise.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import msgspec
from msgspec import UNSET

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.book.entry import Entry, read_entry
from ledger.conformity.verdict import OUTCOMES
from ledger.errors import DossierRejected
from ledger.evidence.archive import Archive
from ledger.evidence.ball_sheet import BallRows, DatedRulebook, ball_sheet
from ledger.evidence.dossier_format import (
    MAX_SHEET_BYTES,
    BallSheet,
    FactLine,
    VerdictLine,
    first_difference,
    parse_page,
)
from ledger.evidence.entry_facts import EntryFacts, fact_kind, fold_facts, read_records
from ledger.evidence.first_fault import naming_entries
from ledger.line.fact import Fact
from ledger.line.reading_rows import Measured
from ledger.line.record import Record
from ledger.line.rows import Model, SerialRow, Unit
from ledger.tracing.back import Trace, trace_back

_KEPT_TRACES = 10_000


class SheetCheck:
    """Checks sheets one at a time; ``outcomes`` counts rulebook id to worst verdict to balls."""

    def __init__(self, archive: Archive, facts: EntryFacts, rulebooks: Sequence[DatedRulebook]) -> None:
        """Check sheets of ``archive`` against settled ``facts``, judged by ``rulebooks`` in their order."""
        self._archive = archive
        self._facts = facts
        self._rulebooks = rulebooks
        self._traces: dict[tuple[str, int | None], Trace] = {}
        self._entry: tuple[int, tuple[Entry, tuple[Record, ...]]] | None = None
        self._tallies = [Counter[str]() for _ in rulebooks]

    @property
    def outcomes(self) -> dict[str, dict[str, int]]:
        """Rulebook id to outcome to number of balls; outcomes that no ball has are left out."""
        return {
            dated.rulebook.id: {outcome: tally[outcome] for outcome in OUTCOMES if tally[outcome]}
            for dated, tally in zip(self._rulebooks, self._tallies, strict=True)
        }

    def check(self, unit: str) -> None:
        """Check the sheet of a unit. Raises MalformedDossier or DossierRejected naming the file and the field."""
        name = f"balls/{unit}.json"
        said = parse_page(self._archive.read(name, MAX_SHEET_BYTES), BallSheet, name)
        if said.unit != unit:
            raise DossierRejected("sheet is of another ball", expected=unit, got=said.unit, where=name)
        self._check_addresses(said, name)
        with naming_entries(name):
            found = ball_sheet(self._rows(unit, name), self._rulebooks)
        differs = first_difference(_compared(said), _compared(found))
        if differs is not None:
            field, one, other = differs
            raise DossierRejected(
                "sheet differs from its entries",
                expected=_told(other),
                got=_told(one),
                where=f"{name}: {field}",
                mend="believe the entries: they are proved, the sheet is not",
            )
        for tally, table in zip(self._tallies, found.tables, strict=True):
            tally[table.overall] += 1

    def _check_addresses(self, sheet: BallSheet, name: str) -> None:
        named = [line.fact for line in sheet.facts]
        named += [line.fact for line in sheet.readings]
        named += [] if sheet.policy is UNSET else [sheet.policy]
        named += [line.fact for table in sheet.tables for line in table.verdicts if line.fact is not UNSET]
        for address in named:
            index, _, position = address.partition(".")
            if not (index.isdecimal() and position.isdecimal()) or f"entries/{index}.json" not in self._archive:
                raise DossierRejected("fact is not among the entries", got=address, where=name)

    def _rows(self, unit: str, name: str) -> BallRows:
        facts = self._facts.unit_facts(unit, self._read)
        fold = fold_facts(facts, f"unit:{unit}")
        row = fold.held(Unit, unit)
        if row is None:
            raise DossierRejected("no entry here makes the ball", got=unit, where=name)
        lots, trace = self._facts.lots(), self._trace(row.lot, row.place)
        for lot in (row.lot, *(one.lot for one in trace.ancestors)):
            if lot not in lots:
                raise DossierRejected("no entry here makes a lot above the ball", got=lot, where=name)
        model = self._facts.rows.held(Model, lots[row.lot].model or "")
        if model is None:
            raise DossierRejected("no entry here defines the model", got=lots[row.lot].model, where=name)
        return BallRows(
            unit=row,
            serials=fold.all_of(SerialRow),
            measured=fold.held(Measured, unit),
            facts=[_fact_line(fact) for fact in facts],
            trace=trace,
            lots=lots,
            model=model,
            approvals=self._facts.approvals(model.model),
            calibrations=self._facts.calibrations(),
            gauges=self._facts.gauges(),
            studies=self._facts.studies(),
            policy=self._facts.policy(),
            released_ms=next((fact.at_ms for fact in facts if fact.address == row.release), None),
        )

    def _read(self, index: int) -> tuple[Entry, tuple[Record, ...]]:
        """An entry that was proved before, read again; the last one is kept."""
        if self._entry is None or self._entry[0] != index:
            name = f"entries/{index}.json"
            entry = read_entry(self._archive.read(name, MAX_ENTRY_BYTES))
            self._entry = (index, (entry, read_records(entry.said.records, name)))
        return self._entry[1]

    def _trace(self, lot: str, place: int | None) -> Trace:
        trace = self._traces.get((lot, place))
        if trace is None:
            if len(self._traces) >= _KEPT_TRACES:
                self._traces.clear()
            trace = self._traces[lot, place] = trace_back(self._facts.edges, lot, place)
        return trace


def _fact_line(fact: Fact) -> FactLine:
    return FactLine(fact=fact.address, kind=fact_kind(fact), at=fact.record.at, body=fact.body or UNSET)


def _compared(sheet: BallSheet) -> object:
    """The sheet as plain JSON, without the words that only explain."""
    readings = tuple(msgspec.structs.replace(line, why=UNSET, uncertainty_from=UNSET) for line in sheet.readings)
    tables = tuple(
        msgspec.structs.replace(table, verdicts=tuple(_without_words(line) for line in table.verdicts))
        for table in sheet.tables
    )
    return msgspec.to_builtins(msgspec.structs.replace(sheet, readings=readings, tables=tables), builtin_types=())


def _without_words(line: VerdictLine) -> VerdictLine:
    house = line.house if line.house is UNSET else msgspec.structs.replace(line.house, sentence="")
    return msgspec.structs.replace(line, reasons=(), house=house)


def _told(value: object) -> object:
    return "nothing" if value is None else value
