"""Acting on a case: one entry for one sending of a form, as the routes of cases make it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from litestar import Request

from api.guards import account_of
from api.parts import parts_of
from ledger.access.tokens import Account
from ledger.application.case_desk import CaseDesk
from ledger.application.pourbook import Pourbook
from ledger.errors import KeyReused

Act = Callable[[CaseDesk, str, Account], Any]


async def act_on_case(request: Request[Any, Any, Any], key: str, act: Act) -> bool:
    """Do it; False where this form had been sent before, so that it stands as it was then. Raises what refuses it."""
    parts = parts_of(request)
    try:
        waiting = await parts.long_read(_acted, parts.book, act, key, account_of(request))
        entered = await parts.entered(waiting)
    except KeyReused:
        return False
    return not entered.repeated


def _acted(book: Pourbook, act: Act, key: str, account: Account) -> Any:
    return act(CaseDesk(book), key, account)


def reason_of(text: str) -> str:
    """A reason as it is entered: short words with hyphens between."""
    return "-".join(text.lower().replace("-", " ").split())
