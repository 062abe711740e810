"""Lots as accounts: what is left of one, and what every stage checks and enters alike.

``left = made + adjusted - used - lost``: grams for materials and batches, good pieces from blocks on.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import NamedTuple

from msgspec import UNSET

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.fact import Breach, Fact
from ledger.line.record import Record
from ledger.line.rows import Descent, Lot
from ledger.line.state import State

STAGES = ("material", "batch", "block", "core", "shell")


class Draw(NamedTuple):
    """An amount taken from a parent lot by a child."""

    parent: str
    amount: int
    part: str
    blended: bool = False
    first: int | None = None
    last: int | None = None


def left_of(lot: Lot) -> int:
    """What is left of a lot; negative when more was drawn than was there."""
    return lot.made + lot.adjusted - lot.used - lot.lost


def grams(kg: str) -> int:
    """Whole grams of a kilogram text with at most three decimals."""
    return int(Decimal(kg) * 1000)


def known_lot(state: State, name: str, *, where: str, stages: Iterable[str] = STAGES) -> Lot:
    """The lot of this name. Raises UnknownSubject, or Contradiction when it is of another stage."""
    lot = state.one(Lot, name)
    if lot is None:
        raise UnknownSubject(
            f"lot {name} is not in the book",
            where=where,
            mend="enter the record that made the lot first, or correct the id",
        )
    if lot.stage not in stages:
        raise Contradiction(
            f"lot {name} is of another stage",
            expected=" or ".join(stages),
            got=lot.stage,
            where=where,
            mend="scan the traveller of the right lot",
        )
    return lot


def fresh_lot(state: State, name: str) -> None:
    """Check that the lot id is not used yet. Raises Contradiction naming the fact that made it."""
    lot = state.one(Lot, name)
    if lot is not None:
        raise Contradiction(
            f"lot {name} was made already, by fact {lot.address}",
            where="lot",
            mend="use a new lot id, or correct the earlier fact",
        )


def draw_breaches(state: State, draws: Iterable[Draw], *, child: str, at_ms: int) -> list[Breach]:
    """Breaches of drawing: more than is left, from a closed lot, or before the parent was made."""
    breaches: list[Breach] = []
    wanted: dict[str, int] = {}
    for draw in draws:
        wanted[draw.parent] = wanted.get(draw.parent, 0) + draw.amount
    for parent, amount in wanted.items():
        lot = state.one(Lot, parent)
        if lot is None:
            continue
        unit = "g" if lot.stage in {"material", "batch"} else "pieces"
        if amount > left_of(lot):
            said = f"{amount} {unit} drawn from {parent}, {left_of(lot)} were left"
            breaches.append(
                Breach(code="over-drawn", node=f"lot:{parent}", said=said, fact=lot.address, mend="recount the lot")
            )
        if lot.closed:
            said = f"drawn from {parent} after it was closed"
            breaches.append(Breach(code="lot-closed", node=f"lot:{child}", said=said, fact=lot.address))
        if at_ms < lot.ended_ms:
            said = f"{child} began before {parent} was made"
            breaches.append(Breach(code="before-parent", node=f"lot:{child}", said=said, fact=lot.address))
    return breaches


def refuse_shortage(lot: Lot, amount: int, *, where: str) -> None:
    """Refuse a decision that takes more than is left. Raises RuleStands."""
    if amount > left_of(lot):
        raise RuleStands(
            f"lot {lot.lot} has not that many left",
            expected=f"at most {max(left_of(lot), 0)}",
            got=amount,
            where=where,
            mend="recount the lot, or correct the count",
        )


def enter_lot(  # noqa: PLR0913  # the columns of the row that stages differ in
    fact: Fact,
    state: State,
    *,
    lot: str,
    stage: str,
    made: int,
    rejects: int = 0,
    began: str | None = None,
    model: str | None = None,
    revision: int | None = None,
    weight_class: int | None = None,
    material: str | None = None,
    expires_on: str | None = None,
    density_micro: int | None = None,
) -> None:
    """Enter a new lot's row."""
    state.put(
        Lot(
            lot=lot,
            stage=stage,
            model=model,
            revision=revision,
            weight_class=weight_class,
            material=material,
            began_ms=instant_ms(began) if began is not None else fact.at_ms,
            ended_ms=fact.at_ms,
            made=made,
            rejects=rejects,
            adjusted=0,
            used=0,
            lost=0,
            expires_on=expires_on,
            density_micro=density_micro,
            closed=False,
            clock_ms=clock_error_ms(fact.record, fact.taken_ms),
            address=fact.address,
        )
    )


def enter_draws(fact: Fact, state: State, child: str, draws: Iterable[Draw]) -> None:
    """Enter the edges to the parents and take the amounts from them."""
    for number, draw in enumerate(draws):
        state.put(
            Descent(
                descent=f"{fact.address}.{number}",
                child=child,
                parent=draw.parent,
                part=draw.part,
                blended=draw.blended,
                amount=draw.amount,
                first=draw.first,
                last=draw.last,
            )
        )
        state.add(Lot, draw.parent, used=draw.amount)


def clock_error_ms(record: Record, taken_ms: int | None = None) -> int:
    """How far off (ms) the clock that gave a record's instants may be: what was stated, 0 where nothing was.

    With ``taken_ms``, the service's instant of taking the record: a time ahead of it shows an error of at least that.
    """
    stated = 0 if record.clock_error_s is UNSET else record.clock_error_s * 1000
    return stated if taken_ms is None else max(stated, instant_ms(record.at) - taken_ms)
