"""One gauge: calibrations, studies as they are reported, and the uncertainty budget of what it reads."""

from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath
from msgspec import Meta

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_query
from ledger.application.gauge_view import READINGS, GaugeAsked, GaugeView, gauge_view
from ledger.application.pourbook import Pourbook
from ledger.line.record import Slug
from ledger.store.reader import open_reader


class GaugeWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Of how many ``readings`` the second budget is; and which requirement's width the studies are held against.

    ``rulebook``: id or digest; it comes with ``requirement``, the id of one of its limits on the gauge's quantity.
    """

    readings: Annotated[int, Meta(ge=1, le=50)] = READINGS
    rulebook: Annotated[str, Meta(min_length=1, max_length=64)] | None = None
    requirement: Slug | None = None


class GaugeRoutes(Controller):
    """Questions about a gauge."""

    @get(
        "/gauges/{gauge:str}",
        opt=described(
            Operation(
                "One gauge: calibrations, studies (EV, AV, GRR, PV, ndc), uncertainty budget of a reading",
                "quality",
                action="look-up",
                query=GaugeWanted,
                answer=GaugeView,
                problems=(404,),
            )
        ),
    )
    async def show(self, request: Request[Any, Any, Any], gauge: FromPath[str]) -> Response[bytes]:
        """The gauge as it stands now."""
        wanted, parts = read_query(request, GaugeWanted), parts_of(request)
        asked = GaugeAsked(wanted.readings, wanted.rulebook, wanted.requirement)
        return json_answer(await parts.long_read(_view, parts.book, gauge, asked))


def _view(book: Pourbook, gauge: str, asked: GaugeAsked) -> GaugeView:
    with open_reader(book.store) as reader:
        return gauge_view(reader, gauge, asked, book.clock_ms())
