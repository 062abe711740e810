"""Balls at risk, counted by the database: the same as ball by ball in Python, on every store."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence

import msgspec
import pytest

from ledger.line.claim_rows import Claim
from ledger.line.rows import About, FactRow, Lot, LotStep, Row, SerialRow, Shipped, Unit
from ledger.store.engine import Store
from ledger.store.exposures import Exposure, read_exposure
from ledger.store.reader import open_reader
from ledger.store.view_tables import VIEW_TABLES
from ledger.warranty.members import family_members

DAY_MS = 86_400_000
FIRST = 20_000
"""The first day."""

ALL = (FIRST + 1_000) * DAY_MS


def day_ms(day: int, hours: float = 9) -> int:
    """An instant of a day."""
    return (FIRST + day) * DAY_MS + round(hours * 3_600_000)


def ball(number: int, **changed: object) -> Unit:
    """A ball of one of two shell lots, engraved at one of two stations."""
    made = Unit(
        unit=f"U-{number:03d}", lot=f"SL-{number % 2}", place=None, serial=f"N{number}", weight_class=15, began_ms=0,
        engraved_ms=0, cg_marked=True, state="shipped", grade="first", release=None, rework=None, away="SH-1",
        engraved_by=("E-1", "E-2", None)[number % 3],
    )  # fmt: skip
    return msgspec.structs.replace(made, **changed)


def sold(unit: str, day: int, back: int | None = None, purpose: str = "sale") -> Shipped:
    """A shipment of a ball, and its return."""
    return Shipped(
        shipped=f"{day}.0.{unit}", shipment=f"SH-{day}", unit=unit, at_ms=day_ms(day), purpose=purpose,
        back_ms=None if back is None else day_ms(back, 17),
    )  # fmt: skip


def claim(name: str, day: int, *, unit: str | None = None, serial: str | None = None, state: str = "open") -> Claim:
    """A claim by unit or by number."""
    return Claim(
        claim=name, serial=serial, unit=unit, mode="void", opened_ms=day_ms(day, 12), bought_on=None, state=state,
        replacement=None, address=f"9{day}.0",
    )  # fmt: skip


def bears(unit: str, serial: str) -> SerialRow:
    """A ball bears a number."""
    return SerialRow(
        serial_row=f"{unit}/{serial}", serial=serial, unit=unit, since_ms=0, until_ms=None, own_scheme=False
    )


LOTS = [
    Lot(
        lot=f"SL-{number}", stage="shell", model="M1", revision=1, weight_class=15, material=None, began_ms=day_ms(0),
        ended_ms=day_ms(0), made=90, rejects=0, adjusted=0, used=0, lost=0, expires_on=None, density_micro=None,
        closed=False, clock_ms=0, address=f"{number}.0",
    )
    for number in range(2)
]  # fmt: skip


def exposure(store: Store, rows: Sequence[Row], before_ms: int = ALL) -> Exposure:
    """What is known before an instant, of these rows."""
    with store.writing() as transaction:
        for row in [*LOTS, *rows]:
            table = VIEW_TABLES[type(row)]
            transaction.run(table.upsert(), table.to_tuple(row))
    with open_reader(store) as reader:
        return read_exposure(reader, before_ms)


def counted(found: Exposure) -> Counter[tuple[str, str | None, int, bool, bool]]:
    """Balls by lot, station, days, and how it ended."""
    total: Counter[tuple[str, str | None, int, bool, bool]] = Counter()
    for spell in found.spells:
        cohort = found.ground.cohorts[spell.cohort]
        total[cohort.lot, cohort.station, spell.days, spell.claimed, spell.out] += spell.balls
    return total


def test_random_plants_ball_by_ball(store: Store) -> None:
    """Sales, returns, second sales and claims of sixty balls, as of three instants."""
    rng = random.Random(4)
    rows: list[Row] = []
    for number in range(60):
        unit = ball(number)
        rows += [unit, bears(unit.unit, f"N{number}")]
        day = rng.randrange(0, 300)
        back = day + rng.randrange(0, 60) if rng.random() < 0.4 else None
        rows.append(sold(unit.unit, day, back, rng.choice(("sale", "sale", "warranty", "sample"))))
        if back is not None and rng.random() < 0.6:
            rows.append(sold(unit.unit, back + rng.randrange(0, 30)))
        named = rng.choice(({"unit": unit.unit}, {"serial": f"N{number}"}))
        rows += [
            claim(f"CL-{number}-{each}", rng.randrange(0, 500), **named, state=rng.choice(("open", "accept", "reject")))
            for each in range(rng.choice((0, 0, 1, 1, 2)))
        ]
    for day in (150, 330, 700):
        before = day_ms(day, 0)
        found = exposure(store, rows, before)
        expected, claims = ball_by_ball(rows, before)
        assert expected == counted(found)
        assert claims == sorted(one.claim for one in found.claims)


def ball_by_ball(
    rows: Sequence[Row], before: int
) -> tuple[Counter[tuple[str, str | None, int, bool, bool]], list[str]]:
    """The same, worked out for each ball by itself from its days."""
    total: Counter[tuple[str, str | None, int, bool, bool]] = Counter()
    claims = []
    today = FIRST - 1 + (before // DAY_MS - FIRST)
    for unit in (row for row in rows if isinstance(row, Unit)):
        away = [row for row in rows if isinstance(row, Shipped) and row.unit == unit.unit and row.purpose != "sample"]
        away = sorted((row for row in away if row.at_ms < before), key=lambda row: row.at_ms)
        faults = [
            row
            for row in rows
            if isinstance(row, Claim)
            and row.state != "reject"
            and row.opened_ms < before
            and (row.unit == unit.unit or row.serial == unit.serial)
            and away
            and row.opened_ms // DAY_MS >= away[0].at_ms // DAY_MS
        ]
        first = min(faults, key=lambda row: (row.opened_ms, row.claim), default=None)
        for number, row in enumerate(away):
            start = row.at_ms // DAY_MS
            end = row.back_ms // DAY_MS if row.back_ms is not None and row.back_ms < before else None
            hit = False
            if first is not None:
                opened = first.opened_ms // DAY_MS
                if start > opened:
                    continue
                following = away[number + 1].at_ms // DAY_MS if number + 1 < len(away) else None
                hit = following is None or following > opened
                if hit:
                    end = opened if end is None else min(end, opened)
                    claims.append(first.claim)
            total[unit.lot, unit.engraved_by, (today if end is None else end) - start, hit, end is None] += 1
    return total, sorted(claims)


def test_claims_that_cannot_be_counted_are_told_apart(store: Store) -> None:
    """No ball, several balls, before the sale, never sold, and a second one for the same ball."""
    rows: list[Row] = [*(ball(number) for number in range(4)), *(bears(f"U-00{number}", "OLD") for number in range(2))]
    rows += [sold("U-000", 10), sold("U-001", 10), sold("U-003", 10), bears("U-000", "N0")]
    rows += [
        claim("CL-1", 20, serial="NOBODY"),
        claim("CL-2", 20),
        claim("CL-3", 20, serial="OLD"),
        claim("CL-4", 9, unit="U-001"),
        claim("CL-5", 20, unit="U-002"),
        claim("CL-6", 20, unit="U-000"),
        claim("CL-7", 30, serial="N0"),
        claim("CL-8", 30, unit="U-003", state="reject"),
    ]
    found = exposure(store, rows)
    assert {"no-ball": 2, "several-balls": 1, "not-sold": 2, "repeated": 1} == found.apart
    assert [("CL-6", "U-000", 10, "920.0")] == [(one.claim, one.unit, one.days, one.address) for one in found.claims]


def test_a_claim_after_the_return_counts_on_the_day_of_the_return(store: Store) -> None:
    """The ball was in nobody's hands when the claim was written down."""
    found = exposure(store, [ball(0), sold("U-000", 10, 25), claim("CL-1", 40, unit="U-000")])
    assert [(15, 1, True, False)] == [(one.days, one.balls, one.claimed, one.out) for one in found.spells]


