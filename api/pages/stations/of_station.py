"""What the pages of stations share as requests: their description, and what a query or a form said."""

from __future__ import annotations

from typing import Any

from litestar import Request

from api.operation import Operation, described
from api.pages import HTML
from api.pages.page import catalogue_of
from api.pages.stations.typed import Typed


def of_station(summary: str) -> dict[str, Any]:
    """The description of a page of this concern."""
    return described(Operation(summary, "pages", action="stations", media=HTML, page=True))


def typed_in_query(request: Request[Any, Any, Any]) -> Typed:
    """What an address says."""
    query = request.query_params
    return Typed({name: query.getall(name) for name in query}, catalogue_of(request).zone)


async def typed_in_form(request: Request[Any, Any, Any]) -> Typed:
    """What a form says."""
    form = await request.form()
    return Typed({name: form.getall(name) for name in form}, catalogue_of(request).zone)
