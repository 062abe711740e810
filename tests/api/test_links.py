"""Label addresses of balls that were just engraved."""

from __future__ import annotations

from api.links import KEPT_S, Links
from tests.plant import line_start, registration

GTIN = "09521234543213"
LINK = f"https://id.example.com/01/{GTIN}/21/P000001"


class Models:
    """Knows the GTIN of every lot, and can change its mind."""

    def __init__(self) -> None:
        """Nobody has asked yet."""
        self.asked = 0
        self.now = 0.0
        self.gtin = GTIN

    def look_up(self, _lot: str) -> str:
        """The GTIN of a lot."""
        self.asked += 1
        return self.gtin

    def links(self) -> Links:
        """Links over these models."""
        return Links("https://id.example.com", self.look_up, lambda: self.now)


def test_an_engraving_has_its_address() -> None:
    """The engraving in a submission gives one address, its reading none."""
    records = registration(1).records
    found = Models().links().of(records)

    assert [("U-000001", LINK, "/balls/U-000001/label.svg")] == [(one.unit, one.link, one.label) for one in found]


def test_a_model_without_a_gtin_has_no_address() -> None:
    """Where a lot's balls have no GTIN there is no address to give."""
    models = Models()
    models.gtin = ""

    assert () == models.links().of(registration(1).records)


def test_lots_are_remembered_for_a_moment() -> None:
    """A lot is looked up once, and again when its time is over."""
    models = Models()
    links = models.links()
    for number in range(5):
        links.of(registration(number).records)
    once = models.asked
    models.now = KEPT_S
    links.of(registration(6).records)

    assert (1, 2) == (once, models.asked)


def test_what_may_change_a_lot_makes_it_forgotten() -> None:
    """Balls and readings change no lot; anything else that is said makes the next look-up fresh."""
    models = Models()
    links = models.links()
    links.of(registration(1).records)
    links.heard(registration(2).records)
    links.of(registration(2).records)
    unchanged = models.asked
    links.heard(line_start()[0].records)
    links.of(registration(3).records)

    assert (1, 2) == (unchanged, models.asked)
