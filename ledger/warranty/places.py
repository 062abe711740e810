"""Where a ball is, by the book: one place each.

Pure. `elsewhere` is where the book says two things at once (scrapped, and still away in a shipment, say).
"""

from __future__ import annotations

from typing import Literal

Place = Literal["in-process", "in-stock", "shipped", "returned", "scrapped", "destroyed", "retained", "elsewhere"]

PLACES: tuple[Place, ...] = (
    "in-process",
    "in-stock",
    "shipped",
    "returned",
    "scrapped",
    "destroyed",
    "retained",
    "elsewhere",
)
"""In the order in which they are told."""

_OF_STATE: dict[str, Place] = {
    "made": "in-process",
    "engraved": "in-stock",
    "reworked": "in-stock",
    "released": "in-stock",
    "returned": "returned",
    "scrapped": "scrapped",
    "destroyed": "destroyed",
    "retained": "retained",
}


def place_of(state: str, away: str | None) -> Place:
    """The place of a ball in a state, ``away`` in a shipment that it did not come back from, or in none."""
    if state == "shipped":
        return "shipped"
    return "elsewhere" if away is not None else _OF_STATE.get(state, "elsewhere")
