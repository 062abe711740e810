"""Gauges: which may be used now and why, one gauge with its calibrations and studies; and sampling plans of lots."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath
from msgspec import Meta

from api.guards import may_do
from api.pages.limits.answering import read_typed, typed_in
from api.pages.limits.tabs import GAUGES, SAMPLING, limits_page, of_limits
from api.parts import parts_of
from api.problems import problem_of
from ledger.application.gauge_view import READINGS, GaugeAsked, GaugeView, gauge_view
from ledger.application.pourbook import Pourbook
from ledger.application.sampling_plans import AQLS, sampling_plan
from ledger.errors import LedgerError
from ledger.line.quantity import UNITS
from ledger.store.reader import open_reader

CHECKS_SHOWN = 20
"""Shift checks and calibrations of one gauge that its page shows: the newest."""


class LotToSample(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``lot_size``: balls of the lot; ``aql``: acceptable quality level in per cent failing, as the table prints it."""

    lot_size: Annotated[int, Meta(ge=2, le=10**9)]
    aql: Annotated[str, Meta(min_length=1, max_length=8)]


class GaugePages(Controller):
    """What is measured with, and how many of a lot are measured."""

    @get(GAUGES, opt=of_limits("Gauges", "look-up"))
    async def listed(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every gauge: may it be used now, and why not."""
        parts = parts_of(request)
        gauges = await parts.long_read(parts.book.gauges)
        return limits_page(
            request,
            "gauges.html",
            gauges=sorted(gauges, key=lambda one: (one.usable, one.quantity, one.gauge)),
            printed=_printed,
            at_ms=parts.book.clock_ms(),
            may_ask=may_do(request, "conformity"),
        )

    @get(f"{GAUGES}/{{gauge:str}}", opt=of_limits("One gauge", "look-up"))
    async def one(self, request: Request[Any, Any, Any], gauge: FromPath[str]) -> Response[bytes]:
        """Its calibrations, studies, and the uncertainty of what it reads."""
        parts = parts_of(request)
        view = await parts.long_read(_view, parts.book, gauge)
        return limits_page(
            request,
            "gauge.html",
            view=view,
            unit=UNITS[view.gauge.unit].printed,
            turns=view.calibrations[::-1][:CHECKS_SHOWN],
            may_ask=may_do(request, "conformity"),
        )

    @get(SAMPLING, opt=of_limits("Sampling plan of a lot", "look-up"))
    async def sampling(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """How many to take, when to reject, and what the plan lets through."""
        typed: dict[str, str] = {}
        problem = plan = None
        try:
            typed = typed_in(request)
            if typed:
                wanted = read_typed(typed, LotToSample)
                plan = await parts_of(request).long_read(sampling_plan, wanted.lot_size, wanted.aql)
        except LedgerError as error:
            problem = problem_of(error, SAMPLING).problem
        status = 200 if problem is None else problem.status
        return limits_page(
            request,
            "sampling.html",
            status=status,
            typed=typed,
            aqls=[(one, one) for one in AQLS],
            problem=problem,
            plan=plan,
        )


def _view(book: Pourbook, gauge: str) -> GaugeView:
    with open_reader(book.store) as reader:
        return gauge_view(reader, gauge, GaugeAsked(READINGS), book.clock_ms())


def _printed(unit: str) -> str:
    return UNITS[unit].printed
