"""What balls are judged with as the book stands, as the digests that the line compares when their releases are entered."""

from __future__ import annotations

from collections.abc import Iterable

from ledger.application.judging import grounds_of
from ledger.line.judged_with import JudgedWith, digest_judged, digest_rows
from ledger.line.standing_readings import gauges_of
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import Selected, Selection, select_balls


def judged_with(store: Store, units: Iterable[str]) -> dict[str, str]:
    """`judged_with_in` the store as it is now."""
    with open_reader(store) as reader:
        return judged_with_in(reader, units)


def judged_with_in(reader: Reader, units: Iterable[str]) -> dict[str, str]:
    """The digest of each ball that is in the book. Cost: seven queries a ball."""
    found = {unit: select_balls(reader.transaction, Selection(unit=unit)) for unit in units}
    return {unit: _digest(reader, balls[0]) for unit, balls in found.items() if balls}


def _digest(reader: Reader, one: Selected) -> str:
    grounds, model = grounds_of(reader, [one]), one.lot.model or ""
    gauges = {gauge: grounds.gauges.get(gauge) for gauge in gauges_of(one.measured)}
    return digest_judged(
        JudgedWith(
            one.unit,
            one.lot,
            grounds.models.get(model),
            grounds.approvals.get(model, ()),
            gauges,
            {gauge: grounds.studies.get(gauge, ()) for gauge in gauges},
            lambda gauge: digest_rows(grounds.calibrations.get(gauge, ())),
        )
    )
