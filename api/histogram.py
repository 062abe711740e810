"""How long registrations take on the server: one histogram, in Prometheus text form (exposition format 0.0.4).

Bounds grow by a fifth from 0.1 ms to about 10 s, so that a quantile read from it is right to a fifth of its value.
"""

from bisect import bisect_left
from itertools import accumulate

NAME = "pourbook_registration_seconds"

BOUNDS_S = tuple(round(0.0001 * 1.2**step, 7) for step in range(64))
"""Upper bounds of the buckets, inclusive, in seconds; above the last one there is another bucket."""


class Histogram:
    """Counts of durations by bucket; used on the event loop alone."""

    def __init__(self) -> None:
        """Start empty."""
        self._counts = [0] * (len(BOUNDS_S) + 1)
        self._sum_s = 0.0

    def observe(self, seconds: float) -> None:
        """Count one duration."""
        self._counts[bisect_left(BOUNDS_S, seconds)] += 1
        self._sum_s += seconds

    def quantile(self, share: float) -> float:
        """The upper bound in seconds below which ``share`` (0 to 1) of the durations lie; 0 when there is none."""
        total = sum(self._counts)
        if total == 0:
            return 0.0
        for bound, below in zip((*BOUNDS_S, float("inf")), accumulate(self._counts), strict=True):
            if below >= share * total:
                return bound
        return float("inf")

    def exposition(self) -> str:
        """The histogram as Prometheus reads it."""
        lines = [f"# HELP {NAME} Time from request to receipt.", f"# TYPE {NAME} histogram"]
        bounds = [f"{bound:.7g}" for bound in BOUNDS_S] + ["+Inf"]
        totals = list(accumulate(self._counts))
        lines += [f'{NAME}_bucket{{le="{bound}"}} {total}' for bound, total in zip(bounds, totals, strict=True)]
        lines += [f"{NAME}_sum {self._sum_s:.6f}", f"{NAME}_count {totals[-1]}"]
        return "\n".join(lines) + "\n"
