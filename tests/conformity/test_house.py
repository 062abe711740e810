"""ledger.conformity.house: the plant's own rule, for all quantities or for some."""

from __future__ import annotations

import msgspec
import pytest

from ledger.conformity.house import HousePolicy, Rule
from tests.conformity.balls import requirement


def test_a_quantity_may_have_a_rule_of_its_own() -> None:
    """Hardness by three outcomes, everything else guarded."""
    policy = HousePolicy(decision="guarded", guard_r="0.83", quantities={"hardness": Rule("three_way")})
    assert Rule("three_way") == policy.rule_for(requirement())
    assert Rule("guarded", "0.83") == policy.rule_for(requirement(quantity="mass"))


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (Rule("simple"), "simple acceptance"),
        (Rule("guarded", "0.83"), "guarded acceptance, w = 0.83 U"),
        (Rule("three_way"), "three outcomes, 1.65 u"),
    ],
)
def test_a_rule_says_what_it_is(rule: Rule, words: str) -> None:
    """A report names the rule with its band."""
    assert words == rule.words


def test_a_policy_is_plain_json() -> None:
    """It can be kept in a record and read again."""
    policy = HousePolicy(decision="guarded", quantities={"hardness": Rule("simple")})
    assert policy == msgspec.json.decode(msgspec.json.encode(policy), type=HousePolicy)
