"""Balls at risk and the claims on them, counted by the database: shell lot, engraving station, day of sale, day of return.

At risk are balls that were sold, or sent in the place of a claimed one; each sale begins a spell of its own.  A spell ends
with the ball's first fault claim, its return, its scrapping, or not yet.  A **fault claim** is one that was not rejected, as
the book knows it now, and counts on the day it was opened; where the ball came back before, on the day of the return.
Claims that cannot be counted so are told apart, with the reason.  Days are UTC days.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from ledger.line.making_rows import Made
from ledger.line.rows import Descent
from ledger.store.reader import Reader
from ledger.store.selections import every_row
from ledger.warranty.exposure import DAY_MS, Cohort, Spell
from ledger.warranty.members import Ground

SOLD = ("sale", "warranty")
"""Purposes of a shipment that put a ball into an owner's hands."""

_ENDED = ("scrapped", "destroyed", "retained")
_LISTED = 5_000
"""Units in one question by list."""

APART = {
    "no-ball": "no ball of the book answers to the number, or none is named",
    "several-balls": "several balls bear or bore the number, and the claim names none of them",
    "not-sold": "the ball was not sold before the claim was opened",
    "repeated": "a ball counts with its first fault claim",
}
"""Why a fault claim is counted apart."""


class CountedClaim(NamedTuple):
    """A fault claim that ended a spell: its ball, the cohort of that (by place), and the age in days."""

    claim: str
    address: str
    mode: str
    opened_ms: int
    unit: str
    cohort: int
    days: int


class Exposure(NamedTuple):
    """What a look knows: spells, what families are made of, claims that count, and how many are counted apart and why."""

    spells: list[Spell]
    ground: Ground
    claims: list[CountedClaim]
    apart: dict[str, int]


class _Sale(NamedTuple):
    """A spell of one ball: its cohort, the days of its sale, and of its end where it has one."""

    lot: str
    station: str | None
    sold: int
    back: int | None


class _Fault(NamedTuple):
    claim: str
    address: str
    mode: str
    opened_ms: int


class _Lot(NamedTuple):
    stage: str
    model: str
    began_ms: int


def read_exposure(reader: Reader, before_ms: int) -> Exposure:
    """What is known of all that happened before an instant. Cost: one pass over the shipments, and the claims."""
    rows = reader.transaction.rows('SELECT "lot", "stage", "model", "began_ms" FROM "lot"')
    lots = {lot: _Lot(stage, model or "", began_ms) for lot, stage, model, began_ms in rows}
    places: dict[tuple[str, str | None], int] = {}

    def place(lot: str, station: str | None) -> int:
        return places.setdefault((lot, station), len(places))

    faults, apart = _faults(reader, before_ms)
    scrapped = _scrapped(reader, before_ms)
    sales = _sales(reader, before_ms, sorted({*faults, *scrapped}))
    apart["not-sold"] += sum(len(found) for unit, found in faults.items() if unit not in sales)
    today = (before_ms - 1) // DAY_MS
    spells, claims = [], []
    for unit, sold in sales.items():
        fault = _first_fault(sold, faults.get(unit, []), apart)
        for sale in sold if fault is None else sold[: fault[0] + 1]:
            last = fault is not None and sale is sold[fault[0]]
            end = sale.back if sale.back is not None else scrapped.get(unit)
            if fault is not None and last:
                end = (
                    fault[1].opened_ms // DAY_MS if sale.back is None else min(sale.back, fault[1].opened_ms // DAY_MS)
                )
                at = place(sale.lot, sale.station), end - sale.sold
                claims.append(CountedClaim(*fault[1], unit, *at))
            days = (today if end is None else end) - sale.sold
            spells.append(Spell(place(sale.lot, sale.station), days, 1, claimed=last, out=end is None))
    taken: dict[tuple[str, str | None, int, int | None], int] = Counter(
        sale for sold in sales.values() for sale in sold
    )
    for lot, station, sold_on, back, balls in _grouped_sales(reader, before_ms):
        left = balls - taken.get((lot, station, sold_on, back), 0)
        if left:
            days = (today if back is None else back) - sold_on
            spells.append(Spell(place(lot, station), days, left, claimed=False, out=back is None))
    claims.sort(key=lambda one: (one.opened_ms, one.claim))
    # The fact that made a lot may have been withdrawn; its balls are at risk all the same.
    cohorts = [Cohort(lot, station, lots[lot].model if lot in lots else "") for lot, station in places]
    ground = _ground(reader, cohorts, lots)
    return Exposure(spells, ground, claims, {reason: apart[reason] for reason in APART if apart[reason]})


