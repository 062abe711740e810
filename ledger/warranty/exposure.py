"""Balls at risk of a claim: from their sale to their first fault claim, their return or scrap, or the day of the look.

Balls are counted by **cohort**: those of one shell lot that were engraved at one station.  Time is in days, an age is that
since the sale; who left the risk on the day of the sale counts half a day.  Rates differ with age, so time is split
into bands of age and balls are compared within a band and a model only.  The bands are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np

    Whole = np.ndarray[Any, np.dtype[np.int64]]
    Floats = np.ndarray[Any, np.dtype[np.float64]]
    Flags = np.ndarray[Any, np.dtype[np.bool_]]

DAY_MS = 86_400_000

LEAST_DAYS = 0.5
"""The time at risk of a ball that was claimed or came back on the day of its sale."""

BAND_ENDS = (*range(28, 2 * 364 + 1, 28), 3 * 364, 4 * 364, 6 * 364, 10 * 364, math.inf)
"""Ages in days at which a band ends: four weeks each for two years, then wider."""


class Cohort(NamedTuple):
    """Balls of one shell lot that were engraved at one station (None: not on record)."""

    lot: str
    station: str | None
    model: str


class Spell(NamedTuple):
    """So many balls of a cohort (by its place in the list) were at risk for so many days, and how that ended.

    ``claimed``: by a fault claim. ``out``: not at all, they are still at risk.
    """

    cohort: int
    days: int
    balls: int
    claimed: bool = False
    out: bool = False


class Spells(NamedTuple):
    """The spells of a book as columns of one length."""

    cohort: Whole
    days: Floats
    balls: Whole
    claimed: Flags
    out: Flags

    def of(self, wanted: Flags) -> Spells:
        """Those of the cohorts that are wanted: one flag a cohort."""
        kept = wanted[self.cohort]
        return Spells(self.cohort[kept], self.days[kept], self.balls[kept], self.claimed[kept], self.out[kept])


def spell_columns(spells: Sequence[Spell]) -> Spells:
    """Spells as columns."""
    import numpy as np  # noqa: PLC0415  # costs start-up time, and only questions about claims need it

    cohort, days, balls, claimed, out = zip(*spells, strict=True) if spells else ((), (), (), (), ())
    return Spells(
        np.array(cohort, np.int64),
        np.maximum(np.array(days, np.float64), LEAST_DAYS),
        np.array(balls, np.int64),
        np.array(claimed, np.bool_),
        np.array(out, np.bool_),
    )


class Banded(NamedTuple):
    """Ball-days at risk and claims of each cohort (rows) in each band of age (columns)."""

    ball_days: Floats
    claims: Floats


def by_band(spells: Spells, cohorts: int) -> Banded:
    """Time and claims by cohort and band. A claim belongs to the band in which the time at risk ended."""
    import numpy as np  # noqa: PLC0415  # see above

    ends = np.array(BAND_ENDS)
    starts = np.concatenate(([0.0], ends[:-1]))
    ball_days = np.empty((cohorts, len(ends)))
    for band, (start, end) in enumerate(zip(starts, ends, strict=True)):
        spent = np.clip(spells.days - start, 0.0, end - start) * spells.balls
        ball_days[:, band] = np.bincount(spells.cohort, spent, cohorts)
    claims = np.zeros_like(ball_days)
    at = np.searchsorted(ends, spells.days[spells.claimed])
    np.add.at(claims, (spells.cohort[spells.claimed], at), spells.balls[spells.claimed])
    return Banded(ball_days, claims)
