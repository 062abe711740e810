"""Serials of the own scheme, allotted to a station before they are engraved."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated

from msgspec import Meta

from ledger.errors import Contradiction
from ledger.line.balls import SerialText, check_own
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Id, Record
from ledger.line.rows import Allotment, Counter
from ledger.line.state import Need, State


class SerialsAllotted(Record, frozen=True, kw_only=True, tag="serials-allotted"):
    """Numbers of the own scheme given to a station, from counter value ``first`` on, in this order."""

    station: Id
    first: Annotated[int, Meta(ge=0, le=9_007_199_254_740_991)]
    serials: Annotated[tuple[SerialText, ...], Meta(min_length=1, max_length=1000)]


def _allotted_needs(record: SerialsAllotted, _state: State) -> Iterator[Need]:
    yield Need(Counter, "counter", "own")
    for serial in record.serials:
        yield Need(Allotment, "serial", serial)


def _allotted_check(record: SerialsAllotted, state: State, _setting: Setting) -> list[Breach]:
    counter = state.one(Counter, "own")
    due = 0 if counter is None else counter.next
    if record.first != due:
        raise Contradiction(
            "serials are allotted in the order of the counter",
            expected=due,
            got=record.first,
            where="first",
            mend="ask again for serials: another station was served meanwhile",
        )
    for place, serial in enumerate(record.serials):
        check_own(serial, f"serials[{place}]")
        if state.one(Allotment, serial) is not None:
            raise Contradiction(f"serial {serial} was allotted already", where=f"serials[{place}]", mend="ask again")
    return []


def _allotted_effects(fact: Fact, state: State) -> None:
    record: SerialsAllotted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for place, serial in enumerate(record.serials):
        allotment = Allotment(serial=serial, counter=record.first + place, station=record.station, address=fact.address)
        state.put(allotment)
    state.put(Counter(counter="own", next=record.first + len(record.serials)))


def _of_serials(record: SerialsAllotted) -> Iterable[str]:
    return ["counter:own", *(f"serial:{serial}" for serial in record.serials)]


KINDS = (Kind(SerialsAllotted, "decision", _allotted_needs, _allotted_check, _allotted_effects, _of_serials),)
