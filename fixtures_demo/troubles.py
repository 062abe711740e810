"""The troubles of the story, most urgent first, as a quality lead would ask for them."""

from __future__ import annotations

from typing import NamedTuple

from fixtures_demo import bends


class Trouble(NamedTuple):
    """One trouble: its name, a title of two words, what happened, and where the book shows it."""

    name: str
    title: str
    happened: str
    shown_by: str


GROUPS: dict[str, tuple[Trouble, ...]] = {
    "what must not ship": (
        Trouble(
            "held-resin",
            "held resin",
            "the supplier of one core resin lot wrote that it was moist, after part of it had been poured and sold",
            "open hold H-RESIN on the material lot; every lot and ball below it, certain or possible",
        ),
        Trouble(
            "early-pour",
            "early pour",
            "cores were poured when their blocks had rested 19 h 40 min of 24 h",
            f"breach block-rest-short on lot CL-{bends.EARLY_ROUND}; hold, destructive tests, concession, releases",
        ),
        Trouble(
            "recall",
            "recall",
            "a colour card was thought to be wrong",
            f"recall hold R-COLOUR on {bends.RECALLED_LOT}, lifted by two people",
        ),
        Trouble(
            "soft-shells",
            "soft shells",
            "a shell lot came out soft: half of its balls read 72 to 73 Shore D, which an earlier edition let pass",
            f"balls of {bends.SOFT_LOT} that fail the limit on hardness; refused as first quality, second quality, or waiting",
        ),
    ),
    "what cannot be judged": (
        Trouble(
            "gauge-found-wrong",
            "wrong gauge",
            "an out-of-round gauge was found wrong at its calibration",
            f"readings of {bends.WRONG_GAUGE} since its last good calibration are not usable; some were read again",
        ),
        Trouble(
            "gauge-overdue",
            "overdue gauge",
            "a hardness gauge was used for three days after its due date",
            f"breaches gauge-unfit on readings of {bends.OVERDUE_GAUGE}; usable again after a good as-found calibration",
        ),
        Trouble(
            "doubtful-clock",
            "doubtful clock",
            "a lot was poured under a clock up to ten minutes wrong, and turned four minutes after the shortest cure",
            f"breaches cure-undecided on {bends.DOUBTFUL_LOT}; facts marked doubtful; concession",
        ),
        Trouble(
            "gap-in-log",
            "gap in a log",
            "the temperature logger of one rack was silent for part of the night",
            f"temperature log of the final cure of {bends.LOGGED_LOT}, with one gap",
        ),
    ),
    "what descends from what": (
        Trouble(
            "two-core-lots",
            "two core lots",
            "a shell lot was filled up from a second core lot, and nobody noted which place holds which",
            f"{bends.MIXED_LOT} descends possibly from two core lots",
        ),
    ),
    "what customers say": (
        Trouble(
            "many-claims",
            "many claims",
            "one shell lot cracks over the block",
            f"claims crack-over-block on balls of {bends.CLAIMED_LOT}",
        ),
    ),
    "what was put right": (
        Trouble(
            "wrong-lot",
            "wrong lot",
            "twelve balls were registered to the wrong lot all night",
            "breaches over-drawn at once; one correction of twelve facts in the morning",
        ),
        Trouble(
            "re-engraved",
            "engraved anew",
            "two serials were cut badly and engraved anew",
            "facts ball-engraved-anew; both numbers are found",
        ),
        Trouble(
            "late-report",
            "late report",
            "a core pour was reported three hours late",
            f"fact of CL-{bends.LATE_ROUND} marked late",
        ),
        Trouble(
            "off-grade",
            "off grade",
            "second quality, prototypes, rework, scrap and destructive tests",
            "grades second and prototype; facts rework and scrap",
        ),
    ),
}
"""The troubles by the question that each answers, both in the order of urgency."""

TROUBLES: tuple[Trouble, ...] = tuple(trouble for group in GROUPS.values() for trouble in group)
