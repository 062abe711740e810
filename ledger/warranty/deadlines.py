"""When the desk owes the next step of a claim, and by how many days it is over.

A date that a record states goes before the plant's number of days. The due day itself is not over.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Literal

import msgspec

from ledger.warranty.terms import Deadlines

Step = Literal["first_answer", "examination", "decision", "request"]

STEP_OF: Mapping[str, Step] = {
    "open": "first_answer",
    "sent-back": "examination",
    "examined": "decision",
    "waiting": "request",
}
"""The step that is owed next in each state of a claim that is not decided."""

STEP_WORDS: Mapping[Step, str] = {
    "first_answer": "a first answer to the claimant",
    "examination": "the examination of the ball",
    "decision": "the decision",
    "request": "what the claimant was asked for",
}


class Due(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is owed next, and by when. ``stated``: a record named the day; else it follows from the plant's deadlines.

    ``days_over`` counts from the day after the due day.
    """

    step: Step
    on: dt.date
    stated: bool = False
    days_over: int = 0


def due_of(state: str, since: dt.date, stated: dt.date | None, deadlines: Deadlines, today: dt.date) -> Due | None:
    """What is owed of a claim in a state since a day; None for one that is decided."""
    step = STEP_OF.get(state)
    if step is None:
        return None
    on = stated or since + dt.timedelta(days=getattr(deadlines, step))
    return Due(step=step, on=on, stated=stated is not None, days_over=max(0, (today - on).days))
