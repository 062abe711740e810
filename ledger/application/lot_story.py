"""What a page of one lot tells beside its view: its windows, its balls a page at a time, all below it counted.

What lies below is counted from an index; no page lists all of it.
"""

from __future__ import annotations

import msgspec

from ledger.application.at_station import OpenLot, with_rests
from ledger.application.ball_story import HoldTold, holds_told
from ledger.application.cure_times import CureTime, lot_cures
from ledger.application.lot_account import known_lot_row
from ledger.application.lot_view import LotView, lot_view
from ledger.application.suspect_set import SuspectSet
from ledger.application.trace_web import TraceWeb, trace_web
from ledger.line.making_rows import Made
from ledger.line.makings import Making, makings_of
from ledger.line.rows import FactRow, Lot, Unit
from ledger.line.suspects import STAGE_OF, Suspect
from ledger.store.lot_pages import lots_beginning, lots_of_stage, states_of_lots, units_of_lot
from ledger.store.reader import Reader
from ledger.store.station_lots import last_facts

LISTED = 50
"""Lots or balls on one page."""

LAST_FACTS = 12

COUNTED = 20_000
"""Balls below a lot up to which its page counts them at once."""

SORT_OF: dict[str, str] = {stage: sort for sort, stage in STAGE_OF.items()}
"""Stage of a lot to the sort of suspect that names it."""


class LotPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page of lots; ``more``: there are further ones after the last."""

    lots: tuple[Lot, ...]
    more: bool


class BallsPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page of a lot's balls, in the order of their unit ids; ``states``: how many there are in each state."""

    units: tuple[Unit, ...]
    states: dict[str, int]
    more: bool


class LotOfBalls(msgspec.Struct, frozen=True, kw_only=True):
    """A shell lot below, and how many of its balls may be."""

    lot: str
    certainty: str
    balls: int


class BallsBelow(msgspec.Struct, frozen=True, kw_only=True):
    """All balls below a lot, by certainty and state, and the first of the shell lots that hold them."""

    counts: dict[str, dict[str, int]]
    lots: tuple[LotOfBalls, ...]
    lot_count: int

    @property
    def total(self) -> int:
        """How many balls there are."""
        return sum(sum(states.values()) for states in self.counts.values())


class LotStory(msgspec.Struct, frozen=True, kw_only=True):
    """A lot as `lot_view` has it without its history, and what its page tells beside.

    ``resting``: what its plan says of going on with it now, where something is left of it.  ``below``: None where the walk
    was cut, so that the count is asked for by itself.  ``facts``: the last ones about it, newest first.
    """

    view: LotView
    makings: tuple[Making, ...]
    cures: tuple[CureTime, ...]
    resting: OpenLot | None
    holds: tuple[HoldTold, ...]
    web: TraceWeb
    below: BallsBelow | None
    balls: BallsPage | None
    facts: tuple[FactRow, ...]


def lot_story(reader: Reader, lot: str, now_ms: int, *, after: str = "", state: str = "") -> LotStory:
    """Everything about one lot, told, with a page of its balls after a unit id. Raises NotFound."""
    row = known_lot_row(reader, lot)
    view = lot_view(reader, lot, told=False)
    web = trace_web(reader, lot, "both")
    resting = with_rests(reader, [row], now_ms)[0] if view.account.left > 0 and row.stage != "material" else None
    return LotStory(
        view=view,
        makings=tuple(makings_of(reader.rows(Made, "lot", lot))),
        cures=lot_cures(reader, row),
        resting=resting,
        holds=holds_told(reader, [hold.hold for hold in view.holds]),
        web=web,
        below=balls_below(reader, lot) if web.whole and _begun(web) <= COUNTED else None,
        balls=balls_of_lot(reader, lot, after=after, state=state) if row.stage == "shell" else None,
        facts=tuple(last_facts(reader.transaction, f"lot:{lot}", LAST_FACTS)),
    )


def _begun(web: TraceWeb) -> int:
    """At most so many balls are in the shell lots of a web."""
    return sum(one.used for one in web.lots if one.stage == "shell")


def balls_of_lot(reader: Reader, lot: str, *, after: str = "", state: str = "") -> BallsPage:
    """A page of a shell lot's own balls."""
    units = units_of_lot(reader, lot, LISTED + 1, after=after, state=state)
    states = states_of_lots(reader, [lot]).get(lot, {})
    return BallsPage(units=tuple(units[:LISTED]), states=states, more=len(units) > LISTED)


def balls_below(reader: Reader, lot: str) -> BallsBelow:
    """How many balls hold something of a lot, certain and possible, in each state. Raises NotFound.

    Cost: an index entry a ball; a row a ball where positions or names tell balls of a lot apart.
    """
    row = known_lot_row(reader, lot)
    found = SuspectSet(reader, Suspect(sort=SORT_OF[row.stage], name=lot))  # type: ignore[arg-type]  # one of its sorts
    counts: dict[str, dict[str, int]] = {}
    for certainty, where in found.counts().items():
        for (state, _away), count in sorted(where.items(), key=lambda item: item[0][0]):
            states = counts.setdefault(certainty, {})
            states[state] = states.get(state, 0) + count
    lots = found.ball_lots
    per_lot = found.balls_in(lots[:LISTED])
    return BallsBelow(
        counts=counts,
        lots=tuple(
            LotOfBalls(lot=name, certainty=found.trace.certainty_of(name) or "possible", balls=per_lot.get(name, 0))
            for name in lots[:LISTED]
        ),
        lot_count=len(lots),
    )


def newest_lots(reader: Reader, stage: str, before: tuple[int, str] | None = None) -> LotPage:
    """A page of the lots of a stage, the last begun first."""
    lots = lots_of_stage(reader, stage, LISTED + 1, before)
    return LotPage(lots=tuple(lots[:LISTED]), more=len(lots) > LISTED)


def lots_named_like(reader: Reader, text: str) -> LotPage:
    """The lots whose id begins so, at most a page of them."""
    lots = lots_beginning(reader, text, LISTED + 1)
    return LotPage(lots=tuple(lots[:LISTED]), more=len(lots) > LISTED)
