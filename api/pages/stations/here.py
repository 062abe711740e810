"""Who is signed in at a station, and what time it is there: what the queue of a browser asks before it sends.

``/station/here`` is read by scripts of this host: without a session it is refused, and another host's page cannot read it.
"""

from __future__ import annotations

from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.guards import account_of
from api.operation import Operation, described
from api.pages.session import session_at
from api.parts import json_answer, parts_of


class Here(msgspec.Struct, frozen=True, kw_only=True):
    """``now_ms`` is the service's clock (POSIX milliseconds), taken as the answer is made."""

    now_ms: int
    account: str
    form_token: str


class StationHere(Controller):
    """The one question of the queue."""

    @get(
        "/station/here",
        opt=described(Operation("Who asks, and what time it is", "look up", action="stations", answer=Here)),
    )
    async def here(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The account, its form token and the time."""
        session = session_at(request)
        answer = Here(
            now_ms=parts_of(request).book.clock_ms(),
            account=account_of(request).account,
            form_token="" if session is None else session.form_token,
        )
        return json_answer(answer, headers={"cache-control": "no-store"})
