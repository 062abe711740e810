"""Entering facts: what a record needs, whether it may stand, and the rows that it puts.

The writer, a rebuild and a station's question all go through these three functions and no other.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain

import msgspec

from ledger.book.instant import instant_ms
from ledger.errors import MalformedRecord, Refused
from ledger.line.corrections import Correction, error_within
from ledger.line.fact import Breach, Fact, is_doubtful, is_late
from ledger.line.holds import enter_breach_holds
from ledger.line.kind import Setting
from ledger.line.plant_rules import RULES_NEED, rules_at
from ledger.line.record import Record, check_instants
from ledger.line.refold import breach_nodes, enter_about, kind_name, own_breaches
from ledger.line.rows import FactRow
from ledger.line.state import Need, State
from ledger.line.vocabulary import KIND_OF


def check_submission(records: Sequence[Record]) -> None:
    """Check what can be checked without the book. Raises MalformedRecord."""
    if len(records) > 1 and any(isinstance(record, Correction) for record in records):
        raise MalformedRecord(
            "a correction is said by itself",
            expected="one record",
            got=len(records),
            where="records",
            mend="put all its changes in one correction, and send it alone",
        )
    for place, record in enumerate(records):
        try:
            check_instants(record)
        except MalformedRecord as error:
            raise located(error, place) from error


def located(error: Refused | MalformedRecord, place: int) -> Refused | MalformedRecord:
    """The same error with the record's place in front of the field that it names."""
    return error_within(error, f"records[{place}]")


def needs_of(record: Record, state: State) -> Iterable[Need]:
    """What checking and entering the record reads; ask again until every need is loaded."""
    return chain((RULES_NEED,), KIND_OF[type(record)].needs(record, state))


def check_record(record: Record, state: State, setting: Setting) -> list[Breach]:
    """The breaches with which a record stands. Raises a `Refused` when it may not."""
    return KIND_OF[type(record)].check(record, state, setting)


def is_correction(record: Record) -> bool:
    """Whether the record corrects others, and therefore is entered in a group of its own."""
    return isinstance(record, Correction)


def enter(fact: Fact, state: State) -> None:
    """Put every row that a fact gives. Late and doubtful times are marked, by the plant's limits at the fact's index."""
    rules = rules_at(fact.index, state)
    kind = KIND_OF[type(fact.record)]
    own = msgspec.structs.replace(fact, breaches=own_breaches(fact)) if fact.breaches else fact
    state.put(
        FactRow(
            address=fact.address,
            index=fact.index,
            position=fact.position,
            kind=kind_name(fact),
            at_ms=fact.at_ms,
            recorded_ms=fact.recorded_ms,
            author=fact.author,
            late=is_late(fact, kind.sort, rules.late_ms),
            doubtful=is_doubtful(fact, rules.doubtful_ms),
            standing=True,
            body="",
        )
    )
    about = kind.about(fact.record)
    enter_about(own, {*about, *breach_nodes(own)} if own.breaches else dict.fromkeys(about), state)
    enter_breach_holds(own, state)
    kind.effects(fact, state)


def earliest_of(breaches: Iterable[Breach]) -> str | None:
    """The latest of the instants that the breaches name as earliest: when all of them would be kept."""
    named = [breach.earliest for breach in breaches if isinstance(breach.earliest, str)]
    return max(named, key=instant_ms, default=None)
