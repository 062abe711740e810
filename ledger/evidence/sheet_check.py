"""The sheet of a ball against the entries: made anew from them, and compared.

Balls that are checked together are folded together, and their sheets made anew as bytes (`sheet_text`): mostly they are the sheet that
is in the dossier, to the byte. Where they are not, the ball is folded by itself and its sheet compared field by field, so
that what is wrong is named. Words that explain (reasons of a verdict, why a reading is not usable, where its uncertainty
comes from) are left out of that comparison: they are covered by the manifest's signature, and a later edition may word
them otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import chain

import msgspec
from msgspec import UNSET

from ledger.errors import DossierRejected, LedgerError
from ledger.evidence.archive import Archive
from ledger.evidence.ball_made import BallMade
from ledger.evidence.ball_rows import BallFold
from ledger.evidence.ball_sheet import BallRows, DatedRulebook, ball_sheet
from ledger.evidence.dossier_format import (
    MAX_SHEET_BYTES,
    BallSheet,
    VerdictLine,
    first_difference,
    format_page,
    parse_page,
    told_short,
)
from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.entry_read import ProvedEntries
from ledger.evidence.first_fault import naming_entries
from ledger.evidence.sheet_text import SheetText


class SheetCheck:
    """Checks sheets."""

    def __init__(
        self, archive: Archive, facts: EntryFacts, rulebooks: Sequence[DatedRulebook], entries: ProvedEntries
    ) -> None:
        """Check sheets of ``archive`` against settled ``facts``, judged by ``rulebooks`` in their order."""
        self._archive = archive
        self._facts = facts
        self._fold = BallFold(facts)
        self._rulebooks = rulebooks
        self._text = SheetText(rulebooks)
        self._entries = entries

    def check(self, units: Sequence[str]) -> Iterator[BallMade]:
        """Check the sheets of some hundred units, in turn. Raises MalformedDossier or DossierRejected naming file and field."""
        folded = self._folded(units)
        for unit in units:
            yield self._quickly(unit, folded.get(unit)) or self._slowly(unit)

    def _folded(self, units: Sequence[str]) -> Mapping[str, BallRows]:
        """The rows of those balls that can be folded together; what is odd is left to be folded, and named, by itself."""
        try:
            facts = {unit: self._facts.unit_facts(unit, self._entries.read) for unit in units}
            return self._fold.rows(facts)
        except (LedgerError, LookupError, TypeError, ValueError, AttributeError, ArithmeticError):
            return {}

    def _quickly(self, unit: str, rows: BallRows | None) -> BallMade | None:
        """The ball whose sheet is to the byte what its entries give; None for any other."""
        if rows is None:
            return None
        try:
            made = self._text.sheet(rows)
        except (LedgerError, LookupError, TypeError, ValueError, AttributeError, ArithmeticError):
            return None
        raw = self._archive.content(_name(unit), MAX_SHEET_BYTES)
        if made.raw != raw:
            return None
        return BallMade(rows, made, raw)

    def _slowly(self, unit: str) -> BallMade:
        name = _name(unit)
        raw = self._archive.content(name, MAX_SHEET_BYTES)
        said = parse_page(raw, BallSheet, name)
        if said.unit != unit:
            raise DossierRejected("sheet is of another ball", expected=unit, got=said.unit, where=name)
        self._check_addresses(said, name)
        with naming_entries(name):
            rows = self._fold.rows_of(unit, self._facts.unit_facts(unit, self._entries.read), name)
            found = ball_sheet(rows, self._rulebooks)
        differs = None if format_page(found) == raw else first_difference(_compared(said), _compared(found))
        if differs is not None:
            field, one, other = differs
            raise DossierRejected(
                "sheet differs from its entries",
                expected=told_short(other),
                got=told_short(one),
                where=f"{name}: {field}",
                mend="believe the entries: they are proved, the sheet is not",
            )
        return BallMade(rows, said, raw)

    def _check_addresses(self, sheet: BallSheet, name: str) -> None:
        facts = chain(
            (line.fact for line in sheet.facts),
            (line.fact for line in sheet.readings),
            (sheet.plan, sheet.policy),
            (line.calibration for line in sheet.readings),
            (line.fact for table in sheet.tables for line in table.verdicts),
        )
        for address in facts:
            if address is UNSET:
                continue
            index, _, position = address.partition(".")
            if not (index.isdecimal() and position.isdecimal()) or f"entries/{index}.json" not in self._archive:
                raise DossierRejected("fact is not among the entries", got=address, where=name)


def _name(unit: str) -> str:
    return f"balls/{unit}.json"


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
