"""Mass checks: does a ball weigh what its recipe says. The recipe is withheld, so these are for quality alone."""

from typing import Any

from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_query
from ledger.application.mass_check import MassCheck, MassChecks, MassChecksAsked, mass_check, mass_checks
from ledger.store.selections import Selection


class MassCheckRoutes(Controller):
    """Weighed against predicted."""

    @get(
        "/balls/{unit:str}/mass-check",
        opt=described(
            Operation(
                "Whether a ball weighs what its recipe says",
                "quality",
                action="mass-check",
                answer=MassCheck,
                problems=(404,),
            )
        ),
    )
    async def one(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """One ball by the id of its unit."""
        return json_answer(await parts_of(request).long_answer(mass_check, unit))

    @get(
        "/mass-checks",
        opt=described(
            Operation(
                "The balls of a selection that do not weigh what their recipe says, worst first",
                "quality",
                action="mass-check",
                query=MassChecksAsked,
                answer=MassChecks,
            )
        ),
    )
    async def several(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The balls that the query selects."""
        asked = read_query(request, MassChecksAsked)
        selection = Selection(model=asked.model, lot=asked.lot)
        return json_answer(await parts_of(request).long_answer(mass_checks, selection, listed=asked.listed))
