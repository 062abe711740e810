"""The plant's registers: gauges and models."""

from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from ledger.application.registers import GaugeSeen, ModelSeen


class Gauges(msgspec.Struct, frozen=True, kw_only=True):
    """Every gauge by id."""

    gauges: tuple[GaugeSeen, ...]


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

    @get("/models", opt=described(Operation("Every model", "quality", action="look-up", answer=Models)))
    async def models(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Its plan in force now, and what bodies answered."""
        parts = parts_of(request)
        return json_answer(Models(models=await parts.long_read(parts.book.models)))
