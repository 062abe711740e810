"""Which lots a lot is made from, and the holds that stand anywhere above it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import msgspec
from msgspec import UNSET, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import RuleStands
from ledger.line.fact import Breach
from ledger.line.record import At, Id, Part
from ledger.line.rows import Descent, Hold, Lot, Unit
from ledger.line.state import Need, State

ANY = "rule"
"""The node under which holds that name a rule stand."""


class HoldRule(Part, frozen=True, kw_only=True):
    """What a hold by rule takes in: every named condition must fit."""

    model: Id | UnsetType = UNSET
    stage: str | UnsetType = UNSET
    began_from: At | UnsetType = UNSET
    began_to: At | UnsetType = UNSET
    serial_prefix: str | UnsetType = UNSET


def lineage_needs(lots: Iterable[str], state: State) -> Iterator[Need]:
    """Lots, their parents as far as loaded, and the holds on each; ask until nothing new comes."""
    yield Need(Hold, "node", ANY)
    for lot in lots:
        loaded = state.memo(Descent)
        if (lot, "loaded") not in loaded:
            missing = [need for need in _above(lot, state) if not state.has(need)]
            if missing:
                yield from missing
            else:
                loaded[lot, "loaded"] = True


def _above(first: str, state: State) -> Iterator[Need]:
    waiting, seen = [first], set[str]()
    while waiting:
        lot = waiting.pop()
        if lot in seen:
            continue
        seen.add(lot)
        parents = Need(Descent, "child", lot)
        yield Need(Lot, "lot", lot)
        yield parents
        yield Need(Hold, "node", f"lot:{lot}")
        if state.has(parents):
            waiting.extend(edge.parent for edge in state.where(Descent, "child", lot))


def ancestors(state: State, lot: str) -> list[str]:
    """The lot itself and every lot above it, nearest first."""
    return list(_lots_above(state, lot))


def _lots_above(state: State, lot: str) -> tuple[str, ...]:
    memo = state.memo(Descent)
    known: tuple[str, ...] | None = memo.get(lot)
    if known is None:
        known = memo[lot] = tuple(_ancestors(state, lot))
    return known


def _ancestors(state: State, lot: str) -> list[str]:
    found, at = [lot], 0
    while at < len(found):
        for edge in state.where(Descent, "child", found[at]):
            if edge.parent not in found:
                found.append(edge.parent)
        at += 1
    return found


def stopping_holds(state: State, what: str, *, lot: str, unit: Unit | None = None) -> list[Hold]:
    """Open holds that stop ``what`` on the unit, its lot, any lot above it, or by rule."""
    lots = _lots_above(state, lot)
    holds = _lot_holds(state, lots)
    if unit is not None:
        holds = holds + state.where(Hold, "node", f"unit:{unit.unit}")
    by_rule = state.where(Hold, "node", ANY)
    if by_rule:
        rows = [row for name in lots if (row := state.one(Lot, name)) is not None]
        holds = holds + [hold for hold in by_rule if _fits_any(hold, rows, unit)]
    return [hold for hold in holds if hold.open and what in hold.stops.split(",")]


def _lot_holds(state: State, lots: tuple[str, ...]) -> list[Hold]:
    """The holds on these lots themselves; not to be changed."""
    memo = state.memo(Hold)
    known: list[Hold] | None = memo.get(lots)
    if known is None:
        known = memo[lots] = [hold for name in lots for hold in state.where(Hold, "node", f"lot:{name}")]
    return known


def _fits_any(hold: Hold, lots: list[Lot], unit: Unit | None) -> bool:
    rule = msgspec.json.decode(hold.rule or "{}", type=HoldRule)
    if rule.serial_prefix is not UNSET and not (unit and unit.serial and unit.serial.startswith(rule.serial_prefix)):
        return False
    return any(_fits(rule, lot) for lot in lots)


def _fits(rule: HoldRule, lot: Lot) -> bool:

    return (
        (rule.model is UNSET or lot.model == rule.model)
        and (rule.stage is UNSET or lot.stage == rule.stage)
        and (rule.began_from is UNSET or lot.began_ms >= instant_ms(rule.began_from))
        and (rule.began_to is UNSET or lot.began_ms <= instant_ms(rule.began_to))
    )


def hold_breaches(holds: Iterable[Hold], *, node: str, what: str) -> list[Breach]:
    """What a report says when it was done under a hold that stops it."""
    return [
        Breach(
            code="under-hold",
            node=node,
            said=f"{what} while hold {hold.hold} ({hold.reason}) on {hold.node} was open",
            mend=f"lift hold {hold.hold} or dispose of the product",
        )
        for hold in holds
    ]


def refuse_under_hold(holds: list[Hold], *, what: str, where: str) -> None:
    """Refuse a decision that an open hold stops. Raises RuleStands naming the first hold."""
    if holds:
        hold = holds[0]
        raise RuleStands(
            f"{what} is stopped by hold {hold.hold} on {hold.node}",
            expected="no open hold above",
            got=hold.reason,
            where=where,
            mend=f"lift hold {hold.hold} with a reason, or scrap or rework the product",
        )
