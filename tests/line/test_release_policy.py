"""The release policy: from which entry on it holds, and what it lets out as first quality, and what nothing lets out."""

from __future__ import annotations

import itertools
from typing import Any, get_args

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.access.roles import ROLES
from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.corrections import Change, Correction
from ledger.line.holds import Concession
from ledger.line.release_policy import (
    HouseRule,
    ReleasePolicySet,
    Role,
    newest_policy,
    policy_at,
    rests_on_undecided,
    roles_for_undecided,
)
from ledger.line.releases import Basis, Outcome, Regrade
from ledger.line.rows import ReleasePolicy, Unit
from ledger.line.state import Need, NotLoaded, State
from ledger.line.vocabulary import AnyRecord
from tests.line.independent_fold import check_views
from tests.line.making import RULEBOOK, at, engrave, inspection, reading, release, sample, stocked_plant
from tests.line.plant import Plant

OUTCOMES: tuple[Any, ...] = get_args(Outcome)
FIT = {"conforms", "barred"}

OWN_ROLES = tuple(role for role in ROLES if role != "examiner")


def policy(**fields: Any) -> ReleasePolicySet:
    """A policy of guarded acceptance that is shown and lets nobody release what is undecided."""
    return ReleasePolicySet(**{"at": at(10), "decision": "guarded", **fields})


