"""Where the plan of production was not kept: the causes of the troubles that `fixtures_demo.troubles` lists.

Each is one number or one lot, changed before the story is told; what follows from it, the book says by itself.
"""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from fixtures_demo.days import HOUR, LAST, MINUTE, clock, on, workday_of
from fixtures_demo.rounds import Round
from ledger.line.moulding import PieceDraw

EARLY_ROUND = "007"
"""Cores poured by the night shift when the blocks had rested 19 h 40 min of the 24 h."""

HASTY_ROUND = "009"
"""Blocks demoulded within seconds of the shortest time; one of its shell lots has many claims."""
CLAIMED_LOT = "SL-009A"

NIGHT_LOT, RIGHT_LOT = "SL-013A", "SL-013B"
"""Twelve balls of the second, typed as the first all night."""
NIGHT_BALLS = 12

REENGRAVED_LOT = "SL-016A"
REENGRAVED = (7, 23)

RECALLED_LOT = "SL-018B"

MIXED_LOT, MIXED_FROM = "SL-021B", "CL-022"
"""Ten cores of its rack were scrapped, and ten of the next core lot put in without noting which."""
MIXED_CORES = 10

RESIN_FROM, RESIN_TO = "022", "025"
"""The core resin of these rounds (the last one no more) is one material lot, held on its supplier's notice."""

LATE_ROUND = "027"
LATE_BY = 3 * HOUR + 10 * MINUTE

DOUBTFUL_LOT = "SL-031A"
"""Poured under a clock up to ten minutes wrong, and turned four minutes after the shortest cure."""
CLOCK_ERROR_S = 600

OVERDUE_GAUGE, OVERDUE_AT, FOUND_GOOD_AT = "HD-2", on(30, "18:00"), on(34, "08:10")
WRONG_GAUGE, LAST_GOOD_AT, FOUND_WRONG_AT = "RO-1", on(40, "12:30"), on(50, "06:30")

ZERO_ERROR = -0.0031
"""What the wrong gauge showed too little, inches."""

SOFT_LOT = "SL-033A"
"""Its shell compound had too little hardener: most of its balls read little more, or less, than 73 Shore D."""
SOFT_MIDDLE, SOFT_SPREAD = 73.05, 0.5
SOFT_WAITING = 3
"""Soft balls of it that are kept back for a second look."""

HOUSE_RULE_FROM = on(20, "07:10")
"""The release policy, and from then on five readings of hardness and their mean in place of three and their median."""

LOGGED_LOT = "SL-038A"
"""A temperature log of its final cure was kept, with a gap in the night."""

FRESH_ROUND = "038"
"""Its second shell lot is poured on the last morning, and still cures when the demo begins."""


def bend(one: Round) -> Round:
    """A round as it went."""
    if one.name == EARLY_ROUND:
        rested = one.blocks_ms + one.block_s * 1000 + 19 * HOUR + 40 * MINUTE
        return one._replace(cores_ms=rested)
    if one.name == HASTY_ROUND:
        return one._replace(block_s=304)
    if one.name == RESIN_FROM:
        return one._replace(cores_in=(one.cores_in[0], one.cores_in[1] - MIXED_CORES), given=MIXED_CORES)
    if one.name == LATE_ROUND:
        return one._replace(said_late_ms=LATE_BY)
    if one.name == FRESH_ROUND:
        return one._replace(shells_ms=(one.shells_ms[0], clock(LAST, "07:30")))
    return one


def cores_of(lot: str, core_lot: str, count: int) -> tuple[PieceDraw, ...]:
    """The cores that went into a shell lot."""
    if lot == MIXED_LOT:
        return (
            PieceDraw(lot=core_lot, count=count - MIXED_CORES),
            PieceDraw(lot=MIXED_FROM, count=MIXED_CORES),
        )
    return (PieceDraw(lot=core_lot, count=count),)


def clock_error_of(lot: str) -> int | UnsetType:
    """The clock error that the pour of a shell lot states, in seconds."""
    return CLOCK_ERROR_S if lot == DOUBTFUL_LOT else UNSET


def turned_at(lot: str, demoulded_ms: int) -> int:
    """When the pins of a shell lot began to be filled: the next working day at 13:00, but for one lot."""
    if lot == DOUBTFUL_LOT:
        return demoulded_ms + 24 * HOUR + 4 * MINUTE
    workday = workday_of(demoulded_ms) + 1
    return on(workday, "13:00") if workday < 65 else clock(LAST, "13:00") + 48 * HOUR
