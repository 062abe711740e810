"""One quantity in one situation: where its verdicts change, and the outcomes of each piece that has occurred."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

from msgspec import UnsetType

from ledger.conformity.breakpoints import Pieces, class_points, day_starts, value_points
from ledger.conformity.outcome import OUTCOMES
from ledger.conformity.verdict import reading_of
from ledger.line.quantity import SCALE, convert

if TYPE_CHECKING:
    import numpy as np

    from ledger.conformity.facts import BallFacts, Measured
    from ledger.conformity.house import HousePolicy
    from ledger.conformity.outcome import Verdict
    from ledger.conformity.requirement import Requirement

    Whole = np.ndarray[Any, np.dtype[np.int64]]
    Floats = np.ndarray[Any, np.dtype[np.float64]]

NO_DAY = -(2**31)
"""A day of making that is not known."""

RANK = {outcome: rank for rank, outcome in enumerate(OUTCOMES)}
"""The place of each outcome, worst first."""

LAST = RANK["not_applicable"]


class Piece(NamedTuple):
    """Outcomes of one piece, one a requirement, by the limit and by the house; and whether a value was compared."""

    outcomes: tuple[int, ...]
    houses: tuple[int, ...]
    compared: tuple[bool, ...]


class Frame:
    """Made for one quantity, one situation and one stated U, from one ball that is in it."""

    def __init__(
        self,
        requirements: Sequence[Requirement],
        facts: BallFacts,
        policy: HousePolicy | None,
        approval_days: Sequence[int],
    ) -> None:
        """``requirements``: all of the quantity. ``approval_days``: days on which an approval of the model begins."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        self.requirements = requirements
        quantity = requirements[0].quantity
        self.reading = reading_in(quantity, facts)
        direct = facts.readings.get(quantity)
        self.derived = self.reading is not None and (direct is None or not direct.usable)
        """True where the value is the difference of two radii of gyration."""
        points: set[Fraction] | None = set()
        if self.reading is not None:
            points = value_points(requirements, self.reading.unit, self.reading.u, policy)
        self.exact = points is not None
        """False where a ball has to be judged by itself."""
        mass = facts.readings.get("mass")
        scopes = [one.scope for one in requirements]
        self._values = Pieces(points or ())
        self._classes = Pieces(class_points(scopes, mass.unit) if mass is not None and mass.usable else ())
        self._days = Pieces(day_starts(requirements, approval_days))
        size = self._values.count * self._classes.count * (self._days.count + 1)
        self.seen = np.zeros(size, dtype=np.int64)
        self.known = np.zeros(size, dtype=bool)
        self.own, self.house = np.full((2, size), LAST, dtype=np.int8)
        self.pieces: dict[int, Piece] = {}

    def codes(self, value: Whole, mass: Whole, day: Whole) -> Whole:
        """The piece of each ball. What no limit goes by costs nothing."""
        import numpy as np  # noqa: PLC0415  # see above

        codes = self._values.of(value)
        if self._classes.count > 1:
            codes = codes * self._classes.count + self._classes.of(mass)
        codes = codes * (self._days.count + 1)
        unknown = day == NO_DAY
        if unknown.any():
            return codes + np.where(unknown, self._days.count, self._days.of(day))
        return codes if self._days.count == 1 else codes + self._days.of(day)

    def learn(self, code: int, verdicts: Mapping[str, Verdict]) -> None:
        """Keep the outcomes of a piece, from the verdicts on one ball in it."""
        mine = [verdicts[one.id] for one in self.requirements]
        outcomes, houses = tuple(RANK[one.outcome] for one in mine), tuple(house_rank(one) for one in mine)
        self.pieces[code] = Piece(outcomes, houses, tuple(one.margin is not None for one in mine))
        self.known[code], self.own[code], self.house[code] = True, min(outcomes), min(houses)

    def margins(self, place: int, value: Whole) -> Floats:
        """How far each value lies inside a requirement's limit, in its unit; negative outside."""
        import numpy as np  # noqa: PLC0415  # see above

        requirement = self.requirements[place]
        if self.reading is None:
            return np.full(len(value), np.inf)
        # Whole millionths as measured, then one division: equal margins stay equal.
        scale = convert(Fraction(1, SCALE), self.reading.unit, requirement.unit)
        sides = []
        if requirement.low is not None:
            sides.append(value - float(requirement.low / scale))
        if requirement.high is not None:
            sides.append(float(requirement.high / scale) - value)
        margin: Floats = (sides[0] if len(sides) == 1 else np.minimum(*sides)) * scale.numerator / scale.denominator
        return margin


def reading_in(quantity: str, facts: BallFacts) -> Measured | None:
    """The usable reading that a quantity is judged by; for a differential it may be taken from two radii."""
    measured, _ = reading_of(quantity, facts)
    return measured if measured is not None and measured.usable else None


def house_rank(verdict: Verdict) -> int:
    """The place of the house's outcome; last where there is no policy."""
    return LAST if isinstance(verdict.house, UnsetType) else RANK[verdict.house.outcome]
