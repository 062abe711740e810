"""What a release rests on besides its record, before and after a correction: where that changed, the ball is held.

Readings alone are named by digest in a release.  Beside them its verdicts rest on the lot that the ball came from (a
sample covers pieces of one lot), its class, its dates, its surface, and on what rework can have changed; and a lot's balls
rest on its model and revision, and on the lots that it goes on from.  A correction that gives a ball back a release that
had ended, or a grade that had been lowered, is held too: what was learned of the ball meanwhile was no matter then.

Models, plans, approvals, gauges and editions are not looked at here: what their correction changes of balls that are out
is a question (`impact`), asked before or after it.
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from typing import NamedTuple

from ledger.line.fact import Breach
from ledger.line.inspections import readings_digest
from ledger.line.lineage import HEIRS
from ledger.line.reading_rows import Measured
from ledger.line.release_policy import UNFOUNDED
from ledger.line.rows import Descent, Lot, Unit
from ledger.line.state import State

_MEND = "judge the ball again, then lift the hold, rework or scrap"


class _OfBall(NamedTuple):
    readings: str
    others: tuple[object, ...]
    first: bool


class Grounds(NamedTuple):
    """What the releases of balls, and of lots' balls, rest on at one moment."""

    balls: dict[str, _OfBall]
    lots: dict[str, tuple[object, ...]]


def release_grounds(nodes: Iterable[str], state: State) -> Grounds:
    """What stands of the balls and lots among some nodes, all of whose rows are loaded."""
    balls: dict[str, _OfBall] = {}
    lots: dict[str, tuple[object, ...]] = {}
    for node in nodes:
        sort, _, name = node.partition(":")
        if sort == "unit":
            balls[name] = _of_ball(state.held(Unit, name), state.held(Measured, name))
        elif sort == "lot" and (lot := state.held(Lot, name)) is not None and lot.stage == "shell":
            above = sorted(edge.parent for edge in state.where(Descent, "child", name) if edge.part in HEIRS)
            lots[name] = (lot.model, lot.revision, above)
    return Grounds(balls, lots)


def _of_ball(unit: Unit | None, measured: Measured | None) -> _OfBall:
    voided = "{}" if measured is None else measured.voided
    others: tuple[object, ...] = ()
    if unit is not None:
        others = (unit.lot, unit.weight_class, unit.began_ms, unit.engraved_ms, unit.finish, voided)
    first = unit is not None and unit.grade == "first" and unit.state in {"released", "shipped"}
    return _OfBall(readings_digest(measured), others, first)


def unfounded_releases(before: Grounds, state: State, corrected_too: Container[str]) -> list[Breach]:
    """The released balls, and lots with balls, whose grounds are not what they were ``before``.

    ``corrected_too``: facts that the same correction puts right; a release among them was judged anew.
    """
    after = release_grounds([f"unit:{name}" for name in before.balls] + [f"lot:{name}" for name in before.lots], state)
    breaches: list[Breach] = []
    for name, was in sorted(before.balls.items()):
        unit = state.held(Unit, name)
        if unit is None or unit.release is None or unit.release in corrected_too:
            continue
        said = _said_of(name, was, after.balls[name], out=unit.state == "shipped")
        if said:
            breaches.append(Breach(code=UNFOUNDED, node=f"unit:{name}", said=said, fact=unit.release, mend=_MEND))
    for name, of_lot in sorted(before.lots.items()):
        lot = state.held(Lot, name)
        if lot is not None and lot.used and after.lots.get(name, of_lot) != of_lot:
            said = f"model, revision or origin of {name} was corrected, on which releases of its balls may rest"
            breaches.append(Breach(code=UNFOUNDED, node=f"lot:{name}", said=said, fact=lot.address, mend=_MEND))
    return breaches


def _said_of(name: str, was: _OfBall, now: _OfBall, *, out: bool) -> str:
    """Why the release of a ball is in doubt after a correction; empty where it is not."""
    if was.readings != now.readings:
        return f"the readings that the release of {name} rests on were corrected"
    if was.others != now.others:
        return f"lot, class, dates, surface or rework of {name} were corrected, on which its release rests"
    if now.first and not was.first and not out:
        return f"the correction makes {name} first quality again, on a release that had ended or was lowered"
    return ""
