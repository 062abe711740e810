"""Which station a browser stands at: the id that records name it by."""

from __future__ import annotations

import re
from typing import Any

from litestar import Request

from api.pages.session import session_at

STATION_COOKIE = "pourbook-station"


def station_name(request: Request[Any, Any, Any], stage: str) -> str:
    """The id of the station: as it was named in this browser, else after its enrolled device, else after the stage."""
    named = as_id(request.cookies.get(STATION_COOKIE, ""))
    session = session_at(request)
    device = session.device if session is not None else None
    return named or ("" if device is None else as_id(device.name)) or stage.upper()


def as_id(name: str) -> str:
    """A name as an id of records: capitals, digits, and a hyphen for whatever else stands between them."""
    return re.sub(r"[^A-Z0-9._]+", "-", name.upper()).strip("-._")[:40]
