"""The lot pages of a dossier: the balls that a shell lot had when it was closed, and which of them are in it.

The book shows how things are now; the closing speaks of then. Where nothing changed since, what is now gives the root that
the closing states. Otherwise the lot's balls are folded anew from what the book said up to the closing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from typing import NamedTuple

from msgspec import UNSET

from ledger.application.dossier_entries import MAKE_BALLS
from ledger.application.said_until import facts_until
from ledger.book.merkle import root
from ledger.evidence.dossier_format import LotBall, LotPage
from ledger.evidence.entry_facts import fold_facts, units_of
from ledger.evidence.lot_check import ball_leaf
from ledger.line.fact import Fact, parse_address
from ledger.line.lot_changes import LotClosed
from ledger.line.rows import Body, Unit
from ledger.store.reader import Reader
from ledger.store.selections import addresses_about, rows_with


class LotHistory(NamedTuple):
    """A shell lot: the fact that closed it, None where none does; the balls that it had then, and those that it has now.

    ``then`` maps unit to the number that it bore; it is None where what the book holds does not give the closing's root.
    """

    lot: str
    closing: Fact | None
    then: dict[str, str | None] | None
    now: dict[str, str | None]

    @property
    def units(self) -> set[str]:
        """Every ball that the lot has, or had when it was closed."""
        return {*self.now, *(self.then or ())}


def lot_history(reader: Reader, lot: str) -> LotHistory:
    """The history of a shell lot. Cost: its balls; their facts only where something changed since it was closed."""
    rows: list[Unit] = reader.rows(Unit, "lot", lot)
    now = {row.unit: row.serial for row in rows}
    closings = _closings(reader, lot)
    if not closings:
        return LotHistory(lot, None, None, now)
    closing = closings[-1]
    then: dict[str, str | None] | None = now
    if not _gives_root(now, closing):
        then = _balls_then(reader, lot, closing)
        if not _gives_root(then, closing):
            then = None
    return LotHistory(lot, closing, then, now)


def _closings(reader: Reader, lot: str) -> list[Fact]:
    """The standing facts that closed a lot, in address order; the facts that made its balls are not read."""
    addresses = addresses_about(reader.transaction, [f"lot:{lot}"], MAKE_BALLS)
    bodies: list[Body] = rows_with(reader, Body, "address", sorted(set(addresses), key=parse_address))
    return [body.fact for body in bodies if isinstance(body.fact.record, LotClosed)]


def lot_page(history: LotHistory, units: Collection[str], gone: Collection[str]) -> LotPage:
    """The page of a lot in a dossier of ``units``; ``gone``: its balls that are not in the book any more."""
    closing, then = history.closing, history.then
    if closing is None:
        here = tuple(LotBall(unit=unit) for unit in sorted(history.now) if unit in units)
        return LotPage(lot=history.lot, units=here)
    record = closing.record
    assert isinstance(record, LotClosed)  # noqa: S101  # unreachable: it is what was looked for
    placed = {unit: place for place, unit in enumerate(sorted(then or ()))}
    named = sorted(unit for unit in history.units if unit in units or unit in gone)
    return LotPage(
        lot=history.lot,
        closed=closing.address,
        body=closing.body or UNSET,
        count=record.count,
        balls_root=record.balls_root,
        leaves=tuple(ball_leaf(unit, (then or {})[unit]) for unit in placed),
        units=tuple(_ball(unit, placed, then or {}, is_gone=unit in gone) for unit in named),
    )


def _ball(unit: str, placed: dict[str, int], then: dict[str, str | None], *, is_gone: bool) -> LotBall:
    if unit not in placed:
        return LotBall(unit=unit)
    serial = then[unit]
    return LotBall(unit=unit, place=placed[unit], serial=UNSET if serial is None else serial, gone=is_gone)


def gone_balls(reader: Reader, history: LotHistory) -> frozenset[str]:
    """The balls that the lot had when it was closed, and that are not in the book any more. One query at most."""
    absent = set(history.then or ()) - history.now.keys()
    return frozenset(absent - {row.unit for row in rows_with(reader, Unit, "unit", absent)} if absent else ())


def _gives_root(balls: dict[str, str | None], closing: Fact) -> bool:
    record = closing.record
    assert isinstance(record, LotClosed)  # noqa: S101  # unreachable: it is what was looked for
    leaves = [bytes.fromhex(ball_leaf(unit, balls[unit])) for unit in sorted(balls)]
    return len(balls) == record.count and root(leaves).hex() == record.balls_root


def _balls_then(reader: Reader, lot: str, closing: Fact) -> dict[str, str | None]:
    """The lot's balls as the book knew them when it was closed, or when its closing was put right."""
    until = parse_address(closing.body.rpartition(".")[0] or closing.address)
    units = {node for fact in facts_until(reader, [f"lot:{lot}"], until) for node in _unit_nodes(fact)}
    by_unit: defaultdict[str, list[Fact]] = defaultdict(list)
    for fact in facts_until(reader, units, until):
        for node in _unit_nodes(fact):
            by_unit[node].append(fact)
    found: dict[str, str | None] = {}
    for node, facts in by_unit.items():
        row = fold_facts(facts, [node]).held(Unit, node.partition(":")[2])
        if row is not None and row.lot == lot:
            found[row.unit] = row.serial
    return found


def _unit_nodes(fact: Fact) -> set[str]:
    return {f"unit:{unit}" for unit in units_of(fact.record)}
