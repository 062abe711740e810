"""What is known of one ball when it is judged: its model, its dates and its measured values.

Facts are arguments: this module reads no store and no clock, and converts nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from fractions import Fraction
from typing import Literal

import msgspec

from ledger.line.quantity import SCALE


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """One measured value, in whole millionths of ``unit``.

    ``u_scaled``: its standard uncertainty on the same scale, if known.  ``repeat_scaled``: standard deviation of one
    reading as the statistic has it (a median scatters more than a mean), where a study or the gauge gives it;
    ``readings`` of them were taken; what is left of the uncertainty when they are taken out does not shrink with more
    readings.  ``u_from`` says in words where the uncertainty comes from.  ``usable`` is false when it may not be judged by (its gauge was overdue, say), and
    ``why_unusable`` says so in a plain sentence.  ``fact``: its address in the book.  ``definition``: which of the things
    of the quantity's name the gauge measures.  ``temperature_c``, ``delay_s``, ``spacing_mm``, ``surface``: the
    conditions stated with it.
    """

    value_scaled: int
    unit: str
    u_scaled: int | None = None
    repeat_scaled: int | None = None
    readings: int = 1
    statistic: str = "single"
    u_from: str = ""
    gauge: str = ""
    definition: str = ""
    temperature_c: str | None = None
    delay_s: str | None = None
    spacing_mm: str | None = None
    surface: str = ""
    usable: bool = True
    why_unusable: str = ""
    fact: str = ""

    @property
    def value(self) -> Fraction:
        """The value in ``unit``, exactly."""
        return Fraction(self.value_scaled, SCALE)

    @property
    def u(self) -> Fraction | None:
        """The standard uncertainty in ``unit``, exactly, if known."""
        return None if self.u_scaled is None else Fraction(self.u_scaled, SCALE)


class BallFacts(msgspec.Struct, frozen=True, kw_only=True):
    """One ball.

    ``weight_class``: the nominal class in pounds.  ``made_on``: the date of the event that the rulebook calls its
    manufacture.  ``approved_on``: the date on which the body approved the model, None when it is not known or has not
    been given.  ``event_on``: the date of the event asked about.  ``finish``: how its surface is finished, None
    when that is not on record.  ``kinds``: kinds that the model states of itself, as yes or no (see ``requirement.Scope.kind``).  ``readings``: quantity id to the value that stands for the ball.
    """

    core: Literal["symmetric", "asymmetric"]
    weight_class: int | None
    made_on: dt.date | None
    approved_on: dt.date | None = None
    event_on: dt.date | None = None
    drilled: bool = False
    finish: str | None = None
    kinds: Mapping[str, bool] = msgspec.field(default_factory=dict)
    readings: Mapping[str, Measured] = msgspec.field(default_factory=dict)
    ball: str = ""
