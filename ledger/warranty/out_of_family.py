"""Whether a figure lies out of the family of its like: a stated rule with a least number, exact in whole units.

The rule: with at least `LEAST` others, a figure stands out when it lies more than `LIMIT` robust sigmas from their median,
a robust sigma being `SCALE` times the median of the absolute deviations from that median (MAD). A figure at the limit does
not stand out. With fewer others nothing is said. Where more than half of the others are alike the MAD is nought: then no
spread can be told, and nothing is said of the figure but that.

Limit and scale: the modified z-score of 3.5 after Iglewicz and Hoaglin, How to Detect and Handle Outliers (ASQC, 1993),
section 3.3, with 1 / 0.6745 rounded to 1.4826; known second-hand, from papers and programs that quote it: the book itself
was not read. In a steady normal process about one figure in 2,000 lies beyond. The least number is common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Literal, NamedTuple

LEAST = 30
LIMIT = Fraction(7, 2)
SCALE = Fraction(14_826, 10_000)

RULE = (
    f"more than {float(LIMIT)} robust sigmas (1.4826 x MAD) from the median of at least {LEAST} others; after Iglewicz and "
    "Hoaglin 1993, second-hand; how many it takes, and which balls and lots are its like, is common practice, no source"
)
"""The rule in a line, for whoever reads an answer."""

FamilyOutcome = Literal["in family", "out of family", "no spread", "too few"]


class FamilyVerdict(NamedTuple):
    """How a figure lies among others. ``median`` and ``sigma`` are in the figure's units; None with too few others.

    ``sigmas``: the distance from the median, negative below it; None without a spread.
    """

    outcome: FamilyOutcome
    others: int
    median: Fraction | None = None
    sigma: Fraction | None = None
    sigmas: Fraction | None = None


def judge_family(value: int, others: Sequence[int], *, least: int = LEAST) -> FamilyVerdict:
    """How ``value`` lies among ``others``, all in one unit. O(n log n)."""
    if len(others) < max(least, 1):
        return FamilyVerdict("too few", len(others))
    # Whole numbers until the end: twice the figures, and four times the MAD.
    twice = _twice_median(others)
    middle = Fraction(twice, 2)
    sigma = SCALE * Fraction(_twice_median([abs(2 * other - twice) for other in others]), 4)
    if not sigma:
        return FamilyVerdict("in family" if value == middle else "no spread", len(others), middle, sigma)
    sigmas = (value - middle) / sigma
    outcome: FamilyOutcome = "out of family" if abs(sigmas) > LIMIT else "in family"
    return FamilyVerdict(outcome, len(others), middle, sigma, sigmas)


def _twice_median(figures: Sequence[int]) -> int:
    """Twice the middle figure, or the sum of the two in the middle; there must be one at least."""
    ordered = sorted(figures)
    half = len(ordered) // 2
    return 2 * ordered[half] if len(ordered) % 2 else ordered[half - 1] + ordered[half]
