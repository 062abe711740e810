"""ledger.conformity.outcome: the worst of several outcomes, by the limit's rule and by the house's."""

from __future__ import annotations

from ledger.conformity.house import HousePolicy
from ledger.conformity.outcome import OUTCOMES, house_overall, overall, worst
from ledger.conformity.verdict import judge
from tests.conformity.balls import ball, reading, requirement


def test_outcomes_rank_from_worst_to_best() -> None:
    """Of any tail of the list its head is the worst, and nothing judged is not applicable."""
    assert list(OUTCOMES) == [worst(OUTCOMES[at:]) for at in range(len(OUTCOMES))]
    assert ("does_not_conform", "barred", "conforms", "not_applicable") == (
        OUTCOMES[0], OUTCOMES[3], OUTCOMES[4], worst([]),
    )  # fmt: skip


def test_the_house_s_worst_is_its_own() -> None:
    """Conforms by the limit, undecided by the house; without a policy there is none."""
    facts = ball({"hardness": reading("73.2", "shore_d", "hardness", u_scaled=800_000)})
    beside = [judge(requirement(), facts, policy=HousePolicy(decision="guarded"))]
    assert ("conforms", "undecided") == (overall(beside), house_overall(beside))
    assert None is house_overall([judge(requirement(), facts)])
