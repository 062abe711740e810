"""The pages of this concern, as a second menu, for who may open them; and a page with that menu."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from litestar import Request, Response

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.catalogue import N_
from api.pages.menu import Place
from api.pages.page import page
from ledger.access.roles import MAY_DO

LIMITS = "/limits"
CHARTS = "/limits/charts"
CHANGES = "/limits/changes"
RULEBOOKS = "/limits/rulebooks"
GAUGES = "/limits/gauges"
SAMPLING = "/limits/sampling"

TABS = (
    Place(N_("Population"), N_("Balls against their limits."), LIMITS, "conformity"),
    Place(N_("Control charts"), N_("Whether the process is stable."), CHARTS, "conformity"),
    Place(N_("What changes when"), N_("A rule changes, a gauge was wrong, a correction lands."), CHANGES, "conformity"),
    Place(N_("Rulebooks"), N_("The limits, and where they were read."), RULEBOOKS, "look-up"),
    Place(N_("Gauges"), N_("Which may be used now."), GAUGES, "look-up"),
    Place(N_("Sampling"), N_("How many of a lot to inspect."), SAMPLING, "look-up"),
)


def of_limits(summary: str, action: str = "conformity") -> dict[str, Any]:
    """The description of a page of this concern."""
    return described(Operation(summary, "pages", action=action, media=HTML, page=True, may_lag=True))


def limits_page(request: Request[Any, Any, Any], template: str, *, status: int = 200, **values: Any) -> Response[bytes]:
    """A page of ``templates/limits`` with the tabs that its reader may open."""
    return page(request, f"limits/{template}", status=status, tabs=tabs_for(account_of(request).roles), **values)


def tabs_for(roles: Collection[str]) -> list[Place]:
    """The tabs of an account with these roles."""
    return [tab for tab in TABS if not MAY_DO[tab.action].isdisjoint(roles)]
