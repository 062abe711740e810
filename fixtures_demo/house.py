"""What the plant holds itself to beyond a body's limits: the house's rule, a customer's limits, and its warranty terms."""

from __future__ import annotations

from pathlib import Path

from fixtures_demo import bends
from fixtures_demo.days import MINUTE, told
from fixtures_demo.story import Story
from ledger.application.adopting import rulebook_adoption
from ledger.application.terms_in_force import terms_adoption
from ledger.line.release_policy import HouseRule, ReleasePolicySet

CUSTOMER_RULEBOOK = "distributor-north"
CUSTOMER_FILE = Path(__file__).with_name(f"{CUSTOMER_RULEBOOK}.toml")

TERMS_FILE = Path(__file__).with_name("warranty-terms.toml")

HOUSE_QUANTITIES = ("hardness", "rg_low")
"""Judged by three outcomes in the house: a reading too near the limit shows neither."""


def tell_house(story: Story) -> None:
    """Say the release policy, and adopt the customer's limits and the warranty terms from their files."""
    at = bends.HOUSE_RULE_FROM
    policy = ReleasePolicySet(
        at=told(at),
        decision="simple",
        quantities=tuple(HouseRule(quantity=quantity, decision="three_way") for quantity in HOUSE_QUANTITIES),
        house="shown",
        undecided_by=("quality",),
    )
    story.say(at, "quality-1", "release-policy", [policy])
    story.do(at + 5 * MINUTE, lambda: _adopt(story))


def _adopt(story: Story) -> None:
    story.settle()
    for adoption, file in ((rulebook_adoption, CUSTOMER_FILE), (terms_adoption, TERMS_FILE)):
        _, waiting = story.book.adopt(adoption, file.read_bytes(), f"adopted-{file.stem}", story.people["quality-1"])
        waiting.result()
