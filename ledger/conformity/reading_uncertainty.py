"""The standard uncertainty of one reading that stands, from what the book holds of its gauge.

The U stated with the reading (k = 2), if there is one; else of the mean of n readings

    u^2 = s^2 / n + (U / k)^2 + d^2 / 12

with s the repeatability of the gauge's newest study (else the one stated when it was registered), U and k of the
calibration in force at the reading, and d the gauge's resolution (JCGM 100:2008 4.2.3, 4.3.3, F.2.2.1; clauses from
memory).  Without any s it is left out, and that is said; without U nothing is given.  A median takes 11/7 in the place of
1, the large-sample figure rounded up, and a range takes s once; both too much rather than too little (common practice,
no source).  A bias is said, and never taken off.

Whole numbers and fractions only, so that a dossier's reader gets the same figure on every machine.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from ledger.conformity.decision import shown
from ledger.line.gauge_study import root_millionths
from ledger.line.quantity import SCALE, UNITS, format_number
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.standing_readings import Manner

_MEDIAN = Fraction(11, 7)
"""Pi over two, rounded up: a median of many readings scatters so much more in variance than their mean."""


class ReadingUncertainty(NamedTuple):
    """In millionths of the reading's unit. ``repeat_scaled``: standard deviation of one reading. ``said``: in words.

    None: not known.
    """

    u_scaled: int | None
    repeat_scaled: int | None
    said: str


class GaugeGround(NamedTuple):
    """What is known of a gauge at a reading: itself, the calibration in force, and its newest study."""

    gauge: Gauge | None = None
    calibration: Calibration | None = None
    study: GaugeStudy | None = None


# A plant has few gauges and few ways of reading, and asks for each with every ball.
@lru_cache(maxsize=16_384)
def reading_uncertainty(how: Manner, expanded: int | None, ground: GaugeGround) -> ReadingUncertainty:
    """The uncertainty of a reading taken like that; ``expanded`` is the U stated with it, in millionths."""
    gauge, calibration, _ = ground
    repeat, repeat_from = _repeatability(how, ground)
    bias = _bias_words(how, calibration)
    if expanded is not None:
        u = expanded // 2
        if repeat is not None and Fraction(repeat**2) * scatter_share(how) > u * u:
            repeat = None
        return ReadingUncertainty(
            u, _of_one(repeat, how), f"U = {_shown(expanded, how)} stated with the reading, k = 2{bias}"
        )
    if gauge is None or gauge.unit != how.unit:
        return ReadingUncertainty(None, repeat, f"not known: {how.gauge} is on record with another unit, or not at all")
    if calibration is None or calibration.expanded_micro is None:
        return ReadingUncertainty(None, repeat, f"not known: no calibration of {how.gauge} states one{bias}")
    u_cal = Fraction(calibration.expanded_micro * SCALE, calibration.k_micro)
    variance = u_cal**2 + Fraction(gauge.resolution_micro**2, 12)
    if repeat is not None:
        variance += repeat**2 * scatter_share(how)
    k = format_number(Fraction(calibration.k_micro, SCALE))
    said = (
        f"{repeat_from}; calibration U = {_shown(calibration.expanded_micro, how)}, k = {k} "
        f"(fact {calibration.calibration}); resolution {_shown(gauge.resolution_micro, how)}{bias}"
    )
    return ReadingUncertainty(root_millionths(variance / SCALE**2), _of_one(repeat, how), said)


def _repeatability(how: Manner, ground: GaugeGround) -> tuple[int | None, str]:
    gauge, _, study = ground
    over = "" if how.readings == 1 else f", {how.statistic} of {how.readings}"
    if study is not None and study.unit == how.unit:
        return study.repeatability, f"repeatability {_rounded(study.repeatability, how)} (study {study.study}){over}"
    if gauge is not None and gauge.unit == how.unit and gauge.repeat_micro is not None:
        return gauge.repeat_micro, f"repeatability {_shown(gauge.repeat_micro, how)} as registered{over}"
    return None, "repeatability not known and left out"


def _of_one(repeat: int | None, how: Manner) -> int | None:
    """The scatter of one reading as the statistic has it: of so many, its square over their number is the part in u^2."""
    share = scatter_share(how) * how.readings
    return repeat if repeat is None or share == 1 else root_millionths(Fraction(repeat**2, SCALE**2) * share)


def scatter_share(how: Manner) -> Fraction:
    """The part of one reading's variance that the statistic of several has."""
    if how.statistic == "range":
        return Fraction(1)
    if how.statistic == "median" and how.readings > 2:
        return _MEDIAN / how.readings
    return Fraction(1, how.readings)


def _bias_words(how: Manner, calibration: Calibration | None) -> str:
    if calibration is None:
        return ""
    stated = (("found", calibration.bias_micro), ("left", calibration.left_micro))
    said = [f"{name} {_shown(bias, how)}" for name, bias in stated if bias]
    return f"; bias {', '.join(said)} at calibration, not applied" if said else ""


def _shown(millionths: int, how: Manner) -> str:
    return f"{format_number(Fraction(millionths, SCALE))} {UNITS[how.unit].printed}"


def _rounded(millionths: int, how: Manner) -> str:
    """A figure worked out from a study, to three digits."""
    return f"{shown(Fraction(millionths, SCALE), 3)} {UNITS[how.unit].printed}"
