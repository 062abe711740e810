"""The plant's release policy, stated in the book: the rule of the house, and what may go out as first quality.

A body's limit is judged by the body's own rule, always.  The policy says by which rule the house judges beside it, whether
first quality needs the house's answer too, and which roles may release a ball whose verdict is undecided.  It holds from
the entry after the one that states it, and is judged by entry, never by date, as the plant's other limits are
(`plant_rules`); it is not corrected, but followed by another.

First quality is for a ball that conforms, or is barred from some events and no more.  One that does not conform to a
body's limit, or was not measured for it, is never first quality: no policy says otherwise, and no field here could.

A release names the policy that it rests on, and the line takes it only while that one is in force.  Who may say that an
undecided ball goes out is checked where accounts are known, against the policy that the release *names*; so a policy
that changes between that check and the entry leaves a release that names the wrong one, and it is refused.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal

from msgspec import Meta

from ledger.book.canonical import encode
from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.kind import Kind, Setting
from ledger.line.plant_rules import PLANT
from ledger.line.quantity import QUANTITIES
from ledger.line.record import Part, Record, Slug
from ledger.line.rows import ReleasePolicy
from ledger.line.state import Need, State

POLICY_NEED = Need(ReleasePolicy, "scope", PLANT)
"""Every policy that was ever stated: they are few."""

POLICY_NODE = f"release-policy:{PLANT}"

UNFOUNDED = "release-unfounded"
"""The breach that holds a released ball, or a lot of them, when what its release rests on has changed."""

OUTRIGHT = frozenset({"conforms", "barred"})
"""The outcomes with which a ball is first quality whoever releases it."""

Decision = Literal["simple", "guarded", "three_way"]
GuardR = Annotated[
    str,
    Meta(pattern=r"^(0|[1-9][0-9]?)(\.[0-9]{1,3})?\Z", description="guard band as a multiple of U = 2u, 0 to 99.999"),
]
Role = Literal["station", "inspector", "quality", "desk", "auditor", "admin"]


class HouseRule(Part, frozen=True, kw_only=True):
    """The rule of the house for one quantity. ``guard_r`` counts under ``guarded`` alone."""

    quantity: Slug
    decision: Decision
    guard_r: GuardR = "1"


class ReleasePolicySet(Record, frozen=True, kw_only=True, tag="release-policy-set"):
    """The plant's release policy from the next entry on, all of it: what is left out has its default.

    ``decision``, ``guard_r``: the rule of the house, and ``quantities`` those for which it is another.  ``house``: its
    answer is ``shown`` beside the body's, or ``needed`` for first quality too.  ``undecided_by``: the roles that may
    release a ball whose verdict is undecided as first quality, besides the role that releasing takes; nobody, if none.
    """

    decision: Decision
    guard_r: GuardR = "1"
    quantities: Annotated[tuple[HouseRule, ...], Meta(max_length=60)] = ()
    house: Literal["shown", "needed"] = "shown"
    undecided_by: Annotated[tuple[Role, ...], Meta(max_length=6)] = ()


def policy_at(index: int, state: State) -> ReleasePolicy | None:
    """The policy in force for facts of an entry: the newest stated before it. Needs `POLICY_NEED`."""
    return newest_policy(row for row in state.where(ReleasePolicy, "scope", PLANT) if row.from_size <= index)


def newest_policy(rows: Iterable[ReleasePolicy]) -> ReleasePolicy | None:
    """The policy that is in force for the next entry, from every row; None where none was stated."""
    return max(rows, key=lambda row: parse_address(row.address), default=None)


def policy_row(fact: Fact) -> ReleasePolicy:
    """The row of a policy, from the fact that states it."""
    record: ReleasePolicySet = fact.record  # type: ignore[assignment]  # the caller looked
    rules = {rule.quantity: [rule.decision, rule.guard_r] for rule in record.quantities}
    return ReleasePolicy(
        address=fact.address,
        scope=PLANT,
        from_size=fact.index + 1,
        decision=record.decision,
        guard_r=record.guard_r,
        quantities=encode(rules).decode(),
        house=record.house,
        undecided_by=",".join(record.undecided_by),
    )


def roles_for_undecided(policy: ReleasePolicy | None) -> tuple[str, ...]:
    """The roles that may release an undecided ball as first quality under a policy; none without one."""
    return () if policy is None else tuple(role for role in policy.undecided_by.split(",") if role)


def check_policy_named(named: str | None, policy: ReleasePolicy | None) -> None:
    """A release names the policy in force, and none where none is. Raises RuleStands."""
    current = None if policy is None else policy.address
    if named != current:
        raise RuleStands(
            "the release rests on another release policy than the one in force",
            expected=current or "no policy: none is in force",
            got=named or "no policy",
            where="policy",
            mend="judge the ball by the policy in force (GET /release-policy), and release it on that",
        )


def rests_on_undecided(
    outcome: str, house: str | None, policy: ReleasePolicy | None, *, undecided: bool, where: str
) -> bool:
    """Whether a ball that comes out so is first quality only as an undecided one. Raises RuleStands where it is not.

    ``house``: how it comes out by the rule of the house; it counts where the policy needs it.  ``undecided``: whether the
    release says that it rests on an undecided verdict.
    """
    rests = False
    for field, found in (("outcome", outcome), ("house", house)):
        if field == "house" and (policy is None or policy.house != "needed"):
            continue
        if found in OUTRIGHT:
            continue
        may = roles_for_undecided(policy) if found == "undecided" else ()
        if not may:
            raise RuleStands(
                "first quality needs a ball that conforms"
                + (" by the rule of the house too" if field == "house" else ""),
                expected="conforms",
                got=found,
                where=f"{where}.{field}",
                mend="measure what is missing, rework the ball, or give it another grade; no concession changes a limit",
            )
        if not undecided:
            raise RuleStands(
                "the release rests on an undecided verdict and does not say so",
                expected="undecided: true",
                got="nothing of it",
                where=f"{where}.{field}",
                mend=f"say undecided: true, by an account that has the role {' or '.join(may)} too",
            )
        rests = True
    return rests


def _check(record: ReleasePolicySet, _state: State, _setting: Setting) -> list[Breach]:
    named: set[str] = set()
    for place, rule in enumerate(record.quantities):
        where = f"quantities[{place}].quantity"
        if rule.quantity not in QUANTITIES:
            raise UnknownSubject(
                f"no quantity {rule.quantity}",
                expected="one of " + ", ".join(QUANTITIES),
                where=where,
                mend="use one of the quantities listed",
            )
        if rule.quantity in named:
            raise Contradiction(f"two rules for {rule.quantity}", where=where, mend="state one rule a quantity")
        named.add(rule.quantity)
    if len(set(record.undecided_by)) != len(record.undecided_by):
        raise Contradiction("a role is named twice", where="undecided_by", mend="name each role once")
    return []


def _effects(fact: Fact, state: State) -> None:
    state.put(policy_row(fact))


RELEASE_POLICY_SET = Kind(
    ReleasePolicySet, "decision", lambda _record, _state: [POLICY_NEED], _check, _effects, lambda _record: [POLICY_NODE]
)
