"""Roles against the kinds of record and against actions."""

from __future__ import annotations

import pytest

from ledger.access.roles import MAY_DO, MAY_SAY, ROLES, check_may_do, check_may_say, check_roles
from ledger.errors import Forbidden
from ledger.line.vocabulary import RECORD_OF


def test_every_record_kind_has_its_row() -> None:
    """The table names every kind of record, and no other."""
    assert set(RECORD_OF) == set(MAY_SAY)


@pytest.mark.parametrize("table", [MAY_SAY, MAY_DO], ids=["say", "do"])
def test_rows_name_known_roles_and_at_least_one(table: dict[str, frozenset[str]]) -> None:
    """Nothing is in a table that nobody may do, and no role in it is unknown."""
    assert [row for row, roles in table.items() if not roles or not roles <= set(ROLES)] == []


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("kind", sorted(MAY_SAY))
def test_saying_agrees_with_the_table(role: str, kind: str) -> None:
    """A kind is allowed to exactly the roles of its row, and a refusal names them."""
    if role in MAY_SAY[kind]:
        check_may_say((role,), kind)
    else:
        with pytest.raises(Forbidden) as refused:
            check_may_say((role,), kind)
        assert all(allowed in str(refused.value.expected) for allowed in MAY_SAY[kind])


def test_auditors_only_look() -> None:
    """The auditor's role says no record of any kind."""
    assert [kind for kind, roles in MAY_SAY.items() if "auditor" in roles] == []


def test_roles_add_up() -> None:
    """An account with two roles may do what either of them may."""
    check_may_do(("desk", "station"), "warranty")
    check_may_do(("desk", "station"), "allot")


@pytest.mark.parametrize("roles", [(), ("desk",), ("keeper",)])
def test_actions_are_refused_without_the_role(roles: tuple[str, ...]) -> None:
    """An action without one of its roles is forbidden."""
    with pytest.raises(Forbidden):
        check_may_do(roles, "accounts")


def test_what_is_not_in_the_table_is_forbidden() -> None:
    """A kind or action that is not in the tables is allowed to nobody, not even all roles together."""
    with pytest.raises(Forbidden):
        check_may_say(ROLES, "no-such-kind")
    with pytest.raises(Forbidden):
        check_may_do(ROLES, "no-such-action")


@pytest.mark.parametrize("roles", [(), ("owner",), ("desk", "owner")])
def test_accounts_need_known_roles(roles: tuple[str, ...]) -> None:
    """An account is never made with no role, or with one that is unknown."""
    with pytest.raises(Forbidden):
        check_roles(roles)
