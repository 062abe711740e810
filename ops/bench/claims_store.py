"""View rows of a plant with claims, written straight into the tables: what a look for signals reads, without its entries.

One claim for 100 balls, and five lots for 1,000 (shell, core, block, batch, material), as a plant of some years has them.
Every ball was engraved at one of four stations and sold; one in fifty came back.  All of it is invented, from its number.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator

from ledger.line.claim_rows import Claim
from ledger.line.making_rows import Made
from ledger.line.rows import Descent, Lot, LotStep, Row, SerialRow, Shipped, Unit
from ledger.store.engine import open_store
from ledger.store.transaction import Transaction
from ledger.store.view_tables import VIEW_TABLES, views_digest
from ops.bench.storage import Storage

SHELL = 400
"""Balls of a shell lot; two shell lots have a core lot, two core lots a block lot, and so on."""

DAYS = 1_500
"""Days over which the balls were sold."""

BALLS_A_CLAIM = 100
DAY_MS = 86_400_000
BEGAN_MS = 1_600_000_000_000
END_MS = BEGAN_MS + (DAYS + 200) * DAY_MS

_STAGES = (("shell", "S", 1), ("core", "C", 2), ("block", "K", 4), ("batch", "B", 8), ("material", "R", 16))
_BLOCK = 20_000


def claims_store(storage: Storage, balls: int) -> str:
    """The address of a store with so many balls; made if it is not there yet, in about half a minute for a million."""
    # Where the views have another shape, the store would make them anew from its entries, and it has none.
    kept = storage.folder / f"claims-{balls}-{views_digest()[:12]}"
    if (kept / "made").exists():
        return storage.find(kept)
    url = storage.fresh(kept)
    store = open_store(url)
    shells = max(1, balls // SHELL)
    with store.writing() as transaction:
        for rows in (
            _lots(shells),
            _edges(shells),
            _places(shells),
            _units(balls),
            _serials(balls),
            _shipments(balls),
            _claims(balls),
        ):
            _write(transaction, rows)
        if storage.name == "postgresql":
            # Else its plans would be those for empty tables until the server comes by.
            transaction.run("ANALYZE")
    store.close()
    storage.settle(kept)
    (kept / "made").write_text("", "utf-8")
    return url


def middle_lot(stage: str, balls: int) -> str:
    """The lot in the middle of those of a stage, ``block`` or ``material``, in a store of so many balls."""
    letter, size = next((letter, size) for name, letter, size in _STAGES if name == stage)
    return f"{letter}{(_lot_count(balls, size) - 1) // 2}"


def _lot_count(balls: int, size: int) -> int:
    return -(-max(1, balls // SHELL) // size)


def _write(transaction: Transaction, rows: Iterable[Row]) -> None:
    left = iter(rows)
    while block := list(itertools.islice(left, _BLOCK)):
        for kind in {type(row) for row in block}:
            table = VIEW_TABLES[kind]
            transaction.run_many(table.upsert(), [table.to_tuple(row) for row in block if type(row) is kind])


def _sold_ms(ball: int) -> int:
    """The day on which the ball was sold, with nineteen others of its lot, within 20 weeks of the lot's turn."""
    turn = ball // SHELL * SHELL * (DAYS - 140) // 1_000_000
    return BEGAN_MS + (turn + ball // 20 * 7_919 % 140) * DAY_MS


def _units(balls: int) -> Iterator[Row]:
    for ball in range(balls):
        yield Unit(
            unit=f"U{ball:09d}", lot=f"S{ball // SHELL}", place=None, serial=f"N{ball:09d}", weight_class=15,
            began_ms=BEGAN_MS, engraved_ms=BEGAN_MS, cg_marked=True, state="shipped", grade="first", release=None,
            rework=None, away="SH", engraved_by=f"E{ball // 200 % 4}",
        )  # fmt: skip


def _serials(balls: int) -> Iterator[Row]:
    for ball in range(balls):
        yield SerialRow(
            serial_row=f"{ball}.0", serial=f"N{ball:09d}", unit=f"U{ball:09d}", since_ms=BEGAN_MS, until_ms=None,
            own_scheme=True,
        )  # fmt: skip


def _shipments(balls: int) -> Iterator[Row]:
    for ball in range(balls):
        sold = _sold_ms(ball)
        yield Shipped(
            shipped=f"{ball // 500}.0.U{ball:09d}", shipment=f"SH{ball // 500}", unit=f"U{ball:09d}", at_ms=sold,
            back_ms=sold + ball % 90 * DAY_MS if ball % 50 == 0 else None, purpose="sale",
        )  # fmt: skip


def _claims(balls: int) -> Iterator[Row]:
    for number in range(balls // BALLS_A_CLAIM):
        ball = number * BALLS_A_CLAIM + number * 31 % BALLS_A_CLAIM
        yield Claim(
            claim=f"CL-{number}", serial=f"N{ball:09d}", unit=None, mode="crack-over-block",
            opened_ms=_sold_ms(ball) + (5 + number * 17 % 190) * DAY_MS, bought_on=None, state="open", replacement=None,
            address=f"{number}.0",
        )  # fmt: skip


def _lots(shells: int) -> Iterator[Row]:
    for stage, letter, size in _STAGES:
        for number in range(-(-shells // size)):
            began = BEGAN_MS + number * size * SHELL * (DAYS - 140) // 1_000_000 * DAY_MS
            yield Lot(
                lot=f"{letter}{number}", stage=stage, model=f"M{number * size // 16 % 12}", revision=1, weight_class=15,
                material=None, began_ms=began, ended_ms=began, made=SHELL, rejects=0, adjusted=0, used=0, lost=0,
                expires_on=None, density_micro=None, closed=False, clock_ms=0, address=f"{number}.0",
            )  # fmt: skip


def _edges(shells: int) -> Iterator[Row]:
    for (_, child, size), (_, parent, above) in itertools.pairwise(_STAGES):
        for number in range(-(-shells // size)):
            to = number * size // above
            yield Descent(
                descent=f"{child}{number}.0", child=f"{child}{number}", parent=f"{parent}{to}", part=parent,
                blended=False, amount=SHELL, first=None, last=None,
            )  # fmt: skip


def _places(shells: int) -> Iterator[Row]:
    for _, letter, size in _STAGES[:3]:
        for number in range(-(-shells // size)):
            lot = f"{letter}{number}"
            yield Made(
                made=f"{size * 1_000_000 + number}.0", lot=lot, after=0, line=f"L{number % 3}", mould_set=f"MS-{letter}{number % 8}",
                mixer=f"X{number % 2}", from_ms=BEGAN_MS, to_ms=BEGAN_MS,
            )  # fmt: skip
            yield LotStep(
                lot_step=f"{lot}.1", lot=lot, step="trimmed", began_ms=BEGAN_MS, ended_ms=BEGAN_MS, address=f"{lot}.1",
                station=f"W{number % 5}",
            )  # fmt: skip
