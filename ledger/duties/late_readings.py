"""Readings after a release: a ball that is first quality and fails a body's limit by what was read since is held.

A release at first quality is judged on the readings that stood before it.  A later inspection, or a correction of one,
touches no grade; so each that comes is looked at, and where its ball is out as first quality and does not conform now, a
hold is placed on the ball that stops release and shipment.  Verdicts are not made here: whoever wires the duty gives the
function that judges (`ledger.application.failing_readings`).  A shipment for sale of such a ball is refused at once, before
any look (`ledger.application.said_shipments`).

The entries are looked at in order, each once, from a place that the store keeps.  A place moves on only once all that was
found below it is in the book, so nothing is left out by a process that was stopped.  The id of a hold is made from the fact
that states the failing reading, and so is its key: one that was lifted, or withdrawn, is not placed again for that reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from ledger.book.instant import Instant, format_instant
from ledger.duties.rechecks import DUTIES
from ledger.line.fact import parse_address
from ledger.line.holds import HoldPlaced
from ledger.line.rows import About, FactRow, Hold, Unit
from ledger.line.submission import Submission
from ledger.store.bodies import decode_said
from ledger.store.places import read_place
from ledger.store.reader import CHUNK, Reader
from ledger.store.selections import rows_with

DUTY = "late-readings"
"""The name of the place that the store keeps."""

AFTER_RELEASE = "reading-after-release"
"""The reason of the holds."""

HOLD = "READING-"
"""What the ids of the holds begin with; where the reading is said follows."""

MOST_ENTRIES = 10_000
"""Entries in one look, so that the first over a long book is made in many turns: half a second each, at most."""

_BALLS_AT_ONCE = 500

_INSPECTION = "inspection"
_WORDS = (b'"kind":"inspection"', b'"kind":"correction"')
"""In canonical bytes a kind is written so; an entry with neither is not decoded."""

Place = tuple[int, int]
"""Index and position of a fact."""


class FailingReading(NamedTuple):
    """A ball that does not conform as it stands: by which edition, and the newest reading that fails.

    ``fact``: the address of that reading; ``said``: where it is stated as it stands, in its own entry or in a correction.
    """

    unit: str
    rulebook: str
    quantity: str
    limit: str
    value: str
    fact: str
    said: str

    @property
    def hold(self) -> str:
        """The id of the hold that this reading asks for."""
        return f"{HOLD}{self.said}"


Failing = Callable[[Reader, Sequence[str]], Iterable[FailingReading]]
"""Judges balls by what their releases name: one answer for each that does not conform."""


class Look(NamedTuple):
    """What a look found to say, and the place up to which it looked: to be kept once there is nothing to say below it."""

    due: list[Submission]
    place: int
    moved: bool


def late_readings(reader: Reader, now_ms: int, failing: Failing) -> Look:
    """The holds that are due for the readings since the last look, as submissions whose keys make each said once.

    Cost: the bytes of the entries since then, at most `MOST_ENTRIES`, and a judgement of each ball among them that was
    read after its release at first quality.
    """
    size = reader.head().size
    start = min(read_place(reader, DUTY), size)
    stop = min(start + MOST_ENTRIES, size)
    units = _first_and_read_since(reader, _read_in(reader, start, stop))
    found = [
        one
        for first in range(0, len(units), _BALLS_AT_ONCE)
        for one in failing(reader, units[first : first + _BALLS_AT_ONCE])
    ]
    due = [_held(one, now_ms) for one in _not_said(reader, found)]
    return Look(due, stop, stop > start)


def _read_in(reader: Reader, start: int, stop: int) -> dict[str, Place]:
    """The balls that entries say or correct an inspection of, and the newest fact that does."""
    read: dict[str, Place] = {}
    corrected: dict[str, Place] = {}
    for first in range(start, stop, CHUNK):
        rows = reader.entry_rows(first, min(stop, first + CHUNK))
        for index, (_, raw, _) in enumerate(rows, first):
            if any(word in raw for word in _WORDS):
                for position, body in enumerate(decode_said(raw).said["records"]):
                    read.update(dict.fromkeys(_balls_read(body), (index, position)))
                    corrected.update(dict.fromkeys(_facts_corrected(body), (index, position)))
    for unit, place in _balls_corrected(reader, corrected):
        read[unit] = max(place, read.get(unit, place))
    return read


def _balls_read(body: dict[str, Any]) -> Iterator[str]:
    """The balls of an inspection, or of those that a correction states anew."""
    said = [body, *(change.get("replacement", {}) for change in _changes(body))]
    return (one["unit"] for one in said if one.get("kind") == _INSPECTION and "unit" in one)


def _facts_corrected(body: dict[str, Any]) -> Iterator[str]:
    return (change["fact"] for change in _changes(body))


def _changes(body: dict[str, Any]) -> list[dict[str, Any]]:
    return body["changes"] if body.get("kind") == "correction" else []


def _balls_corrected(reader: Reader, corrected: dict[str, Place]) -> Iterator[tuple[str, Place]]:
    """The balls that corrected inspections are or were of: one that was withdrawn can let an older reading stand again."""
    facts: list[FactRow] = rows_with(reader, FactRow, "address", corrected)
    about: list[About] = rows_with(reader, About, "address", [row.address for row in facts if row.kind == _INSPECTION])
    for row in about:
        sort, _, name = row.node.removeprefix("once:").partition(":")
        if sort == "unit":
            yield name, corrected[row.address]


def _first_and_read_since(reader: Reader, read: dict[str, Place]) -> list[str]:
    units: list[Unit] = rows_with(reader, Unit, "unit", read)
    return sorted(
        unit.unit
        for unit in units
        if unit.grade == "first" and unit.release is not None and parse_address(unit.release) < read[unit.unit]
    )


def _not_said(reader: Reader, found: Sequence[FailingReading]) -> list[FailingReading]:
    """Those whose hold was never placed: an open one holds the ball, and what was lifted or withdrawn was decided."""
    holds: list[Hold] = rows_with(reader, Hold, "hold", {one.hold for one in found})
    known = {hold.hold for hold in holds}
    return [one for one in found if one.hold not in known and reader.requested(DUTIES, _key(one)) is None]


def _key(one: FailingReading) -> str:
    return f"late-reading-{one.said}"


def _held(one: FailingReading, now_ms: int) -> Submission:
    record = HoldPlaced(
        at=format_instant(Instant(now_ms, 0)),
        hold=one.hold,
        reason=AFTER_RELEASE,
        node=f"unit:{one.unit}",
        stops=("release", "shipment"),
    )
    return Submission(key=_key(one), records=(record,))
