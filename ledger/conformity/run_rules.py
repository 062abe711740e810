"""The run rules of a control chart, with every convention stated, because books differ.

``z`` is a point's distance from the centre line in its own standard errors (limits stand at 3).

=====  ============================================================================
rule   a signal at a point when
=====  ============================================================================
1      it lies beyond 3
2      it lies beyond 2, and so do 2 of the last 3 on its side, it being one of them
3      it lies beyond 1, and so do 4 of the last 5 on its side, it being one of them
4      it and the 7 before it all lie on one side of the centre line
=====  ============================================================================

"Beyond" is strict; the last point must itself satisfy the zone; a point on the centre line breaks a run.
A run that goes on signals at each further point.  At a chart's start rules 2 and 3 look at the points there are.
Source: Western Electric zone rules, as in NIST/SEMATECH e-Handbook 6.3.2.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

WORDS = {
    1: "beyond 3 sigma {side}",
    2: "2 of the last 3 beyond 2 sigma {side}",
    3: "4 of the last 5 beyond 1 sigma {side}",
    4: "8 in a row {side} the centre line",
}
"""Rule to its words; ``side`` is "above" or "below"."""

_ZONES = ((1, 3.0, 1, 1), (2, 2.0, 2, 3), (3, 1.0, 4, 5), (4, 0.0, 8, 8))
"""Rule, zone, points needed, points looked at."""


class Signal(msgspec.Struct, frozen=True):
    """A rule broken at a point, by its index from 0, on the side ``above`` or ``below``."""

    rule: int
    index: int
    side: str

    @property
    def words(self) -> str:
        """The rule in words, such as "beyond 3 sigma above"."""
        return WORDS[self.rule].format(side=self.side)


def scan(z: Sequence[float], rules: Sequence[int] = (1, 2, 3, 4)) -> tuple[Signal, ...]:
    """Every signal, by index and then by rule; linear in the points.

    ``z`` of a point on the centre line has to be exactly 0, so a caller takes the difference before it divides.
    """
    found: list[Signal] = []
    for index, last in enumerate(z):
        sign = 1 if last > 0 else -1
        for rule, zone, needed, width in _ZONES:
            if rule not in rules or not last * sign > zone:
                continue
            window = z[max(0, index + 1 - width) : index + 1]
            if sum(one * sign > zone for one in window) >= needed:
                found.append(Signal(rule, index, "above" if sign > 0 else "below"))
    return tuple(found)
