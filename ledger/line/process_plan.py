"""The process plan: how long each step must last or rest, and whether a step kept it.

Windows are inclusive, in elapsed seconds between instants (never wall-clock subtraction: instants carry their offset).
The plan that judges is the one in force when the step began, as known when the fact is entered.

Common practice, no source, for plants that have no figures of their own: block demould about 6 min, block rest 24 h,
shell demould about 5 min, final cure 24 h.  Nothing here is hard-coded: a model without a plan has no windows.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import Instant, format_instant
from ledger.line.fact import Breach, parse_address
from ledger.line.record import DecimalText, Part, Slug
from ledger.line.rows import Lot, Plan
from ledger.line.state import Need, State

Stage = Literal["block-demould", "block-rest", "core-demould", "core-rest", "shell-demould", "final-cure"]

Seconds = Annotated[int, Meta(ge=0, le=31_536_000)]


class Window(Part, frozen=True, kw_only=True):
    """Elapsed time that a stage must last: at least ``min_s``, at most ``max_s`` seconds, both inclusive.

    ``low_c`` and ``high_c``: the temperature that it must have all the while, in degrees Celsius, both inclusive, and
    ``gap_s`` the longest time between two readings of it.  They judge a temperature log (`ledger.line.cure_temperatures`).
    """

    stage: Stage
    min_s: Seconds
    max_s: Seconds | UnsetType = UNSET
    low_c: DecimalText | UnsetType = UNSET
    high_c: DecimalText | UnsetType = UNSET
    gap_s: Annotated[int, Meta(ge=1, le=31_536_000)] | UnsetType = UNSET


class Inspect(Part, frozen=True, kw_only=True):
    """What must be measured before a release: every unit, a sample of the lot, or once a model."""

    quantity: Slug
    every: Literal["unit", "sample", "model"]
    n: Annotated[int, Meta(ge=1, le=10_000)] | UnsetType = UNSET
    accept: Annotated[int, Meta(ge=0, le=10_000)] | UnsetType = UNSET
    reject: Annotated[int, Meta(ge=1, le=10_000)] | UnsetType = UNSET


WINDOWS = msgspec.json.Decoder(list[Window])


# A plant has few plans, and asks for their windows at every step.
@lru_cache(maxsize=1024)
def _windows(text: str) -> tuple[Window, ...]:
    return tuple(WINDOWS.decode(text))


INSPECTS = msgspec.json.Decoder(list[Inspect])


def plan_needs(model: str | None) -> list[Need]:
    """What `plan_at` reads."""
    return [] if model is None else [Need(Plan, "model", model)]


def plan_at(state: State, model: str | None, at_ms: int) -> Plan | None:
    """The plan of a model in force at an instant, or None where it had none."""
    return None if model is None else plan_among(state.where(Plan, "model", model), at_ms)


def plan_among(plans: Sequence[Plan], at_ms: int) -> Plan | None:
    """The one of a model's plans that is in force at an instant, or None where none is."""
    standing = [plan for plan in plans if plan.from_ms <= at_ms]
    if len(standing) == 1:
        return standing[0]
    return max(standing, key=lambda plan: (plan.from_ms, parse_address(plan.plan)), default=None)


def window_of(plan: Plan | None, stage: Stage) -> Window | None:
    """The plan's window of a stage, or None where it sets none."""
    if plan is None:
        return None
    for window in _windows(plan.windows):
        if window.stage == stage:
            return window
    return None


def window_breaches(  # the two ends of one window and what to say of it
    plan: Plan | None, stage: Stage, from_ms: int, to_ms: int, *, node: str, what: str, fact: str, clock_ms: int = 0
) -> list[Breach]:
    """Breaches of one window between two instants (ms); ``clock_ms`` is the stated error of the clocks that gave them.

    A result that the clock error could change is ``cure-undecided``; ``earliest`` lies beyond what it could change.
    """
    window = window_of(plan, stage)
    if window is None:
        return []
    elapsed = to_ms - from_ms
    longest = None if window.max_s is UNSET else window.max_s * 1000
    short = elapsed < window.min_s * 1000
    long = longest is not None and elapsed > longest
    near_min = window.min_s > 0 and abs(elapsed - window.min_s * 1000) < clock_ms
    near_max = longest is not None and abs(elapsed - longest) < clock_ms
    if not (short or long or near_min or near_max):
        return []
    until = format_instant(Instant(from_ms + window.min_s * 1000 + clock_ms, 0))
    if near_min or near_max:
        said = f"{what}: {stage} lasted {span_words(elapsed)}, too near its limit for clocks that may be {span_words(clock_ms)} off"
        return [
            Breach(
                code="cure-undecided",
                node=node,
                said=said,
                fact=fact or UNSET,
                earliest=until if near_min else UNSET,
                mend="compare the clocks, then dispose",
            )
        ]
    if short:
        said = f"{what}: {stage} lasted {span_words(elapsed)}, the plan asks for at least {span_words(window.min_s * 1000)}"
        return [
            Breach(
                code=f"{stage}-short",
                node=node,
                said=said,
                fact=fact or UNSET,
                earliest=until,
                mend=f"wait until {until}",
            )
        ]
    said = f"{what}: {stage} lasted {span_words(elapsed)}, the plan allows at most {span_words(longest or 0)}"
    return [
        Breach(
            code=f"{stage}-long",
            node=node,
            said=said,
            fact=fact or UNSET,
            mend="dispose of it: release, rework or scrap",
        )
    ]


def span_words(ms: int) -> str:
    """A time in hours, minutes and whole seconds."""
    minus, seconds = ("-" if ms < 0 else ""), abs(ms) // 1000
    hours, rest = divmod(seconds, 3600)
    minutes, left = divmod(rest, 60)
    parts = [f"{hours} h" if hours else "", f"{minutes} min" if minutes else "", f"{left} s" if left else ""]
    return minus + (" ".join(part for part in parts if part) or "0 s")


def lot_clock(*lots: Lot) -> int:
    """The sum of the stated clock errors (ms) of the lots whose instants are compared."""
    return sum(lot.clock_ms for lot in lots)
