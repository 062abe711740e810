"""The release policy in force, as it is judged by and as it is shown."""

from __future__ import annotations

import msgspec
from msgspec import UNSET, UnsetType

from ledger.conformity.house import Rule
from ledger.conformity.house_from_rows import house_policy
from ledger.line.plant_rules import PLANT
from ledger.line.release_policy import newest_policy, roles_for_undecided
from ledger.line.rows import ReleasePolicy
from ledger.store.reader import Reader


class PolicySeen(msgspec.Struct, frozen=True, kw_only=True):
    """The release policy for the next entry. ``stated`` is the fact that set it, empty where none was ever stated.

    Without one the house has no rule of its own, and nobody releases an undecided ball as first quality.
    ``words`` says all of it in sentences.
    """

    stated: str
    rule: Rule | UnsetType = UNSET
    quantities: dict[str, Rule] = {}
    house: str = "shown"
    undecided_by: tuple[str, ...] = ()
    words: tuple[str, ...] = ()


def policy_in_force(reader: Reader) -> ReleasePolicy | None:
    """The policy that the next release rests on; None where none was ever stated. One query, of few rows."""
    return newest_policy(reader.rows(ReleasePolicy, "scope", PLANT))


def policy_seen(reader: Reader) -> PolicySeen:
    """The policy in force, to be looked at."""
    row = policy_in_force(reader)
    house = house_policy(row)
    words = ("a ball that does not conform to a body's limit is never first quality",)
    if row is None or house is None:
        nobody = "nobody releases an undecided ball as first quality"
        return PolicySeen(stated="", words=(*words, "the house has no rule of its own", nobody))
    roles = roles_for_undecided(row)
    who = f"an account with the role {' or '.join(roles)}" if roles else "nobody"
    own = Rule(house.decision, house.guard_r)
    answer = (
        "is needed for first quality too" if row.house == "needed" else "is shown beside the body's, and stops nothing"
    )
    return PolicySeen(
        stated=row.address,
        rule=own,
        quantities=dict(house.quantities),
        house=row.house,
        undecided_by=roles,
        words=(
            *words,
            f"rule of the house: {own.words}",
            *(f"for {name}: {rule.words}" for name, rule in house.quantities.items()),
            f"its answer {answer}",
            f"{who} releases an undecided ball as first quality",
        ),
    )
