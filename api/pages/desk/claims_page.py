"""The claims as a list: what is due first on top, what is over marked by word and form."""

import datetime as dt
from typing import Any
from urllib.parse import urlencode

from litestar import Controller, Request, Response, get

from api.operation import Operation, described
from api.pages import HTML
from api.pages.desk.forms import asked_in, today_of
from api.pages.page import page
from api.parts import parts_of
from api.routes.claims import ClaimsQuery
from ledger.application.claim_list import Claims, ClaimsAsked, ClaimSeen, claims_list
from ledger.line.claim_rows import FailureMode
from ledger.line.failure_modes import TRADE_MODES
from ledger.line.rows import Model
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.selections import every_row

STATES = ("undecided", "open", "examined", "waiting", "sent-back", "accept", "reject", "goodwill")


class ClaimsShown(ClaimsQuery, frozen=True, kw_only=True):
    """The same filters; ``everything``: claims of every state, where none is named."""

    everything: bool = False


class ClaimsPage(Controller):
    """What the desk owes."""

    @get("/desk/claims", opt=described(Operation("Claims", "pages", action="claims", media=HTML, page=True)))
    async def claims(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Those that are not decided, unless asked otherwise."""
        given = {name: text for name, text in request.query_params.items() if text}
        asked = asked_in(request, ClaimsShown)
        state = asked.state if asked.state or asked.everything else "undecided"
        wanted = ClaimsAsked(
            state, asked.overdue, asked.mode, asked.model, asked.market, asked.since, asked.after, asked.limit
        )
        parts = parts_of(request)
        found, modes, models = await parts.long_read(_claims, parts.book.store, wanted, parts.book.clock_ms())
        rest = {name: text for name, text in given.items() if name != "after"}
        return page(
            request,
            "desk/claims.html",
            claims=sorted(found.claims, key=_due_first),
            after=None if found.after is None else f"/desk/claims?{urlencode({**rest, 'after': found.after})}",
            asked=asked,
            state="" if state is None else state,
            states=STATES,
            modes=tuple(TRADE_MODES),
            own_modes={row.mode: row.words for row in modes},
            models=models,
            today=today_of(request),
        )


def _claims(store: Store, asked: ClaimsAsked, now_ms: int) -> tuple[Claims, list[FailureMode], list[Model]]:
    with open_reader(store) as reader:
        modes = every_row(reader.transaction, FailureMode)
        return claims_list(reader, asked, now_ms), modes, every_row(reader.transaction, Model)


def _due_first(claim: ClaimSeen) -> tuple[dt.date, str]:
    return (dt.date.max if claim.due is None else claim.due.on, claim.opened_at)
