"""Claims on a number that no ball bears are linked with one another, from both sides."""

from __future__ import annotations

import pytest

from tests.application.desk_stories import seen
from tests.application.floor import Floor, claimed


@pytest.mark.parametrize("number", ["8812345", "X-99"])
def test_a_second_claim_on_a_number_that_nobody_bears_is_linked_both_ways(ready: Floor, number: str) -> None:
    """For the same fault it is flagged; for another it is the same number."""
    first = ready.say(claimed("C-1", serial=number))
    second = ready.say(claimed("C-2", 301, serial=number))
    assert "claim-repeated" in {breach.code for breach in second.breaches[0]}
    ready.say(claimed("C-3", 302, serial=number) | {"mode": "void"})
    links = {
        claim: [(one.claim, one.link, one.certainty) for one in seen(ready, claim).linked]
        for claim in ("C-1", "C-2", "C-3")
    }
    assert {
        "C-1": [("C-2", "later", "possible"), ("C-3", "later", "possible")],
        "C-2": [("C-1", "same fault", "possible"), ("C-3", "later", "possible")],
        "C-3": [("C-1", "same ball", "possible"), ("C-2", "same ball", "possible")],
    } == links
    assert (first.addresses[0],) == seen(ready, "C-2").linked[0].facts


def test_a_claim_without_a_number_is_linked_with_none(ready: Floor) -> None:
    """Nothing says that two of them are about one ball."""
    ready.say(claimed("C-1"))
    ready.say(claimed("C-2", 301))
    assert () == seen(ready, "C-2").linked


def test_a_consignee_that_is_not_registered_is_flagged(ready: Floor) -> None:
    """The claim is taken; that nobody knows who it came through is told."""
    ready.ball("U-1", "P-1")
    entry = ready.say(claimed("C-1", unit="U-1", via="SHOP-9"))
    assert ["claim-never-shipped", "claim-unknown-consignee"] == [breach.code for breach in entry.breaches[0]]
    ready.say({"kind": "consignee-registered", "at": "2026-10-01T00:00:00.000+00:00", "consignee": "SHOP-9",
               "name": "A shop", "market": "eu"})  # fmt: skip
    entry = ready.say(claimed("C-2", 301, unit="U-1", via="SHOP-9") | {"mode": "void"})
    assert ["claim-never-shipped"] == [breach.code for breach in entry.breaches[0]]
