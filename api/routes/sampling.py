"""Acceptance sampling: how many of a lot to inspect, and when to reject it."""

from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from msgspec import Meta

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_query
from ledger.application.sampling_plans import SamplingPlan, sampling_plan


class PlanWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``lot_size``: balls of the lot; ``aql``: acceptable quality level in per cent failing, as the table prints it: 0.65."""

    lot_size: Annotated[int, Meta(ge=2, le=10**9)]
    aql: Annotated[str, Meta(min_length=1, max_length=8)]


class SamplingRoutes(Controller):
    """Plans by attributes."""

    @get(
        "/sampling-plan",
        opt=described(
            Operation(
                "How many of a lot to inspect, when to reject it, and what the plan lets through",
                "quality",
                action="look-up",
                query=PlanWanted,
                answer=SamplingPlan,
            )
        ),
    )
    async def plan(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The plan of a lot."""
        wanted = read_query(request, PlanWanted)
        return json_answer(await parts_of(request).long_read(sampling_plan, wanted.lot_size, wanted.aql))
