"""The limit for each address."""

from __future__ import annotations

import pytest
from litestar.exceptions import TooManyRequestsException

from api import rate_limit
from api.rate_limit import RateLimiter


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        """Start somewhere."""
        self.now = 1_000.0

    def __call__(self) -> float:
        """The time."""
        return self.now


def admitted(limiter: RateLimiter, address: str, count: int) -> int:
    """How many of so many requests are let in."""
    let = 0
    for _ in range(count):
        try:
            limiter.admit(address)
        except TooManyRequestsException:
            continue
        let += 1
    return let


def test_a_burst_and_then_the_rate() -> None:
    """An address may ask its burst at once, then as often as the rate allows, and never more than its burst."""
    clock = Clock()
    limiter = RateLimiter(60, 10, clock)
    first = admitted(limiter, "a", 20)
    clock.now += 3
    second = admitted(limiter, "a", 20)
    clock.now += 3600
    third = admitted(limiter, "a", 20)

    assert (10, 3, 10) == (first, second, third)


def test_addresses_do_not_count_for_each_other() -> None:
    """One address that asks too often leaves another its burst."""
    limiter = RateLimiter(60, 5, Clock())

    assert (5, 5) == (admitted(limiter, "a", 9), admitted(limiter, "b", 9))


def test_a_refusal_says_when_to_come_back() -> None:
    """After the stated seconds the next request is let in."""
    clock = Clock()
    limiter = RateLimiter(10, 1, clock)
    limiter.admit("a")
    with pytest.raises(TooManyRequestsException) as refused:
        limiter.admit("a")
    clock.now += int((refused.value.headers or {})["retry-after"])
    limiter.admit("a")


def test_memory_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many addresses ask, only so many are kept; those who are limited are forgotten last."""
    monkeypatch.setattr(rate_limit, "MOST_ADDRESSES", 10)
    clock = Clock()
    limiter = RateLimiter(60, 2, clock)
    for number in range(9):
        limiter.admit(f"old-{number}")
    clock.now += 60
    admitted(limiter, "busy", 2)
    for number in range(5):
        limiter.admit(f"new-{number}")

    assert len(limiter._buckets) <= 10
    assert 0 == admitted(limiter, "busy", 1)
