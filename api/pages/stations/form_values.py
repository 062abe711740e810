"""What the forms of a station's page are filled with: what was typed, else what was scanned, and what can be chosen."""

from __future__ import annotations

from typing import Any

from api.pages.catalogue import Catalogue
from api.pages.stations.answers import with_query
from api.pages.stations.finishing import BALL_STEPS
from api.pages.stations.lot_acts import CHANGES, HOWS, LOSSES, RECOUNTS
from api.pages.stations.stage_values import StagePage
from api.pages.stations.typed import Typed
from api.pages.words import worded
from ledger.application.at_station import OpenLot
from ledger.book.instant import instant_ms
from ledger.errors import MalformedInput

CLASSES = range(16, 3, -1)
"""Nominal pound classes that a record takes, heaviest first."""


def form_values(words: Catalogue, page: StagePage, typed: Typed, values: dict[str, Any], now_ms: int) -> dict[str, Any]:
    """What the templates of the forms need besides `page_values`."""
    began = _began(typed)
    demould_ms = _demould_ms(typed, values, began)
    taken: list[OpenLot] = list(values["taken"])
    earliest = max((lot.earliest_ms for lot in taken if lot.earliest_ms), default=0)
    return {
        "ways": worded(words, "loss-way", HOWS),
        "losses": worded(words, "line-reason", LOSSES),
        "recounts": worded(words, "line-reason", RECOUNTS),
        "changes": worded(words, "change", CHANGES),
        "classes": [(number, number) for number in CLASSES],
        "ball_steps": BALL_STEPS,
        "parent_lots": _parents(typed, taken),
        "batch_lots": _batches(typed, taken),
        "began": began,
        "demould_ms": demould_ms,
        "blocked": earliest > now_ms,
        "again": _again(page, typed),
    }


def _began(typed: Typed) -> str:
    try:
        return typed.instant("began")
    except MalformedInput:
        return ""


def _demould_ms(typed: Typed, values: dict[str, Any], began: str) -> int | None:
    """The instant from which a pour that has begun may be demoulded, by the plan of its model; None where none is set."""
    wanted = typed.id("model")
    for model, demould_s in values["models"]:
        if began and model.model == wanted and demould_s is not None:
            return instant_ms(began) + int(demould_s) * 1000
    return None


def _parents(typed: Typed, taken: list[OpenLot]) -> list[tuple[str, str, str, str]]:
    """Rows of lot, pieces, first and last place; a lot that was scanned goes in whole, unless another count is typed."""
    rows = typed.rows("parent", "pieces")
    if rows:
        return [
            (typed.id("parent", row), typed.row("pieces", row), typed.row("first", row), typed.row("last", row))
            for row in rows
        ]
    return [(lot.lot, str(lot.left) if lot.left > 0 else "", "", "") for lot in taken if lot.stage in {"block", "core"}]


def _batches(typed: Typed, taken: list[OpenLot]) -> list[tuple[str, str, str]]:
    """Rows of colour, lot and kilograms."""
    rows = typed.rows("colour", "batch", "kg")
    if rows:
        return [(typed.row("colour", row), typed.id("batch", row), typed.row("kg", row)) for row in rows]
    return [("", lot.lot, "") for lot in taken if lot.stage in {"batch", "material"}]


def _again(page: StagePage, typed: Typed) -> str:
    """The address of the same form once more, with what is typed in it."""
    address = f"/station/{page.stage}"
    for name, value in typed.pairs():
        address = with_query(address, **{name: value})
    return address
