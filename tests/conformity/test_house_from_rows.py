"""The rule of the house from the row that states it."""

from __future__ import annotations

from ledger.conformity.house import HousePolicy, Rule
from ledger.conformity.house_from_rows import house_policy
from ledger.line.rows import ReleasePolicy
from tests.conformity.balls import requirement


def row(**fields: str) -> ReleasePolicy:
    """A policy of guarded acceptance."""
    said = {"address": "4.0", "scope": "plant", "decision": "guarded", "guard_r": "0.5", "quantities": "{}"}
    return ReleasePolicy(**{**said, "house": "shown", "undecided_by": "", **fields}, from_size=5)


def test_a_row_gives_the_rule_and_those_of_quantities() -> None:
    """A requirement is judged by the rule of its quantity, or by the common one."""
    house = house_policy(row(quantities='{"hardness":["three_way","1"],"mass":["guarded","2"]}'))
    assert (
        HousePolicy(
            decision="guarded", guard_r="0.5", quantities={"hardness": Rule("three_way"), "mass": Rule("guarded", "2")}
        )
        == house
    )
    assert house is not None
    assert Rule("three_way") == house.rule_for(requirement())
    assert Rule("guarded", "0.5") == house.rule_for(requirement(quantity="roughness", unit="uin"))


def test_the_same_row_gives_the_same_rule_and_none_gives_none() -> None:
    """It is worked out once for a policy."""
    assert house_policy(row()) is house_policy(row())
    assert house_policy(None) is None
