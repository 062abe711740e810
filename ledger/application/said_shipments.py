"""Shipments for sale: a first-quality ball that fails a body's limit by a reading after its release is refused at once.

The duty (`ledger.duties.late_readings`) holds such a ball within its turn; here it is looked at before the shipment is
queued.  A ball that was not read since its release was judged then, so that a usual shipment costs one query.  A correction
of a shipment is looked at as well, for the balls in it that have not left yet.

A reading that is entered between this look and the shipment's entry is not seen here: the duty then holds the ball that
left.  A key that was used already is left to the writer, which enters nothing for it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ledger.access.tokens import Account
from ledger.application.failing_readings import failing_balls, read_after
from ledger.application.said_places import SaidPlace, said_places
from ledger.duties.late_readings import FailingReading
from ledger.errors import RuleStands
from ledger.line.corrections import Correction
from ledger.line.imports import ShipmentImported
from ledger.line.inspections import Inspection
from ledger.line.record import Record
from ledger.line.releases import Release
from ledger.line.shipments import Shipment
from ledger.line.submission import Submission, said_records
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import select_units

_MEND = (
    "give it a lower grade (regrade), rework or scrap it, or correct the reading if it was said wrongly; "
    "no concession changes a limit"
)

_SHIPMENTS = (Shipment, ShipmentImported)

LOOKED_AT: frozenset[type[Record]] = frozenset({*_SHIPMENTS, Correction})
"""Kinds for which `check_said_shipments` may have to look into the store."""


class _Leaving(NamedTuple):
    """A ball that a record lets leave for sale, where it is named, and whether it is read or released beside it."""

    unit: str
    where: str
    read: bool
    released: bool


def check_said_shipments(store: Store, submission: Submission, account: Account) -> None:
    """Check the shipments for sale among the records of a submission (see above). Raises RuleStands.

    Costs nothing where there are none, one query where no ball of them was read after its release.
    """
    records = said_records(submission)
    if LOOKED_AT.isdisjoint(map(type, records)):
        return
    leaving = list(_leaving(records))
    if not leaving:
        return
    with open_reader(store) as reader:
        refused = _refusal(reader, leaving)
        if refused is not None and reader.requested(account.account, submission.key) is None:
            raise refused


def failing_shipment(reader: Reader, units: Sequence[str]) -> dict[str, FailingReading]:
    """The balls among these, here and first quality, that may not be sold, each with the reading that fails. See above."""
    here = [
        one
        for one in select_units(reader.transaction, units)
        if (one.unit.state, one.unit.grade) == ("released", "first") and one.unit.release is not None
        and read_after(one, one.unit.release)
    ]  # fmt: skip
    return {failing.unit: failing for failing in failing_balls(reader, here)}


def refused_shipment(failing: FailingReading, where: str) -> RuleStands:
    """The refusal of a ball that may not be sold."""
    return RuleStands(
        f"unit {failing.unit} may not leave for sale: by fact {failing.fact}, read after its release, "
        f"it is not first quality under {failing.rulebook}: {failing.quantity}",
        expected=failing.limit,
        got=failing.value or "does not conform",
        where=where,
        mend=_MEND,
    )


def _refusal(reader: Reader, leaving: Sequence[_Leaving]) -> RuleStands | None:
    """Why the first ball that may not leave may not."""
    failing = failing_shipment(reader, list(dict.fromkeys(one.unit for one in leaving)))
    read = {one.unit for one in leaving if one.read}
    first = {
        one.unit.unit
        for one in (select_units(reader.transaction, sorted(read)) if read else ())
        if (one.unit.state, one.unit.grade) == ("released", "first")
    }
    for one in leaving:
        if one.unit in failing:
            return refused_shipment(failing[one.unit], one.where)
        if one.read and (one.released or one.unit in first):
            return RuleStands(
                f"unit {one.unit} is read and shipped at once, and nobody has judged what was read",
                expected="readings that are in the book before the shipment is said",
                where=one.where,
                mend="enter the readings first, then ship the ball",
            )
    return None


def _leaving(records: Sequence[Record]) -> Iterator[_Leaving]:
    """The balls of shipments for sale. What comes later in the submission is entered later; a correction is one moment."""
    read: set[str] = set()
    released: set[str] = set()
    for one in _said(records):
        record, where = one.record, one.where
        if isinstance(record, Inspection) and isinstance(record.unit, str):
            read.add(record.unit)
        elif isinstance(record, Release) and record.grade == "first":
            released.add(record.unit)
        for unit, place in _sold(record):
            yield _Leaving(unit, f"{where}.{place}", unit in read, unit in released)


def _sold(record: Record) -> Iterator[tuple[str, str]]:
    if isinstance(record, Shipment) and record.purpose == "sale":
        yield from ((unit, f"units[{place}]") for place, unit in enumerate(record.units))
    elif isinstance(record, ShipmentImported) and record.purpose == "sale":
        yield record.unit, "unit"


def _said(records: Sequence[Record]) -> list[SaidPlace]:
    """In order, but for the shipments of a correction, which come after its other replacements."""
    return sorted(said_places(records), key=lambda one: (one.place, isinstance(one.record, _SHIPMENTS)))
