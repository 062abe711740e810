"""The fewest holds that contain a suspect: whole lots where every piece is suspect, a rule for a prefix, else balls.

A hold on a lot stops everything below it, and what is made of it later too; so what was poured in a mould is held lot by
lot, and a later pour of the mould is not.  Possible balls are held as certain ones are.  The holds of an order go into one
submission, or none does: where single balls are too many, whole lots are to be held instead, which is for a person to say.
"""

from __future__ import annotations

from typing import NamedTuple

from msgspec import UNSET
from msgspec.json import encode as encode_json

from ledger.application.suspect_set import SuspectSet
from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.errors import RuleStands, TooLarge
from ledger.line.case_rows import Case
from ledger.line.cases import Action, CaseOrdered
from ledger.line.holds import HoldPlaced, Stop
from ledger.line.lineage import HoldRule
from ledger.line.lots import left_of
from ledger.line.record import Record
from ledger.line.rows import Lot
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, rows_with
from ledger.store.suspects import balls_per_lot

MOST = 498
"""Holds of one order: beside them the submission says the order, and the opening of the case where it is opened by it."""

_SPARE_BYTES = 2_000
"""What an entry takes beside the holds and their order: its envelope, and the opening of a case."""

_LONGEST = Case(
    case="C" * 32, why="", reason="r" * 40, suspect="", action="", opened_ms=0, open=True, address=""
)  # fmt: skip
_EVERY_STOP: tuple[Stop, ...] = ("release", "shipment", "use", "work")
_AT = "2000-01-01T00:00:00.000+00:00"

WHOLE = "order it with whole_lots true: every lot with a suspect ball is then held whole"
NARROWER = "narrow the suspect (a shorter span), or hold a lot above by a case of its own"


class HoldPlan(NamedTuple):
    """What would be held: lots, single balls, and serials by a rule. ``whole_lots``: every lot with a suspect ball.

    ``unlisted``: single balls that are far too many for one submission, so that they are not named.
    """

    lots: tuple[str, ...]
    units: tuple[str, ...]
    serial_prefix: str
    whole_lots: tuple[str, ...]
    unlisted: int = 0

    @property
    def holds(self) -> int:
        """How many holds it takes."""
        return len(self.lots) + len(self.units) + self.unlisted + bool(self.serial_prefix)

    @property
    def fits(self) -> bool:
        """Whether they go into one submission, however long the names of case and reason are."""
        return self.holds <= MOST and _fit(_records(_LONGEST, self, "recall", at=_AT, stops=_EVERY_STOP, placed=0))

    @property
    def mend(self) -> str:
        """What to do where they do not; empty where they do."""
        if self.fits:
            return ""
        return WHOLE if HoldPlan(self.whole_lots, (), "", ()).fits else NARROWER


def hold_plan(reader: Reader, found: SuspectSet) -> HoldPlan:
    """The fewest holds over a suspect set."""
    suspect = found.suspect
    held = set(_held_roots(reader, found))
    units = _cleared_but_named(found)
    own = [lot for lot in found.ball_lots if not _is_under(found, held, lot)]
    rows: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", own)}
    totals = balls_per_lot(reader, own)
    prefix = ""
    if isinstance(suspect.serial_prefix, str) and suspect.from_at is UNSET and suspect.to_at is UNSET:
        prefix = suspect.serial_prefix
    below = found.balls_in(own)
    if not prefix:
        held |= {lot for lot, count in below.items() if count == totals[lot] and left_of(rows[lot]) <= 0}
    single = [lot for lot in own if lot in below and lot not in held]
    count = sum(below[lot] for lot in single)
    if prefix:
        # The rule goes by the number that a ball bears now.
        units += [ball.unit for ball, _ in found.balls_of(single) if not (ball.serial or "").startswith(prefix)]
    elif count <= MOST:
        units += [ball.unit for ball, _ in found.balls_of(single)]
    unlisted = 0 if prefix or count <= MOST else count
    return HoldPlan(tuple(sorted(held)), tuple(units), prefix, tuple(sorted({*held, *below})), unlisted)


