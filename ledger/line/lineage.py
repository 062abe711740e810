"""Which lots a lot is made from, and the holds that stand anywhere above it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import msgspec
from msgspec import UNSET, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import RuleStands
from ledger.line.fact import Breach, parse_address
from ledger.line.record import At, Id, Part
from ledger.line.rows import Descent, Hold, Lot, Unit
from ledger.line.state import Need, State

ANY = "rule"
"""The node under which holds that name a rule stand."""

HEIRS = ("split", "merge")
"""The parts of descent by which a lot goes on from others, its pieces unchanged."""


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


def _lots_above_place(state: State, lot: str, place: int) -> tuple[str, ...]:
    """The lot, and those above its piece at a place: recorded positions clear a piece of the lots it did not take."""
    memo = state.memo(Descent)
    known: tuple[str, ...] | None = memo.get((lot, place))
    if known is None:
        parents = [edge.parent for part in alternatives(state.where(Descent, "child", lot), place) for edge in part]
        above = (name for parent in parents for name in _lots_above(state, parent))
        known = memo[lot, place] = tuple(dict.fromkeys((lot, *above)))
    return known


def alternatives(edges: Iterable[Descent], place: int | None = None) -> list[list[Descent]]:
    """The parts of one lot, each a list of edges of which a piece took exactly one.

    A blended edge is a part by itself. With ``place`` (1-based position of the piece) known and positions recorded in
    a part, only the edges whose range covers it stay; where no range covers it, the edges without a range stay, and
    where every edge has a range that does not cover it, the record says nothing and all stay.
    """
    parts: dict[str, list[Descent]] = {}
    blended: list[list[Descent]] = []
    for edge in edges:
        if edge.blended:
            blended.append([edge])
        else:
            parts.setdefault(edge.part, []).append(edge)
    chosen = list(parts.values()) if place is None else [_at_place(part, place) for part in parts.values()]
    return [*blended, *chosen]


def _at_place(part: list[Descent], place: int) -> list[Descent]:
    covering = [
        edge for edge in part if edge.first is not None and edge.last is not None and edge.first <= place <= edge.last
    ]
    return covering or [edge for edge in part if edge.first is None] or part


def _ancestors(state: State, lot: str) -> list[str]:
    found, at = [lot], 0
    while at < len(found):
        for edge in state.where(Descent, "child", found[at]):
            if edge.parent not in found:
                found.append(edge.parent)
        at += 1
    return found


def lots_over(state: State, unit: Unit) -> tuple[str, ...]:
    """The lot of a ball and every lot above it, but for those that its recorded position clears it of."""
    return _lots_above(state, unit.lot) if unit.place is None else _lots_above_place(state, unit.lot, unit.place)


def is_lineage_loaded(state: State, lot: str) -> bool:
    """Whether `lineage_needs` has found a lot and all above it loaded."""
    return (lot, "loaded") in state.memo(Descent)


def stopping_holds(state: State, what: str, *, lot: str, unit: Unit | None = None) -> list[Hold]:
    """Open holds that stop ``what`` on the unit, its lot, any lot above it, or by rule."""
    place = None if unit is None else unit.place
    lots = _lots_above(state, lot) if place is None else _lots_above_place(state, lot, place)
    holds = _lot_holds(state, lots)
    if unit is not None:
        holds = holds + state.where(Hold, "node", f"unit:{unit.unit}")
    by_rule = state.where(Hold, "node", ANY)
    if by_rule:
        rows = [row for name in lots if (row := state.one(Lot, name)) is not None]
        holds = holds + [hold for hold in by_rule if fits_any(hold, rows, unit)]
    return [hold for hold in holds if hold.open and what in hold.stops.split(",")]


def hold_at(hold: Hold, place: tuple[int, int]) -> Hold | None:
    """A hold as it stood for the fact at an index and position; None where it was opened there or later."""
    if parse_address(hold.opened) >= place:
        return None
    stood = hold.lifted is not None and parse_address(hold.lifted) >= place
    return msgspec.structs.replace(hold, open=True) if stood else hold


def _lot_holds(state: State, lots: tuple[str, ...]) -> list[Hold]:
    """The holds on these lots themselves; not to be changed."""
    memo = state.memo(Hold)
    known: list[Hold] | None = memo.get(lots)
    if known is None:
        known = memo[lots] = [hold for name in lots for hold in state.where(Hold, "node", f"lot:{name}")]
    return known


def fits_any(hold: Hold, lots: Iterable[Lot], unit: Unit | None) -> bool:
    """Whether a hold by rule takes in a ball of these lots, or one of the lots themselves."""
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
