"""Figures of the process: capability and control charts, as data and as pictures (SVG)."""

from collections.abc import Callable
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from msgspec import Meta

from api.operation import Operation, described
from api.parts import Parts, file_answer, json_answer, parts_of
from api.request_body import read_query
from api.routes.conformity import DAY_MS, day_ms
from ledger.application.process_capability import CapabilityFigures, capability_of, draw_capability
from ledger.application.process_charts import ChartFigures, charts_of, draw_chart
from ledger.application.process_figures import FiguresAsked, Subgroups
from ledger.application.process_groups import By
from ledger.line.record import Id, On, Slug
from ledger.store.selections import Selection

SVG = "image/svg+xml"
_ALONE = {"content-security-policy": "default-src 'none'; sandbox", "vary": "accept"}


class CapabilityWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Of which quantity, of which balls, told apart by what: every condition that is given must hold.

    ``from_on`` and ``to_on`` are UTC days of engraving, both inclusive.  ``rulebook``: id or digest of the one whose limits
    are taken; capability needs one.  ``group``: one mould set, station or lot alone, as a picture of several needs.
    """

    quantity: Slug
    model: Id | None = None
    lot: Id | None = None
    state: Slug | None = None
    from_on: On | None = None
    to_on: On | None = None
    weight_class: Annotated[int, Meta(ge=4, le=16)] | None = None
    by: By = "none"
    group: Annotated[str, Meta(min_length=1, max_length=200)] | None = None
    rulebook: Annotated[str, Meta(min_length=1, max_length=64)] | None = None


class ChartsWanted(CapabilityWanted, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The same; ``subgroups``: a point for each shell lot or UTC day (Xbar-S), or a point a ball (individuals, I-mR)."""

    subgroups: Subgroups = "none"


def _described(summary: str, query: type[CapabilityWanted], **answer: Any) -> dict[str, Any]:
    return described(
        Operation(summary, "quality", action="conformity", query=query, problems=(404, 413), may_lag=True, **answer)
    )


class Figures(Controller):
    """What the readings say of the process."""

    @get(
        "/capability",
        opt=_described(
            "Capability of a quantity against a rulebook's limits, by mould, station or lot; SVG where that is asked for",
            CapabilityWanted,
            answer=CapabilityFigures,
        ),
    )
    async def capability(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Figures, or by Accept a picture."""
        return await _figures(request, CapabilityWanted, capability_of, draw_capability)

    @get(
        "/capability.svg",
        opt=_described("A histogram with the limits, of one group", CapabilityWanted, media=SVG),
    )
    async def histogram(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The picture of `capability`."""
        return await _picture(parts_of(request), draw_capability, figures_asked(read_query(request, CapabilityWanted)))

    @get(
        "/charts",
        opt=_described(
            "Control charts of a quantity, by mould, station or lot; SVG where that is asked for",
            ChartsWanted,
            answer=ChartFigures,
        ),
    )
    async def charts(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Figures, or by Accept a picture."""
        return await _figures(request, ChartsWanted, charts_of, draw_chart)

    @get("/charts.svg", opt=_described("Control charts as a picture, of one group", ChartsWanted, media=SVG))
    async def chart(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The picture of `charts`."""
        return await _picture(parts_of(request), draw_chart, figures_asked(read_query(request, ChartsWanted)))


def figures_asked(wanted: CapabilityWanted) -> FiguresAsked:
    """What a query states. Raises MalformedInput for a day that no calendar has."""
    selection = Selection(
        model=wanted.model,
        lot=wanted.lot,
        state=wanted.state,
        from_ms=day_ms(wanted.from_on, "from_on"),
        to_ms=None if wanted.to_on is None else (day_ms(wanted.to_on, "to_on") or 0) + DAY_MS - 1,
    )
    subgroups = wanted.subgroups if isinstance(wanted, ChartsWanted) else "none"
    return FiguresAsked(
        wanted.quantity, selection, wanted.by, wanted.rulebook, subgroups, wanted.group, wanted.weight_class
    )


async def _figures(
    request: Request[Any, Any, Any],
    wanted: type[CapabilityWanted],
    figures: Callable[..., Any],
    draw: Callable[..., str],
) -> Response[bytes]:
    parts, asked = parts_of(request), figures_asked(read_query(request, wanted))
    if SVG in request.headers.get("accept", ""):
        return await _picture(parts, draw, asked)
    return json_answer(await parts.long_answer(figures, asked), headers={"vary": "accept"})


async def _picture(parts: Parts, draw: Callable[..., str], asked: FiguresAsked) -> Response[bytes]:
    text = msgspec.json.decode(await parts.long_answer(draw, asked), type=str)
    return file_answer(text.encode(), SVG, headers=_ALONE)
