"""Which pages an account may open, in the order in which the menu and the front page name them."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from api.pages.catalogue import N_
from ledger.access.roles import MAY_DO


class Place(NamedTuple):
    """A page in the menu: its name, what is done there, its address, and the action that opens it."""

    name: str
    job: str
    address: str
    action: str


PLACES = (
    Place(N_("Stations"), N_("Record a step, engrave, inspect."), "/station", "stations"),
    Place(N_("Balls"), N_("Everything about one ball, from its number."), "/ball", "look-up"),
    Place(N_("Lots"), N_("A lot, what is in it, and where it went."), "/lot", "look-up"),
    Place(N_("Shipments"), N_("Send balls off, take balls back."), "/shipment", "shipments"),
    Place(N_("Limits"), N_("Measured values against the limits, charts, and what changes when."), "/limits", "conformity"),
    Place(N_("Claims"), N_("Find a ball, open and answer a claim, see what lots have in common."), "/desk", "claims"),
    Place(N_("Cases"), N_("Stop, find and recall what a suspect touches."), "/containment", "cases"),
    Place(N_("Evidence"), N_("Approval files, dossiers, and what outside auditors may look at."), "/evidence", "approvals"),
    Place(N_("Examinations"), N_("What was granted to you to look at."), "/examination", "examine"),
    Place(N_("Book"), N_("What stands in the book, checked, and by whom it is signed."), "/book", "look-up"),
    Place(N_("People"), N_("Accounts, roles and tokens."), "/people", "accounts"),
    Place(N_("Devices"), N_("Devices of the stations."), "/devices", "devices"),
)  # fmt: skip


def places_for(roles: Collection[str]) -> list[Place]:
    """The pages that an account with these roles may open."""
    return [place for place in PLACES if not MAY_DO[place.action].isdisjoint(roles)]
