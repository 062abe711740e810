"""A plant for the pages on limits: a dozen balls weighed and read for hardness, a rulebook of its own, and who may look."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.api.running import Service, engraved, running
from tests.pages.forms_sent import Browser, give_password

HARDNESSES = ("75.5", "74.0", "76.5", "75.0", "73.5", "76.0", "75.5", "66.0", "74.5", "75.0", "77.0", "74.5")
"""Shore D, ball by ball; one is under 73, the limit of `usbc-2026`."""

DUE = "2027-03-05T08:00:00.000+00:00"
CALIBRATED = "2026-03-01T08:00:00.000+00:00"
LATER = "2026-03-05T08:00:00.000+00:00"

GAUGE = {
    "kind": "gauge-registered", "at": CALIBRATED, "gauge": "HD1", "quantity": "hardness", "unit": "shore_d",
    "resolution": "0.5", "repeatability": "0.4",
}  # fmt: skip
GOOD = {
    "kind": "gauge-calibrated", "at": CALIBRATED, "gauge": "HD1", "as_found_good": True, "due_at": DUE,
    "expanded": "0.6", "k": "2",
}  # fmt: skip
SENT = {"kind": "shipment", "at": LATER, "shipment": "SH-1", "units": ["U-000002"], "purpose": "sample"}


@contextmanager
def limits_plant(folder: Path, **changes: Any) -> Iterator[Service]:
    """A running service with those balls; one went to a shop that is in no register. Every role has a password."""
    with running(folder, public_per_minute=60_000, public_burst=10_000, **changes) as service:
        assert 201 == service.say("quality", GAUGE, GOOD).status_code
        for number, hardness in enumerate(HARDNESSES, 1):
            readings = [
                {"quantity": "mass", "unit": "lb", "values": ["15.05"], "gauge": "G1"},
                {"quantity": "hardness", "unit": "shore_d", "values": [hardness], "gauge": "HD1"},
            ]
            body = engraved(number, readings=readings, at=f"2026-03-02T08:{number:02}:00.000+00:00")
            assert 201 == service["station"].post("/balls", json=body, headers=service.key()).status_code
        assert 201 == service.say("quality", {**SENT, "consignee": "A shop in a town"}).status_code
        for role in service.tokens:
            give_password(service, role)
        yield service


def browser_of(service: Service, role: str) -> Browser:
    """A browser in which the person of a role has signed in."""
    browser = Browser(service)
    assert 303 == browser.sign_in(f"The {role}").status_code
    return browser


def text_of(page: str) -> str:
    """The words of a page with single spaces between, without its tags."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())
