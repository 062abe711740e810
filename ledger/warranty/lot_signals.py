"""Signals: which members of a family have more claims than the rest of the same models, age for age.

For each model and band of age in which both the member and the rest were at risk, the member's share of the ball-days is
its share of the claims to be expected; E is the sum of what is expected, K the claims in those bands.  Given K the count
is taken for Binomial(K, E/K).  The true law, a sum over the bands, has the same mean and tails no heavier beyond it
(Hoeffding 1956, Annals of Mathematical Statistics 27, from memory), so the test errs to the safe side.  One-sided,
mid-P; Benjamini and Hochberg (1995) over the members of the family that can be compared.

**What the rate means.** Nothing is wrong where every ball of a model has the same rate of claims, age for age: lots
that differ a little for reasons of their own (season, dealers, use) signal more often than is said here.  A look is one
pass over the families as of a day.  ``q`` is the chance that a plant in which nothing is wrong sees any false signal
*of one family* within a year of weekly looks.  It is spent in equal parts over the looks of a year (Bonferroni), so a
signal needs an adjusted P of at most ``q`` / 53.  Over all eight families together the chance is at most eight times
``q``; they see the same claims, so that it is far less: with ``q`` 0.05 about 4 in 100 of 1,000 simulated plants.  A
member with an adjusted P of at most ``q`` *stands out*: at one look into one family a plant with nothing wrong shows
one with a chance of at most about ``q``, over a year of looks most plants do.  Who looks more often than once a week
and acts on it raises the chance of a false signal; the duty that opens cases looks once a week.  Mid-P, and members
that share balls, make the rates nearly but not strictly exact; the simulation in the tests counts what is held.  A
member needs 3 claims at least to signal (common practice, no source).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import msgspec

from ledger.conformity.intervals import check_confidence
from ledger.warranty.exact_tests import mid_p_by_exposure, rate_ratio, ratio_interval
from ledger.warranty.exposure import by_band
from ledger.warranty.members import Family, Members

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from ledger.warranty.exposure import Cohort, Flags, Floats, Spells, Whole

SIGNAL_RULE = (
    "one-sided exact test with mid-P against the rest of the same models, age for age, and Benjamini and Hochberg 1995 over "
    "the family; the bands of age, and that it takes 3 claims at least, are common practice, no source"
)
"""The rule in a line, for whoever reads a look."""

Q = 0.05
"""The rate of false signals where none is asked for."""

LOOKS_A_YEAR = 53
"""Weekly looks that may fall within one year."""

LEAST_CLAIMS = 3
"""Claims that a member must have to signal."""

CONFIDENCE = 0.95
"""Of the interval of a ratio: of one member alone, not widened for the number of members or looks."""

Stands = Literal["signal", "stands-out", "no-signal", "no-comparison"]

RANK: dict[Stands, int] = {"signal": 0, "stands-out": 1, "no-signal": 2, "no-comparison": 3}


class MemberSignal(msgspec.Struct, frozen=True, kw_only=True):
    """One member of a family at a look. A ball that was sold twice counts with both its sales.

    ``claims`` of its ``balls`` in ``ball_days`` at risk; ``compared`` of them lie in bands that it shares with the rest, as
    do ``of`` claims in all, and ``expected`` is its part of these.  ``possible_balls`` may be its or not.  ``alike``: members
    with the very same balls.  ``p`` and ``adjusted`` are None where there is nothing to compare with.
    """

    family: Family
    name: str
    stands: Stands
    claims: int
    balls: int
    possible_balls: int
    ball_days: float
    compared: int
    of: int
    expected: float
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    p: float | None
    adjusted: float | None
    alike: tuple[str, ...] = ()


class FamilyLook(msgspec.Struct, frozen=True, kw_only=True):
    """A family at a look: its members, the most striking first; how many could be compared; the level of a signal."""

    family: Family
    q: float
    level: float
    tested: int
    members: tuple[MemberSignal, ...]


class Compared(NamedTuple):
    """Of each member: all claims and ball-days; in shared bands its claims, all claims, and those expected; mid-P (NaN: none)."""

    claims: Floats
    ball_days: Floats
    compared: Floats
    of: Floats
    expected: Floats
    p: Floats
    adjusted: Floats


def signal_level(q: float) -> float:
    """The adjusted P at or below which a member signals."""
    check_confidence(q, "q")
    return q / LOOKS_A_YEAR


class _Model(NamedTuple):
    """The cohorts of one model, and which of them each member holds (a sparse matrix, a row a member)."""

    cohorts: Whole
    holds: Any


class Roll:
    """Every member of some families with the cohorts that it holds: made once for as many looks as are wanted."""

    def __init__(self, families: Mapping[Family, Members], cohorts: Sequence[Cohort]) -> None:
        """Members refer to the cohorts by their places."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only questions about claims need it
        from scipy.sparse import csc_array  # noqa: PLC0415  # see above

        self.cohorts = len(cohorts)
        self.names = [(family, name) for family, members in families.items() for name in members]
        self.held = [held for members in families.values() for held in members.values()]
        rows = np.repeat(np.arange(len(self.held)), [len(held) for held in self.held])
        columns = np.fromiter((place for held in self.held for place in held), np.int64, len(rows))
        holds = csc_array((np.ones(len(rows)), (rows, columns)), shape=(len(self.held), self.cohorts))
        models: dict[str, list[int]] = {}
        for place, cohort in enumerate(cohorts):
            models.setdefault(cohort.model, []).append(place)
        self.models = [_Model(np.array(places), holds[:, places].tocsr()) for places in models.values()]
        ends = np.cumsum([len(members) for members in families.values()])
        self.stretches = {
            family: slice(int(end) - len(members), int(end))
            for (family, members), end in zip(families.items(), ends, strict=True)
        }

    def compare(self, spells: Spells) -> Compared:
        """Every member against the rest of its models."""
        import numpy as np  # noqa: PLC0415  # see above

        ball_days, claims = by_band(spells, self.cohorts)
        sums = np.zeros((5, len(self.held)))
        for model in self.models:
            days, hits = model.holds @ ball_days[model.cohorts], model.holds @ claims[model.cohorts]
            whole, in_all = ball_days[model.cohorts].sum(axis=0), claims[model.cohorts].sum(axis=0)
            # Days are whole or half ones, so that their sums are exact and can be compared.
            shared = (days > 0) & (days < whole)
            rates = np.divide(in_all, whole, out=np.zeros_like(whole), where=whole > 0)
            found = hits, days, hits * shared, in_all * shared, days * rates * shared
            sums += np.stack([one.sum(axis=1) for one in found])
        claimed, spent, compared, of, expected = sums
        return Compared(claimed, spent, compared, of, expected, *self._tested(compared, of, expected))

    def _tested(self, compared: Floats, of: Floats, expected: Floats) -> tuple[Floats, Floats]:
        """Mid-P of each member, and adjusted by Benjamini and Hochberg within its family; NaN where nothing compares."""
        import numpy as np  # noqa: PLC0415  # see above
        from scipy.stats import false_discovery_control  # noqa: PLC0415  # see above

        p, adjusted = np.full((2, len(of)), np.nan)
        able = (of > 0) & (expected > 0) & (expected < of)
        p[able] = np.clip(mid_p_by_exposure(compared[able], of[able], expected[able] / of[able]), 0, 1)
        for stretch in self.stretches.values():
            if able[stretch].any():
                adjusted[stretch][able[stretch]] = false_discovery_control(p[stretch][able[stretch]])
        return p, adjusted


