"""ledger.conformity.same_limits: which changes of an edition leave what was judged by it standing."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.conformity.requirement import Method
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.same_limits import same_limits
from tests.conformity.balls import requirement

ROUGHNESS: dict[str, Any] = {"quantity": "roughness", "operator": "<=", "limits": ("50",), "unit": "uin"}


def edition(**fields: Any) -> Rulebook:
    """An edition that limits hardness, with fields of that limit replaced, and roughness."""
    limits = (requirement(**fields), requirement(id="rough", **ROUGHNESS))
    return Rulebook(
        format=1, id="own", body="Plant", edition="1", title="Own", made_event="engraving", requirement=limits
    )


@pytest.mark.parametrize(
    ("fields", "alike"),
    [
        ({"id": "other", "section": "7", "note": "read again", "provenance": "memory", "source": "a letter"}, True),
        ({"limits": ("72.5",)}, False),
        ({"operator": ">"}, False),
        ({"method": Method(readings=5)}, False),
        ({"effect": "bar"}, False),
        ({"decision": "three_way"}, False),
        ({"per": "model"}, False),
    ],
)
def test_only_what_a_reading_is_judged_by_counts(fields: dict[str, Any], alike: bool) -> None:  # noqa: FBT001  # drawn by name
    """Where a limit was read and what it is called is no matter; nothing of it matters to another quantity."""
    assert alike is same_limits(edition(), edition(**fields), "hardness")
    assert same_limits(edition(), edition(**fields), "roughness")


def test_the_event_that_dates_a_ball_counts_for_every_quantity() -> None:
    """It chooses which limit is in force."""
    other = msgspec.structs.replace(edition(), made_event="pour")
    assert not same_limits(edition(), other, "roughness")
    assert same_limits(edition(), other, "mass") is False
