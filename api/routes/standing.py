"""How the plant stands: counts, open holds, open claims, gauges that may not be used."""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from ledger.application.histories import HoldSeen
from ledger.application.standing import PlantStanding


class OpenHolds(msgspec.Struct, frozen=True, kw_only=True):
    """Every hold that is open, oldest first."""

    holds: tuple[HoldSeen, ...]


class Standing(Controller):
    """The plant at the head of the book."""

    @get(
        "/standing",
        opt=described(Operation("How the plant stands", "quality", action="look-up", answer=PlantStanding)),
    )
    async def standing(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Counts of everything."""
        parts = parts_of(request)
        return json_answer(await parts.long_read(parts.book.standing))

    @get("/holds", opt=described(Operation("Every open hold", "quality", action="look-up", answer=OpenHolds)))
    async def holds(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What is held, why, and what that stops."""
        standing = await asyncio.to_thread(parts_of(request).book.standing)
        return json_answer(OpenHolds(holds=standing.open_holds))
