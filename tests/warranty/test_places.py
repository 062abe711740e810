"""Where a ball is, by its state and shipment."""

from __future__ import annotations

import pytest

from ledger.warranty.places import PLACES, place_of


@pytest.mark.parametrize(
    ("state", "away", "place"),
    [
        ("made", None, "in-process"),
        ("engraved", None, "in-stock"),
        ("reworked", None, "in-stock"),
        ("released", None, "in-stock"),
        ("shipped", "SH-1", "shipped"),
        ("returned", None, "returned"),
        ("scrapped", None, "scrapped"),
        ("destroyed", None, "destroyed"),
        ("retained", None, "retained"),
        ("scrapped", "SH-1", "elsewhere"),
        ("reworked", "SH-1", "elsewhere"),
        ("imported", None, "elsewhere"),
    ],
)
def test_every_ball_has_one_place(state: str, away: str | None, place: str) -> None:
    """A ball that ended while it was away is elsewhere: the book says two things."""
    assert place == place_of(state, away)
    assert place in PLACES
