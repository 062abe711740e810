"""The warranty terms that were in force on a day, by what the plant adopted; or the service's own defaults."""

from __future__ import annotations

import datetime as dt

from ledger.conformity.from_rows import day_of
from ledger.errors import MalformedTerms
from ledger.line.rows import FactRow
from ledger.line.warranty_terms import WarrantyTermsAdopted
from ledger.store.blobs import read_blobs
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.warranty.terms import DEFAULT_IN_FORCE, DEFAULT_TERMS, Terms, TermsInForce, TermsSource, parse_terms

_KEPT = 64
_read: dict[str, Terms] = {}


def terms_in_force(reader: Reader, on: dt.date) -> TermsInForce:
    """The terms adopted last up to a day, and which they are. Cost: the adoptions ever made, which are few.

    A file that is not stored here leaves the defaults, and the answer says so.
    """
    return AdoptedTerms(reader).on(on)


class AdoptedTerms:
    """Every adoption of terms, read once, for the days of many claims."""

    def __init__(self, reader: Reader) -> None:
        """One query."""
        rows: list[FactRow] = rows_with(reader, FactRow, "kind", ["warranty-terms-adopted"])
        self._reader = reader
        self._adopted = sorted(
            (row for row in rows if row.standing), key=lambda row: (row.at_ms, row.index, row.position)
        )
        self._known: dict[str, TermsInForce] = {}

    def on(self, day: dt.date) -> TermsInForce:
        """The terms adopted last up to a day."""
        until = [row for row in self._adopted if day_of(row.at_ms) <= day]
        if not until:
            return DEFAULT_IN_FORCE
        row = until[-1]
        if row.address not in self._known:
            self._known[row.address] = _in_force(self._reader, row)
        return self._known[row.address]


def _in_force(reader: Reader, row: FactRow) -> TermsInForce:
    fact = reader.fact(row.address)
    if fact is None or not isinstance(fact.record, WarrantyTermsAdopted):
        return DEFAULT_IN_FORCE
    digest = fact.record.digest
    terms = _terms(reader, digest)
    if terms is None:
        said = (
            "the file of the terms in force is not stored here: the service's own defaults, common practice, no source but "
            "where a term names one"
        )
        return TermsInForce(DEFAULT_TERMS, TermsSource(said=said, digest=digest, fact=row.address))
    said = f"the terms that the plant adopted on {day_of(row.at_ms)}"
    return TermsInForce(terms, TermsSource(said=said, digest=digest, fact=row.address))


def _terms(reader: Reader, digest: str) -> Terms | None:
    """What the file of a digest says, remembered: a digest stands for the same bytes for ever."""
    if digest not in _read:
        raw = read_blobs(reader.transaction, [digest]).get(digest)
        if raw is None:
            return None
        try:
            terms = parse_terms(raw)
        except MalformedTerms:
            return None
        if len(_read) >= _KEPT:
            _read.clear()
        _read[digest] = terms
    return _read[digest]
