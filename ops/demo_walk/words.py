"""How the walk words figures: instants by the plant's clock, spans, counts."""

from __future__ import annotations

from fractions import Fraction

from fixtures_demo.days import told
from ledger.book.instant import instant_ms
from ledger.conformity.decision import shown


def local(instant: str) -> str:
    """An instant as the plant's wall clock showed it, to the minute."""
    return told(instant_ms(instant))[:16].replace("T", " ")


def span(seconds: int) -> str:
    """Seconds as days, hours and minutes; seconds only under an hour."""
    minutes, rest = divmod(abs(seconds), 60)
    if not minutes:
        return f"{rest} s"
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    days, hours = divmod(hours, 24)
    return f"{days} d {hours} h" if hours else f"{days} d"


def significant(text: str) -> str:
    """Decimal text of a spread, rounded up to two significant digits."""
    return shown(Fraction(text), 2)


def counted(number: int, word: str) -> str:
    """A number and its noun."""
    many = f"{word[:-1]}ies" if word.endswith("y") else f"{word}s"
    return f"{number:,} {word if number == 1 else many}"
