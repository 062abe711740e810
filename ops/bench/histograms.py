"""Reading the server's own histogram of registrations, and quantiles from it."""

from __future__ import annotations

import urllib.request
from collections.abc import Iterable, Sequence

from api.histogram import NAME

Counts = list[tuple[float, int]]
"""Upper bound of a bucket in seconds, and how many durations lie up to it."""


def read_histogram(address: str, token: str) -> Counts:
    """As the server at an address tells it now."""
    request = urllib.request.Request(f"{address}/metrics", headers={"authorization": f"Bearer {token}"})  # noqa: S310  # loopback
    with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310  # loopback
        lines = answer.read().decode().splitlines()
    # There are others, of other things.
    buckets = [line.rpartition(" ") for line in lines if line.startswith(f"{NAME}_bucket{{")]
    return [(float(name.split('le="')[1].split('"')[0]), int(count)) for name, _, count in buckets]


def since(before: Counts, after: Counts) -> Counts:
    """What was counted between two looks."""
    return [(bound, count - earlier) for (bound, count), (_, earlier) in zip(after, before, strict=True)]


def together(counted: Iterable[Counts]) -> Counts:
    """What several servers counted."""
    return [(buckets[0][0], sum(count for _, count in buckets)) for buckets in zip(*counted, strict=True)]


def quantile_ms(counts: Sequence[tuple[float, int]], share: float) -> float:
    """The bound below which this share of the durations lie, in milliseconds; 0 when there is none."""
    total = counts[-1][1]
    return next((bound for bound, below in counts if below >= share * total), 0.0) * 1e3 if total else 0.0
