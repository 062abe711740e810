"""Asked before the act: what a form would say, put to the book, unless it tells of what is done already.

A tap is asked first and refused with the reasons.  What was done all the same (the form's second button, ``way=done``), and
what a queue sends long after its tap, is entered with the breaches that it leaves: a step that was done is always recorded.
"""

from __future__ import annotations

import asyncio
from typing import Any

from litestar import Request

from api.guards import account_of
from api.pages.stations.answers import Records, is_queued, submission_of
from api.pages.stations.typed import Typed
from api.parts import parts_of
from ledger.application.asking import AskAnswer
from ledger.book.instant import instant_ms
from ledger.errors import RuleStands

WAITED_MS = 60_000
"""How long after its tap a queued form is taken for one that could not be sent at once."""


def tells_what_was_done(request: Request[Any, Any, Any], typed: Typed) -> bool:
    """Whether nobody has to be asked, since it was done."""
    if typed.text("way") == "done":
        return True
    at = typed.instant("at")
    return is_queued(request) and bool(at) and parts_of(request).book.clock_ms() - instant_ms(at) > WAITED_MS


async def ask_first(request: Request[Any, Any, Any], records: Records, heard: list[AskAnswer] | None = None) -> None:
    """Return if the records may be said now without a breach. Raises RuleStands with every reason.

    ``heard`` is given the answers, for a page that shows them one by one.
    """
    asked = submission_of("asked", records).records
    answers: list[AskAnswer] = await asyncio.to_thread(parts_of(request).book.ask, asked, account_of(request))
    if heard is not None:
        heard[:] = answers
    reasons = [reason for answer in answers for reason in answer.reasons]
    if not reasons:
        return
    raise RuleStands(
        "; ".join(dict.fromkeys(reason.said for reason in reasons)),
        where=reasons[0].where,
        mend=reasons[0].mend or "if it was done all the same, record it as done",
    )
