"""The plant's registers: gauges, claims, models."""

from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from ledger.application.registers import ClaimSeen, GaugeSeen, ModelSeen


class Gauges(msgspec.Struct, frozen=True, kw_only=True):
    """Every gauge by id."""

    gauges: tuple[GaugeSeen, ...]


class Claims(msgspec.Struct, frozen=True, kw_only=True):
    """Every claim, oldest first."""

    claims: tuple[ClaimSeen, ...]


class Models(msgspec.Struct, frozen=True, kw_only=True):
    """Every model by id."""

    models: tuple[ModelSeen, ...]


class Registers(Controller):
    """What the plant has, and how it stands now."""

    @get("/gauges", opt=described(Operation("Every gauge", "quality", action="look-up", answer=Gauges)))
    async def gauges(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Whether a reading taken now may be used, and why not."""
        parts = parts_of(request)
        return json_answer(Gauges(gauges=await parts.long_read(parts.book.gauges)))

    @get("/claims", opt=described(Operation("Every warranty claim", "warranty", action="claims", answer=Claims)))
    async def claims(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What was claimed, and how it was decided. Claims are entered as records."""
        parts = parts_of(request)
        return json_answer(Claims(claims=await parts.long_read(parts.book.claims)))

    @get("/models", opt=described(Operation("Every model", "quality", action="look-up", answer=Models)))
    async def models(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Its plan in force now, and what bodies answered."""
        parts = parts_of(request)
        return json_answer(Models(models=await parts.long_read(parts.book.models)))
