"""Lockout: how long a name must wait after failed sign-ins. Common practice, no source.

The first four failures cost nothing.  From the fifth on the name waits 30 s, and twice as long after each further one, up
to 15 minutes: 100 tries a day and no more for someone who guesses, a short wait for someone who mistypes.  Failures are
forgotten a day after the last one, and at once by a sign-in that succeeds.
"""

from __future__ import annotations

FREE_FAILURES = 4
FIRST_WAIT_MS = 30_000
LONGEST_WAIT_MS = 15 * 60_000
FORGOTTEN_MS = 24 * 3_600_000


def wait_ms(failures: int) -> int:
    """How long to wait after the last of so many failures, in milliseconds."""
    if failures <= FREE_FAILURES:
        return 0
    # Doubled six times it is beyond the longest wait anyway, and a shift by a large count would be a large number.
    return min(FIRST_WAIT_MS << min(failures - FREE_FAILURES - 1, 6), LONGEST_WAIT_MS)


def standing_failures(failures: int, last_ms: int, now_ms: int) -> int:
    """The failures that still count at ``now_ms``; none a day after the last."""
    return 0 if now_ms - last_ms >= FORGOTTEN_MS else failures


def left_ms(failures: int, last_ms: int, now_ms: int) -> int:
    """How long a sign-in must still wait, in milliseconds; 0 when it may be tried.

    Never longer than the wait itself, though the clock went back since.
    """
    wait = wait_ms(standing_failures(failures, last_ms, now_ms))
    return min(wait, max(0, last_ms + wait - now_ms))