def signalled(found: Compared, q: float) -> Flags:
    """Which members signal: one flag each."""
    flags: Flags = (found.adjusted <= signal_level(q)) & (found.compared >= LEAST_CLAIMS)
    return flags


def look_at(roll: Roll, spells: Spells, q: float = Q) -> dict[Family, FamilyLook]:
    """A look at every family of the roll. Raises MalformedQuantity for a ``q`` that is not between 0 and 1."""
    import numpy as np  # noqa: PLC0415  # see above

    level, found = signal_level(q), roll.compare(spells)
    flags = signalled(found, q)
    balls = np.bincount(spells.cohort, spells.balls, roll.cohorts)
    looks = {}
    for family, stretch in roll.stretches.items():
        alike: dict[frozenset[int], list[str]] = {}
        for place in range(stretch.start, stretch.stop):
            alike.setdefault(frozenset(roll.held[place]), []).append(roll.names[place][1])
        told = []
        for place in range(stretch.start, stretch.stop):
            held, name = roll.held[place], roll.names[place][1]
            possible = [cohort for cohort, certainty in held.items() if certainty == "possible"]
            one = _member(found, place, family, "signal" if flags[place] else _below(found, place, q))
            told.append(
                msgspec.structs.replace(
                    one,
                    name=name,
                    balls=int(balls[list(held)].sum()),
                    possible_balls=int(balls[possible].sum()),
                    alike=tuple(other for other in alike[frozenset(held)] if other != name),
                )
            )
        told.sort(key=lambda one: (RANK[one.stands], 2.0 if one.p is None else one.p, one.name))
        tested = sum(one.p is not None for one in told)
        looks[family] = FamilyLook(family=family, q=q, level=level, tested=tested, members=tuple(told))
    return looks


def _below(found: Compared, place: int, q: float) -> Stands:
    adjusted = found.adjusted[place]
    if math.isnan(adjusted):
        return "no-comparison"
    return "stands-out" if adjusted <= q and found.compared[place] >= LEAST_CLAIMS else "no-signal"


def _member(found: Compared, place: int, family: Family, stands: Stands) -> MemberSignal:
    compared, of, expected = int(found.compared[place]), int(found.of[place]), float(found.expected[place])
    able = stands != "no-comparison"
    ratio, low, high = None, None, None
    if able:
        sides = compared, expected, of - compared, of - expected
        ratio, (low, high) = rate_ratio(*sides), ratio_interval(*sides, confidence=CONFIDENCE)
    return MemberSignal(
        family=family,
        name="",
        stands=stands,
        claims=int(found.claims[place]),
        balls=0,
        possible_balls=0,
        ball_days=float(found.ball_days[place]),
        compared=compared,
        of=of,
        expected=expected,
        ratio=ratio,
        ratio_low=low,
        ratio_high=high,
        p=float(found.p[place]) if able else None,
        adjusted=float(found.adjusted[place]) if able else None,
    )