def _held_roots(reader: Reader, found: SuspectSet) -> list[str]:
    """The lots that were touched at first hand, but for those that are under another, and those held ball by ball."""
    roots = sorted(found.roots.lots)
    above: dict[str, list[bool]] = {}
    for edge in StoredEdges(reader).parents(roots) if len(roots) > 1 else ():
        under = edge.first is None and found.trace.certainty_of(edge.parent) is not None
        above.setdefault(edge.child, []).append(under)
    covered = {lot for lot, edges in above.items() if any(edges)}
    parents = {edge.parent for edge in StoredEdges(reader).children(sorted(found.roots.stretches))}
    stretched = {lot for lot in found.roots.stretches if lot not in parents and _is_placed(found, lot)}
    return [lot for lot in roots if lot not in covered and lot not in stretched]


def _is_placed(found: SuspectSet, lot: str) -> bool:
    """Whether the positions of all pieces of a lot are known, so that those that are clear need not be held."""
    row = found.lots.get(lot)
    if row is None or row.stage != "shell" or left_of(row) > 0:
        return False
    return all(ball.place is not None for ball in found.every_ball(lot))


def _cleared_but_named(found: SuspectSet) -> list[str]:
    """Balls that no hold above stops, since their positions clear them of it, and that are suspect by themselves."""
    if not (found.roots.named or found.roots.engraved):
        return []
    lots = [lot for lot in found.ball_lots if found.trace.by_place(lot) and lot not in found.roots.lots]
    return [ball.unit for ball, _ in found.balls_of(lots) if found.trace.of_unit(ball.lot, ball.place) is None]


def _is_under(found: SuspectSet, held: set[str], lot: str) -> bool:
    """Whether the hold on a root stops a lot's balls: they descend from it by more than their own naming."""
    return lot in held or (lot not in found.roots.stretches and found.trace.certainty_of(lot) is not None)


def order_records(
    case: Case, plan: HoldPlan, action: Action, *, at: str, stops: tuple[Stop, ...], placed: int
) -> list[Record]:
    """The holds of an order, then the order: to be said in one submission. ``placed``: how many the case has already.

    Raises RuleStands where nothing is below the suspect, TooLarge where the holds do not fit into one submission.
    """
    if not plan.holds:
        raise RuleStands(
            f"case {case.case} has nothing to hold",
            expected="a lot or ball below the suspect",
            where="case",
            mend="close it as unfounded, or open a case on what is really suspected",
        )
    records = _records(case, plan, action, at=at, stops=stops, placed=placed)
    if plan.holds + placed > MOST or not _fit(records):
        raise TooLarge(
            f"the holds of case {case.case} do not fit into one submission",
            expected=f"at most {MOST - placed} holds and {MAX_ENTRY_BYTES} bytes",
            got=f"{plan.holds} holds",
            where="case",
            mend=plan.mend or NARROWER,
        )
    return records


def _records(
    case: Case, plan: HoldPlan, action: Action, *, at: str, stops: tuple[Stop, ...], placed: int
) -> list[Record]:
    nodes = [*(f"lot:{lot}" for lot in plan.lots), *(f"unit:{unit}" for unit in plan.units)]
    holds = [
        HoldPlaced(
            at=at,
            hold=f"{case.case}.{placed + number}",
            reason=case.reason,
            node=node or UNSET,
            rule=UNSET if node else HoldRule(serial_prefix=plan.serial_prefix),
            stops=stops,
            recall=action == "recall",
        )
        for number, node in enumerate([*nodes, *([""] if plan.serial_prefix else [])], 1)
    ]
    order = CaseOrdered(at=at, case=case.case, action=action, holds=tuple(hold.hold for hold in holds))
    return [*holds, order]


def _fit(records: list[Record]) -> bool:
    return len(encode_json(records)) + _SPARE_BYTES <= MAX_ENTRY_BYTES


def whole(plan: HoldPlan) -> HoldPlan:
    """The same with every lot held whole, so that no ball needs a hold of its own."""
    return plan._replace(lots=plan.whole_lots, units=(), unlisted=0)