def measured() -> Plant:
    """A plant with one ball engraved, weighed, and its lot's sample accepted."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"), sample())
    return plant


def basis(outcome: Any = "conforms", house: Any = "conforms") -> tuple[Basis, ...]:
    """How the ball comes out by body A, and by the rule of the house."""
    return (Basis(rulebook="body-a", digest=RULEBOOK, outcome=outcome, house=house),)


def rows(plant: Plant) -> list[ReleasePolicy]:
    """Every policy stated."""
    return plant.tables.where(ReleasePolicy, "scope", "plant")


def test_a_policy_is_a_row_by_its_address() -> None:
    """Rules by quantity are canonical JSON, roles a comma list; what is left out has its default."""
    plant = Plant()
    rules = (HouseRule(quantity="hardness", decision="three_way"), HouseRule(quantity="mass", decision="simple"))
    first = plant.submit(policy(guard_r="0.5", quantities=rules, house="needed", undecided_by=("admin", "quality")))
    second = plant.submit(policy(decision="simple"))
    one, two = rows(plant)
    assert ("guarded", "0.5", '{"hardness":["three_way","1"],"mass":["simple","1"]}') == (
        one.decision, one.guard_r, one.quantities,
    )  # fmt: skip
    assert ("needed", ("admin", "quality"), first.at + 1) == (one.house, roles_for_undecided(one), one.from_size)
    assert ("{}", "shown", (), second.address) == (two.quantities, two.house, roles_for_undecided(two), two.address)
    assert () == roles_for_undecided(None)
    check_views(plant)


@pytest.mark.parametrize(
    "fields",
    [
        {"decision": "lenient"}, {"guard_r": "-1"}, {"guard_r": "100"}, {"guard_r": "1.0001"}, {"guard_r": ".5"},
        {"house": "ignored"}, {"undecided_by": ["owner"]}, {"undecided_by": ["quality"] * 7}, {"decision": None},
        {"quantities": [{"quantity": "mass"}]}, {"release": "does_not_conform"},
    ],
)  # fmt: skip
def test_a_policy_out_of_form_is_malformed(fields: dict[str, Any]) -> None:
    """Unknown rules, factors, roles and fields: there is no field by which a failing ball could be let out."""
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"kind": "release-policy-set", "at": at(1), "decision": "simple", **fields}, AnyRecord)


@pytest.mark.parametrize(
    ("fields", "error", "where"),
    [
        ({"quantities": (HouseRule(quantity="colour", decision="simple"),)}, UnknownSubject, "quantities[0].quantity"),
        (
            {
                "quantities": (
                    HouseRule(quantity="mass", decision="simple"),
                    HouseRule(quantity="mass", decision="simple"),
                )
            },
            Contradiction,
            "quantities[1].quantity",
        ),
        ({"undecided_by": ("quality", "quality")}, Contradiction, "undecided_by"),
    ],
)
def test_a_policy_that_says_nothing_clear_is_refused(fields: dict[str, Any], error: type, where: str) -> None:
    """A quantity that there is none of, two rules for one, a role twice."""
    refusal = Plant().refused(policy(**fields))
    assert (error, where) == (type(refusal), refusal.where)


def test_the_roles_are_those_of_the_accounts() -> None:
    """The line names the roles of the plant's own people: the table's, without those from outside."""
    assert OWN_ROLES == get_args(Role)


def test_a_policy_holds_from_the_next_entry_on() -> None:
    """A release in its own entry rests on what stood before; of two stated in one entry the last holds."""
    plant = measured()
    plant.submit(policy(), release(plant, "U-1"))
    assert "released" == plant.row(Unit, "U-1").state
    plant.submit(policy(), policy(house="needed"))
    state = State()
    state.load(Need(ReleasePolicy, "scope", "plant"), rows(plant))
    newest = newest_policy(rows(plant))
    assert newest is not None
    index = len(plant.entries)
    assert (None, f"{index - 2}.0", f"{index - 1}.1", "needed") == (
        policy_at(index - 2, state), policy_at(index - 1, state).address, newest.address, newest.house,  # type: ignore[union-attr]  # stated
    )  # fmt: skip
    assert newest == policy_at(index, state)
    with pytest.raises(NotLoaded):
        policy_at(1, State())


def test_addresses_count_as_numbers() -> None:
    """The policy of entry 10 is newer than that of entry 9."""
    row = ReleasePolicy(
        address="9.0", scope="plant", from_size=10, decision="simple", guard_r="1", quantities="{}", house="shown",
        undecided_by="",
    )  # fmt: skip
    later = msgspec.structs.replace(row, address="10.0", from_size=11)
    assert later == newest_policy([later, row])
    assert newest_policy([]) is None


def test_a_release_names_the_policy_in_force() -> None:
    """None where none is; the one in force where one is; and what it replaced is refused with its address."""
    plant = measured()
    assert "policy" == plant.refused(release(plant, "U-1", policy="0.0")).where
    assert "bases[0].house" == plant.refused(release(plant, "U-1", bases=basis())).where
    first = plant.submit(policy()).address
    assert (first, "no policy") == (
        plant.refused(release(plant, "U-1")).expected, plant.refused(release(plant, "U-1")).got,
    )  # fmt: skip
    assert "bases[0].house" == plant.refused(release(plant, "U-1", policy=first)).where
    judged = release(plant, "U-1", policy=first, bases=basis())
    second = plant.submit(policy()).address
    refusal = plant.refused(judged)
    assert (RuleStands, "policy", second, first) == (type(refusal), refusal.where, refusal.expected, refusal.got)
    assert "GET /release-policy" in refusal.mend
    plant.submit(release(plant, "U-1", policy=second, bases=basis()))
    check_views(plant)


def test_a_policy_in_the_same_group_comes_first() -> None:
    """A release that was judged before a policy is refused after it, whatever it says."""
    plant = measured()
    judged = release(plant, "U-1")
    plant.submit(policy(undecided_by=("quality",)))
    assert "policy" == plant.refused(judged).where


@pytest.mark.parametrize("grade", ["second", "house", "prototype", "demo"])
def test_other_grades_name_it_too_and_take_any_outcome(grade: str) -> None:
    """The policy is about first quality; ``undecided`` is said of that alone."""
    plant = measured()
    stated = plant.submit(policy(house="needed", undecided_by=("quality",))).address
    failing = basis("does_not_conform", "does_not_conform")
    assert "policy" == plant.refused(release(plant, "U-1", grade=grade, bases=failing)).where
    said = {"grade": grade, "policy": stated, "bases": failing}
    assert "undecided" == plant.refused(release(plant, "U-1", undecided=True, **said)).where
    plant.submit(release(plant, "U-1", **said))
    assert grade == plant.row(Unit, "U-1").grade


def test_what_is_not_undecided_is_not_said_to_be() -> None:
    """A ball that conforms is not released as an undecided one, nor one whose house outcome does not count."""
    plant = measured()
    assert "undecided" == plant.refused(release(plant, "U-1", undecided=True)).where
    stated = plant.submit(policy(undecided_by=("quality",))).address
    refusal = plant.refused(release(plant, "U-1", policy=stated, bases=basis(house="undecided"), undecided=True))
    assert ("undecided", True) == (refusal.where, "leave it out" in refusal.mend)


def test_an_undecided_ball_says_so() -> None:
    """Where a role may release it: said, it goes; left out, the roles are named; where nobody may, it is refused."""
    plant = measured()
    stated = plant.submit(policy(undecided_by=("quality", "admin"))).address
    said = {"policy": stated, "bases": basis("undecided")}
    refusal = plant.refused(release(plant, "U-1", **said))
    assert ("bases[0].outcome", True) == (refusal.where, "quality or admin" in refusal.mend)
    plant.submit(release(plant, "U-1", undecided=True, **said))
    assert "first" == plant.row(Unit, "U-1").grade
    plant = measured()
    stated = plant.submit(policy()).address
    refusal = plant.refused(release(plant, "U-1", policy=stated, bases=basis("undecided"), undecided=True))
    assert ("bases[0].outcome", True) == (refusal.where, "no concession" in refusal.mend)


def test_the_rule_of_the_house_counts_where_it_is_needed() -> None:
    """Shown: it stops nothing. Needed: failing it is refused, undecided by it takes the same permission."""
    for house, where in (("shown", None), ("needed", "bases[0].house")):
        for outcome in ("does_not_conform", "not_measured", "undecided"):
            plant = measured()
            stated = plant.submit(policy(house=house)).address
            judged = release(plant, "U-1", policy=stated, bases=basis(house=outcome))
            if where is None:
                plant.submit(judged)
            else:
                assert where == plant.refused(judged).where
    plant = measured()
    stated = plant.submit(policy(house="needed", undecided_by=("quality",))).address
    plant.submit(release(plant, "U-1", policy=stated, bases=basis(house="undecided"), undecided=True))


def test_a_policy_is_not_corrected_but_set_anew() -> None:
    """Neither withdrawn, nor put in the place of another fact, which would be to set it in the past."""
    plant = measured()
    stated = plant.submit(policy())
    error = plant.refused(Correction(at=at(12), reason="typed-wrong", changes=(Change(fact=stated.address),)))
    assert (Contradiction, "changes[0].fact") == (type(error), error.where)
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"fact": "2.0", "replacement": msgspec.to_builtins(policy())}, Change)


def test_a_corrected_release_rests_on_the_policy_of_its_own_entry() -> None:
    """A policy that was set since neither allows nor forbids what was said before it."""
    plant = measured()
    said = plant.submit(release(plant, "U-1", grade="second"))
    stated = plant.submit(policy(undecided_by=("quality",))).address
    wrong = release(plant, "U-1", policy=stated, bases=basis("undecided"), undecided=True)
    refusal = plant.refused(Correction(at=at(12), reason="x", changes=(Change(fact=said.address, replacement=wrong),)))
    assert "changes[0].replacement.policy" == refusal.where
    right = release(plant, "U-1")
    plant.submit(Correction(at=at(12), reason="x", changes=(Change(fact=said.address, replacement=right),)))
    assert "first" == plant.row(Unit, "U-1").grade
    check_views(plant)


POLICIES = st.one_of(
    st.none(),
    st.builds(
        policy,
        decision=st.sampled_from(["simple", "guarded", "three_way"]),
        house=st.sampled_from(["shown", "needed"]),
        undecided_by=st.lists(st.sampled_from(OWN_ROLES), unique=True).map(tuple),
    ),
)


@given(
    stated=POLICIES,
    outcome=st.sampled_from(OUTCOMES),
    house=st.sampled_from([*OUTCOMES, UNSET]),
    undecided=st.booleans(),
    conceded=st.booleans(),
)
def test_nothing_makes_a_failing_ball_first_quality(
    stated: Any, outcome: Any, house: Any, *, undecided: bool, conceded: bool
) -> None:
    """Whatever the policy, the house's answer, a concession and what is said: what is entered as first conforms, or is
    barred from some events, or is undecided, said to be, and let out by a role that the policy names.
    """
    plant = stocked_plant()
    engrave(plant, "U-1")
    found = plant.submit(inspection("U-1", reading(value="15.10"), at=at(9, "07:00")), sample())
    if conceded and found.breaches:
        plant.submit(Concession(at=at(10), node="unit:U-1", holds=(f"B{found.address}.0",), reason="as-it-is"))
    named = UNSET if stated is None else plant.submit(stated).address
    judged = release(plant, "U-1", policy=named, bases=basis(outcome, house), undecided=undecided)
    counted = [outcome, *([house] if stated is not None and stated.house == "needed" else [])]
    roles = () if stated is None else stated.undecided_by
    fit = all(one in FIT or (one == "undecided" and roles and undecided) for one in counted)
    sound = (house is UNSET) == (stated is None) and undecided == ("undecided" in counted)
    if fit and sound:
        plant.submit(judged)
        assert ("released", "first") == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").grade)
        assert outcome not in {"does_not_conform", "not_measured", "not_applicable"}
    else:
        plant.refused(judged)
        assert plant.row(Unit, "U-1").grade is None
    check_views(plant)


def test_the_law_as_a_table() -> None:
    """Every outcome under every sort of policy, with and without the word."""
    row = newest_policy([_row("shown", ""), _row("needed", "quality")])
    assert row is not None
    for outcome, house, role, needed, said in itertools.product(
        OUTCOMES, OUTCOMES, ["", "quality"], [False, True], [False, True]
    ):
        under = _row("needed" if needed else "shown", role)
        counted = [outcome, house] if needed else [outcome]
        fit = all(one in FIT or (one == "undecided" and role and said) for one in counted)
        if fit:
            found = rests_on_undecided(outcome, house, under, undecided=said, where="bases[0]")
            assert ("undecided" in counted) == found
        else:
            with pytest.raises(RuleStands):
                rests_on_undecided(outcome, house, under, undecided=said, where="bases[0]")


def _row(house: str, roles: str) -> ReleasePolicy:
    return ReleasePolicy(
        address="1.0", scope="plant", from_size=2, decision="guarded", guard_r="1", quantities="{}", house=house,
        undecided_by=roles,
    )  # fmt: skip


def test_no_regrade_makes_a_ball_first_quality() -> None:
    """First quality takes a release."""
    said = msgspec.to_builtins(Regrade(at=at(12), unit="U-1", grade="demo", reason="x"))
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({**said, "grade": "first"}, Regrade)
