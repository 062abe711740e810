"""A population against its limits in one look: the same figures as apart, bins that add up, and guard bands by rule."""

from __future__ import annotations

import msgspec
import pytest
from msgspec import UNSET

from ledger.application.limits_answer import LimitsAnswer, limits_answer
from ledger.application.process_capability import capability_of
from ledger.application.process_figures import FiguresAsked
from ledger.errors import MalformedQuantity, NotFound
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.application.floor import Floor, at, calibrated, engraved, inspected

SHORE = ("73.5", "75", "74.5", "76", "72.5", "75", "74", "75.5")
HARDNESS = FiguresAsked("hardness", Selection(), rulebook="usbc-2026")


@pytest.fixture
def read(ready: Floor) -> Floor:
    """Eight balls with a hardness each, one under 73, and one ball without a number; U = 1 by the calibration."""
    ready.say(calibrated("hardness", 1, expanded="1"))
    for number, value in enumerate(SHORE):
        ready.say(engraved(f"U-{number}", f"P{number}"), inspected(f"U-{number}", 71 + number, hardness=value))
    return ready


def asked(floor: Floor, figures: FiguresAsked | None = HARDNESS, rulebook: str = "usbc-2026") -> LimitsAnswer:
    """The answer, sent and read again as a process does."""
    with open_reader(floor.book.store) as reader:
        raw = msgspec.json.encode(limits_answer(reader, Selection(), rulebook, figures))
    return msgspec.json.decode(raw, type=LimitsAnswer)


def test_both_parts_are_what_they_are_apart(read: Floor) -> None:
    """Conformity and capability are the answers of their own questions."""
    found = asked(read)
    assert read.book.conformity(Selection(), "usbc-2026") == found.conformity
    assert found.distribution is not UNSET
    with open_reader(read.book.store) as reader:
        alone = capability_of(reader, HARDNESS)
    assert msgspec.json.encode(alone) == msgspec.json.encode(found.distribution.figures)


def test_bins_add_up(read: Floor) -> None:
    """Every reading is in a bin, and those outside a limit are as many as the capability counts."""
    found = asked(read)
    assert found.distribution is not UNSET
    [bins] = found.distribution.bins.values()
    [group] = found.distribution.figures.groups
    assert group.capability is not None
    assert (len(SHORE), 1) == (sum(bins.counts), sum(bins.outside))
    assert sum(bins.outside) == group.capability.outside.below


def test_worst_balls_are_known_by_unit(read: Floor) -> None:
    """What a ball is called leads to its unit; a number that several bear leads to none."""
    assert "U-4" == asked(read).units["P4"]
    read.say(engraved("U-90", "P4", 100), inspected("U-90", 101, hardness="72.5"))
    assert "P4" not in asked(read).units


def test_bands_follow_the_rules(read: Floor) -> None:
    """The body's simple rule has none; three outcomes of the house lie on both sides, 1.65 u wide."""
    found = asked(read)
    assert found.distribution is not UNSET
    assert [()] == list(found.distribution.bands.values())
    read.say({"kind": "release-policy-set", "at": at(80), "decision": "three_way"})
    again = asked(read).distribution
    assert again is not UNSET
    [[band]] = again.bands.values()
    [group] = again.figures.groups
    assert group.risk is not None
    assert ("lower", "house", True) == (band.side, band.by, band.both_sides)
    assert 1.65 * group.risk.um == pytest.approx(band.w)


def test_without_a_quantity_there_is_no_distribution(read: Floor) -> None:
    """Outcomes alone are answered."""
    found = asked(read, None)
    assert (8, UNSET, "") == (found.conformity.tally.balls, found.distribution, found.left_out)


def test_why_there_is_no_distribution_is_said(read: Floor) -> None:
    """Too few readings refuse nothing of the rest; an unknown quantity or rulebook refuses all."""
    found = asked(read, HARDNESS._replace(quantity="top_weight"))
    assert (UNSET, True) == (found.distribution, "too few readings of top_weight" in found.left_out)
    with pytest.raises(MalformedQuantity):
        asked(read, HARDNESS._replace(quantity="loudness"))
    with pytest.raises(NotFound):
        asked(read, None, "none-such")
