"""What a ball is judged with beside what its release names, as one digest: it may not change before the release stands.

A release names its readings, plan, editions and policy.  Its verdicts rest on more: the ball's own columns and its lot's,
the model and its approvals, and of each gauge that read something its registration, calibrations and studies.  Whoever
judges takes their digest; a release is entered only while it is the same, so that a bad calibration that came meanwhile,
or one that was corrected, is no surprise afterwards.  The digest is not said in the book: there the order of the entries
tells what a release was judged with.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from hashlib import sha256
from typing import NamedTuple

import msgspec

from ledger.errors import RuleStands
from ledger.line.corrections import Correction
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, Measured
from ledger.line.record import Record
from ledger.line.releases import Release
from ledger.line.rows import Approval, Lot, Model, Row, Unit
from ledger.line.standing_readings import gauges_of
from ledger.line.state import State

_OF_UNIT = ("lot", "place", "serial", "weight_class", "began_ms", "engraved_ms", "rework", "finish", "finish_ms")
_OF_LOT = ("model", "revision", "weight_class", "began_ms", "finish", "finish_ms")


class JudgedWith(NamedTuple):
    """The rows that a ball is judged with; ``calibrated`` gives `digest_rows` of a gauge's calibrations."""

    unit: Unit
    lot: Lot | None
    model: Model | None
    approvals: Iterable[Approval]
    gauges: Mapping[str, Gauge | None]
    studies: Mapping[str, Sequence[GaugeStudy]]
    calibrated: Callable[[str], str]


def digest_rows(rows: Iterable[Row]) -> str:
    """SHA-256, hex, over rows in whatever order they come."""
    return sha256(b"\n".join(sorted(map(msgspec.json.encode, rows)))).hexdigest()


def digest_judged(found: JudgedWith) -> str:
    """SHA-256, 64 hex digits, over all of it."""
    parts = [
        [getattr(found.unit, column) for column in _OF_UNIT],
        None if found.lot is None else [getattr(found.lot, column) for column in _OF_LOT],
        found.model,
        digest_rows(found.approvals),
        [
            [name, gauge, found.calibrated(name), digest_rows(found.studies.get(name, ()))]
            for name, gauge in sorted(found.gauges.items())
        ],
    ]
    return sha256(msgspec.json.encode(parts)).hexdigest()


def check_judged_with(record: Record, state: State, judged: Mapping[str, str]) -> None:
    """Check that the balls which a record releases stand as they were judged: ``judged`` is unit -> digest.

    Raises RuleStands.  A ball without a digest is not looked at.  Needs what checking the record does.
    """
    for unit, where in _released(record):
        if unit in judged and _digest_now(unit, state) != judged[unit]:
            raise RuleStands(
                f"what {unit} was judged with changed before its release was entered: a calibration, study, approval or such",
                where=where,
                mend="judge the ball again, and release it on the new verdicts",
            )


def _released(record: Record) -> Iterator[tuple[str, str]]:
    if isinstance(record, Release):
        yield record.unit, "unit"
    elif isinstance(record, Correction):
        for place, change in enumerate(record.changes):
            if isinstance(change.replacement, Release):
                yield change.replacement.unit, f"changes[{place}].replacement.unit"


def _digest_now(name: str, state: State) -> str:
    unit = state.one(Unit, name)
    if unit is None:
        return ""
    lot = state.one(Lot, unit.lot)
    model = None if lot is None else lot.model
    gauges = sorted(gauges_of(state.one(Measured, name)))
    return digest_judged(
        JudgedWith(
            unit,
            lot,
            None if model is None else state.one(Model, model),
            [] if model is None else state.where(Approval, "model", model),
            {gauge: state.one(Gauge, gauge) for gauge in gauges},
            {gauge: state.where(GaugeStudy, "gauge", gauge) for gauge in gauges},
            lambda gauge: _calibrated(gauge, state),
        )
    )


def _calibrated(gauge: str, state: State) -> str:
    # A gauge has thousands of checks, and one look at them serves until another comes.
    memo = state.memo(Calibration)
    known: str | None = memo.get((gauge, "digest"))
    if known is None:
        known = memo[gauge, "digest"] = digest_rows(state.where(Calibration, "gauge", gauge))
    return known
