"""The release policy as it is judged by and shown."""

from __future__ import annotations

from msgspec import UNSET

from ledger.application.release_policies import policy_in_force, policy_seen
from ledger.conformity.house import Rule
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.application.floor import Floor
from tests.application.own_files import doubted, state_policy


def test_without_a_policy_the_house_has_no_rule(ready: Floor) -> None:
    """Nothing is judged by the house, and what is shown says so."""
    ready.ball("U-1", "P-1")
    with open_reader(ready.book.store) as reader:
        seen = policy_seen(reader)
        assert policy_in_force(reader) is None
    assert ("", True) == (seen.stated, "the house has no rule of its own" in seen.words)
    (judged,) = ready.book.judged("U-1")
    assert (UNSET, UNSET) == (judged.house, judged.policy)


def test_the_newest_policy_is_shown_in_words(ready: Floor) -> None:
    """Rule, quantities, whether it is needed, and who may release what is undecided."""
    state_policy(ready)
    stated = state_policy(
        ready,
        guard_r="0.5",
        quantities=[{"quantity": "mass", "decision": "simple"}],
        house="needed",
        undecided_by=["admin", "quality"],
    )
    with open_reader(ready.book.store) as reader:
        seen = policy_seen(reader)
    assert (stated, Rule("guarded", "0.5"), {"mass": Rule("simple")}) == (seen.stated, seen.rule, seen.quantities)
    assert ("needed", ("admin", "quality")) == (seen.house, seen.undecided_by)
    assert (
        "a ball that does not conform to a body's limit is never first quality",
        "rule of the house: guarded acceptance, w = 0.5 U",
        "for mass: simple acceptance",
        "its answer is needed for first quality too",
        "an account with the role admin or quality releases an undecided ball as first quality",
    ) == seen.words


def test_every_verdict_says_both(ready: Floor) -> None:
    """A ball inside the body's limit by less than the guard band conforms, and is undecided by the rule of the house."""
    doubted(ready, "U-1", "P-1")
    stated = state_policy(ready)
    (judged,) = ready.book.ball("U-1").judged
    assert ("conforms", "undecided", stated) == (judged.outcome, judged.house, judged.policy)
    (hard,) = (one for one in judged.verdicts if one.requirement == "usbc.hardness")
    assert ("conforms", "undecided", "4") == (hard.outcome, hard.house.outcome, hard.house.guard_band)  # type: ignore[union-attr]  # judged
    answer = ready.book.conformity(Selection(), "usbc-2026", listed=1)
    assert (stated, "undecided") == (answer.policy, answer.balls[0].judged.house)
    assert (1, 1) == (answer.tally.overall["conforms"], answer.tally.house_overall["undecided"])  # type: ignore[index]  # judged
