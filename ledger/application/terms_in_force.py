"""Warranty terms as they are shown and adopted."""

from __future__ import annotations

import datetime as dt
import hashlib

import msgspec

from ledger.application.adopting import Adoption
from ledger.book.instant import Instant, format_instant
from ledger.conformity.from_rows import day_of
from ledger.errors import MalformedRecord
from ledger.line.warranty_terms import WarrantyTermsAdopted
from ledger.store.adopted_terms import terms_in_force
from ledger.store.reader import Reader
from ledger.warranty.terms import Terms, TermsSource, parse_terms

NAME = "warranty"
"""Under which the service adopts terms; a plant has one file of them in force at a time."""


class TermsSeen(msgspec.Struct, frozen=True, kw_only=True):
    """The terms that answers of a day go by, and which they are."""

    on: dt.date
    source: TermsSource
    terms: Terms


def terms_seen(reader: Reader, on: str | None, now_ms: int) -> TermsSeen:
    """The terms in force on a day (YYYY-MM-DD), by default today's. Raises MalformedRecord for a day that is none."""
    day = day_of(now_ms) if on is None else parse_day(on, "on")
    in_force = terms_in_force(reader, day)
    return TermsSeen(on=day, source=in_force.source, terms=in_force.terms)


def parse_day(text: str, where: str) -> dt.date:
    """A date as YYYY-MM-DD. Raises MalformedRecord."""
    try:
        return dt.date.fromisoformat(text) if len(text) == 10 else dt.date.fromisoformat("")
    except ValueError as error:
        raise MalformedRecord(
            "no such date",
            expected="YYYY-MM-DD of a real day",
            got=text,
            where=where,
            mend="send the date as YYYY-MM-DD",
        ) from error


def terms_adoption(raw: bytes, at_ms: int) -> Adoption:
    """The adoption of a file of terms. Raises MalformedTerms naming the line or the key, and the mend."""
    parse_terms(raw)
    digest = hashlib.sha256(raw).hexdigest()
    record = WarrantyTermsAdopted(at=format_instant(Instant(at_ms, 0)), terms=NAME, digest=digest)
    return Adoption(NAME, digest, record, f"warranty-terms:{NAME}")
