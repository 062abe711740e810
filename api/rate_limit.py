"""A limit on how often one address may ask what is open to everyone: a token bucket for each.

It protects the service from one caller, not from many; what stands in front of the service does that.
"""

import math
import time
from collections.abc import Callable

from litestar.exceptions import TooManyRequestsException

MOST_ADDRESSES = 20_000


class RateLimiter:
    """``burst`` requests at once, then ``per_minute``, for each client address; used on the event loop alone."""

    def __init__(self, per_minute: int, burst: int, clock_s: Callable[[], float] = time.monotonic) -> None:
        """``clock_s`` gives seconds that never go back."""
        self._rate = per_minute / 60
        self._burst = float(burst)
        self._clock_s = clock_s
        self._buckets: dict[str, tuple[float, float]] = {}

    def admit(self, address: str) -> None:
        """Count one request. Raises a 429 that says when the next one is welcome."""
        now = self._clock_s()
        left, since = self._buckets.get(address, (self._burst, now))
        left = min(self._burst, left + (now - since) * self._rate)
        if left < 1:
            wait = math.ceil((1 - left) / self._rate)
            raise TooManyRequestsException(
                detail=f"too many requests from this address: ask again in {wait} s", headers={"retry-after": str(wait)}
            )
        if len(self._buckets) >= MOST_ADDRESSES and address not in self._buckets:
            self._forget(now)
        self._buckets[address] = (left - 1, now)

    def _forget(self, now: float) -> None:
        """Drop every bucket that is full again; all of them where none is."""
        full = [
            address
            for address, (left, since) in self._buckets.items()
            if left + (now - since) * self._rate >= self._burst
        ]
        for address in full or list(self._buckets):
            del self._buckets[address]