@pytest.mark.parametrize(("scrapped", "days"), [(30, 20), (2_000, 989)])
def test_a_ball_that_ended_while_away_is_at_risk_until_then(store: Store, scrapped: int, days: int) -> None:
    """By the day that its scrapping was said; what is said later is not known yet."""
    fact = FactRow(
        address="7.0", index=7, position=0, kind="scrap", at_ms=day_ms(scrapped), recorded_ms=0, author="a", late=False,
        doubtful=False, standing=True, body="",
    )  # fmt: skip
    about = About(node="unit:U-000", address="7.0", index=7, position=0)
    [spell] = exposure(store, [ball(0, state="scrapped"), sold("U-000", 10), fact, about]).spells
    assert (days, scrapped > 1_000) == (spell.days, spell.out)


def test_the_ground_of_families(store: Store) -> None:
    """Stages, weeks of the pour, and the stations that lots were worked at, once each."""
    steps = [
        LotStep(lot_step=f"{number}.0", lot="SL-0", step="turned", began_ms=0, ended_ms=0, address="1.0", station=station)
        for number, station in enumerate(("W-1", "W-1", "W-2", None))
    ]  # fmt: skip
    found = exposure(store, [ball(0), sold("U-000", 1), *steps])
    assert {"SL-0": ["W-1", "W-2"]} == found.ground.steps
    assert ({"SL-0": "shell", "SL-1": "shell"}, day_ms(0)) == (found.ground.stages, found.ground.poured["SL-0"])
    assert [("SL-0", "E-1", "M1")] == [tuple(one) for one in found.ground.cohorts]


def test_a_ball_of_a_lot_that_was_withdrawn(store: Store) -> None:
    """It is at risk; it has no model, no week, and no lot above it."""
    found = exposure(store, [ball(0, lot="SL-9"), sold("U-000", 1)])
    assert [("SL-9", "E-1", "")] == [tuple(one) for one in found.ground.cohorts]
    families = family_members(found.ground)
    assert ({"E-1": {0: "certain"}}, {}, {}) == (families["station"], families["week"], families["shell"])


def test_an_empty_book(store: Store) -> None:
    """Nothing sold, nothing claimed."""
    found = exposure(store, [])
    assert ([], [], {}) == (found.spells, found.claims, found.apart)