def _first_fault(sold: list[_Sale], faults: list[_Fault], apart: Counter[str]) -> tuple[int, _Fault] | None:
    """The first fault claim after a sale, and which of the sales it ends: the last one before it."""
    first: tuple[int, _Fault] | None = None
    for fault in faults:
        before = [number for number, sale in enumerate(sold) if sale.sold <= fault.opened_ms // DAY_MS]
        if first is not None:
            apart["repeated"] += 1
        elif before:
            first = before[-1], fault
        else:
            apart["not-sold"] += 1
    return first


_BACK = f'CASE WHEN s."back_ms" < ? THEN s."back_ms" / {DAY_MS} END'
"""The day of the return, where that was before an instant."""

_SOLD_BEFORE = (
    'FROM "shipped" s JOIN "unit" u ON u."unit" = s."unit" '
    f'WHERE s."purpose" IN ({", ".join(repr(purpose) for purpose in SOLD)}) AND s."at_ms" < ?'
)


def _grouped_sales(reader: Reader, before_ms: int) -> list[tuple[str, str | None, int, int | None, int]]:
    """Lot, engraving station, day of sale, day of return, and how many balls. One pass over the shipments."""
    text = (
        f'SELECT u."lot", u."engraved_by", s."at_ms" / {DAY_MS}, {_BACK}, count(*) {_SOLD_BEFORE} GROUP BY 1, 2, 3, 4'
    )
    return reader.transaction.rows(text, (before_ms, before_ms))


def _sales(reader: Reader, before_ms: int, units: Sequence[str]) -> dict[str, list[_Sale]]:
    """The sales of some balls, in order of time. One query for each 5,000."""
    condition = reader.transaction.dialect.any_of('s."unit"')
    text = (
        f'SELECT s."unit", u."lot", u."engraved_by", s."at_ms" / {DAY_MS}, {_BACK} {_SOLD_BEFORE} AND {condition} '
        'ORDER BY s."at_ms"'
    )
    found: dict[str, list[_Sale]] = {}
    for start in range(0, len(units), _LISTED):
        listed = reader.transaction.dialect.list_value(units[start : start + _LISTED])
        for unit, *sale in reader.transaction.rows(text, (before_ms, before_ms, listed)):
            found.setdefault(unit, []).append(_Sale(*sale))
    return found


def _scrapped(reader: Reader, before_ms: int) -> dict[str, int]:
    """Balls that ended while they were away, with the day that their end was said; few."""
    ended = ", ".join(repr(state) for state in _ENDED)
    text = (
        'SELECT u."unit", max(f."at_ms") FROM "unit" u JOIN "about" a ON a."node" = \'unit:\' || u."unit" '
        'JOIN "fact" f ON f."address" = a."address" AND f."kind" = \'scrap\' AND f."standing" '
        f'WHERE u."away" IS NOT NULL AND u."state" IN ({ended}) GROUP BY u."unit"'
    )
    return {unit: at_ms // DAY_MS for unit, at_ms in reader.transaction.rows(text) if at_ms < before_ms}


def _faults(reader: Reader, before_ms: int) -> tuple[dict[str, list[_Fault]], Counter[str]]:
    """Fault claims by ball, in order of time; and how many name no ball, or several."""
    text = (
        'SELECT c."claim", c."address", c."mode", c."opened_ms", coalesce(c."unit", min(s."unit")), '
        'CASE WHEN c."unit" IS NOT NULL THEN 1 ELSE count(DISTINCT s."unit") END '
        'FROM "claim" c LEFT JOIN "serial" s ON c."unit" IS NULL AND s."serial" = c."serial" '
        'WHERE c."state" <> \'reject\' AND c."opened_ms" < ? '
        'GROUP BY c."claim", c."address", c."mode", c."opened_ms", c."unit" ORDER BY c."opened_ms", c."claim"'
    )
    found: dict[str, list[_Fault]] = {}
    apart: Counter[str] = Counter()
    for claim, address, mode, opened_ms, unit, balls in reader.transaction.rows(text, (before_ms,)):
        if balls == 1:
            found.setdefault(unit, []).append(_Fault(claim, address, mode, opened_ms))
        else:
            apart["several-balls" if balls else "no-ball"] += 1
    return found, apart


def _ground(reader: Reader, cohorts: list[Cohort], lots: dict[str, _Lot]) -> Ground:
    steps: dict[str, list[str]] = {}
    text = 'SELECT DISTINCT "lot", "station" FROM "lot_step" WHERE "station" IS NOT NULL ORDER BY "lot", "station"'
    for lot, station in reader.transaction.rows(text):
        steps.setdefault(lot, []).append(station)
    return Ground(
        cohorts=cohorts,
        stages={name: lot.stage for name, lot in lots.items()},
        poured={name: lot.began_ms for name, lot in lots.items() if lot.stage == "shell"},
        edges=every_row(reader.transaction, Descent),
        made=every_row(reader.transaction, Made),
        steps=steps,
    )
