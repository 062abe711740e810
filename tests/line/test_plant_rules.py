"""The plant's limits: from which entry on they hold, and that they mark no fact before it."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Contradiction
from ledger.line.corrections import Change, Correction
from ledger.line.plant_rules import RULES_NEED, LineRules, PlantRulesSet, newest_rules, rules_at
from ledger.line.rows import FactRow, PlantRules
from ledger.line.state import NotLoaded, State
from ledger.line.vocabulary import AnyRecord
from tests.line.independent_fold import check_views
from tests.line.making import at, batch, material, ready_plant
from tests.line.plant import Plant
from tests.strategies import shifted

SLOW = PlantRulesSet(at=at(1), late_s=86_400, doubtful_s=600)


def marks(plant: Plant, address: str) -> tuple[bool, bool]:
    """Late and doubtful."""
    row = plant.row(FactRow, address)
    return row.late, row.doubtful


def told(plant: Plant, lot: str, minutes: int, **fields: Any) -> str:
    """A drum of which the service hears so many minutes after the act; gives the fact's address."""
    return plant.submit(material(lot, **fields), now=shifted(at(1, "09:00"), minutes)).address


def state_of(plant: Plant) -> State:
    """A state that holds the plant's limits and nothing else."""
    state = State()
    state.load(RULES_NEED, plant.tables.where(RULES_NEED.row, RULES_NEED.column, RULES_NEED.value))
    return state


def test_what_is_left_out_has_its_default() -> None:
    """1 h and 2 min are common practice, no source; 3.80 g/mL is second-hand."""
    plant = Plant()
    assert LineRules() == rules_at(0, state_of(plant))
    plant.submit(PlantRulesSet(at=at(1)))
    assert (3_600_000, 120_000, 3_800_000) == (
        LineRules().late_ms,
        LineRules().doubtful_ms,
        LineRules().density_cap_micro,
    )
    assert LineRules(address="0.0") == rules_at(1, state_of(plant))
    plant.submit(PlantRulesSet(at=at(1), late_s=60))
    plant.submit(PlantRulesSet(at=at(1), density_cap="4.5"))
    assert LineRules(density_cap_micro=4_500_000, address="2.0") == rules_at(3, state_of(plant))
    assert "4.5" == rules_at(3, state_of(plant)).density_cap


@pytest.mark.parametrize(
    "fields",
    [
        {"late_s": 59}, {"late_s": 2_678_401}, {"doubtful_s": 0}, {"doubtful_s": 86_401}, {"density_cap": "0.99"},
        {"density_cap": "10"}, {"density_cap": "-3.8"}, {"density_cap": "3.1234567"}, {"density_cap": 3.8},
    ],
)  # fmt: skip
def test_a_limit_has_limits(fields: dict[str, Any]) -> None:
    """Out of any sense is malformed; the least and the most are taken."""
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"kind": "plant-rules-set", "at": at(1), **fields}, AnyRecord)
    least = {"late_s": 60, "doubtful_s": 1, "density_cap": "1"}
    most = {"late_s": 2_678_400, "doubtful_s": 86_400, "density_cap": "9.999999"}
    for taken in (least, most):
        msgspec.convert({"kind": "plant-rules-set", "at": at(1), **taken}, AnyRecord)


def test_limits_hold_from_the_next_entry_on() -> None:
    """What stands in the same entry, before them or after them, is marked by the earlier ones."""
    plant = ready_plant()
    entry = plant.submit(material("A"), SLOW, material("B"), now=at(1, "10:30"))
    after = told(plant, "C", 90)
    assert [(True, False), (True, False), (False, False)] == [
        marks(plant, address) for address in (entry.address, f"{entry.at}.2", after)
    ]


def test_the_last_of_one_entry_stands() -> None:
    """Two statements in one entry hold from the same entry on."""
    plant = Plant()
    plant.submit(SLOW, PlantRulesSet(at=at(1), late_s=120), material("A"))
    assert (120_000, "0.1") == (rules_at(1, state_of(plant)).late_ms, rules_at(1, state_of(plant)).address)
    assert LineRules() == rules_at(0, state_of(plant))


@pytest.mark.parametrize(("minutes", "expected"), [(24 * 60, (False, False)), (24 * 60 + 1, (True, False))])
def test_the_stated_limit_itself_is_kept(minutes: int, *, expected: tuple[bool, bool]) -> None:
    """Late is what came after more than that."""
    plant = ready_plant()
    plant.submit(SLOW)
    assert expected == marks(plant, told(plant, "A", minutes))


@pytest.mark.parametrize(
    ("minutes", "error_s", "doubtful"), [(-10, 0, False), (-11, 0, True), (0, 600, False), (0, 601, True)]
)
def test_a_doubtful_time_goes_by_the_stated_limit(minutes: int, error_s: int, *, doubtful: bool) -> None:
    """Ahead of the service's clock, or by its own statement."""
    plant = ready_plant()
    plant.submit(SLOW)
    assert (False, doubtful) == marks(plant, told(plant, "A", minutes, clock_error_s=error_s))


def test_the_density_cap_is_the_plants() -> None:
    """A batch above it is held; the breach names the fact that set it."""
    plant = ready_plant()
    rules = plant.submit(PlantRulesSet(at=at(1), density_cap="3.50"))
    assert [] == plant.submit(batch("MIX-1", ("RESIN", "1"), density="3.5")).codes
    assert not plant.ask(batch("MIX-3", ("RESIN", "1"), density="3.6")).may
    entered = plant.submit(batch("MIX-2", ("RESIN", "1"), density="3.6"))
    assert ["density-cap"] == entered.codes
    assert f"3.5 g/mL (set by fact {rules.address})" in entered.breaches[0].said


def test_a_corrected_fact_is_marked_by_the_limits_of_its_own_entry() -> None:
    """Whatever was set since: the report of 90 minutes stays late, and 3.7 g/mL was allowed."""
    plant = ready_plant()
    late = told(plant, "A", 90)
    mixed = plant.submit(batch("MIX-1", ("RESIN", "1"), density="3.9"))
    plant.submit(PlantRulesSet(at=at(1), late_s=86_400, density_cap="3.5"))
    again = plant.submit(
        Correction(
            at=at(3),
            reason="typed-wrong",
            changes=(
                Change(fact=late, replacement=material("A", kg="900")),
                Change(fact=mixed.address, replacement=batch("MIX-1", ("RESIN", "1"), density="3.7")),
            ),
        )
    )
    assert ([], (True, False)) == (again.codes, marks(plant, late))
    check_views(plant)


def test_limits_are_not_corrected_but_set_anew() -> None:
    """Neither withdrawn, nor put in the place of another fact, which would be to set them in the past."""
    plant = ready_plant()
    rules = plant.submit(SLOW)
    error = plant.refused(Correction(at=at(2), reason="typed-wrong", changes=(Change(fact=rules.address),)))
    assert (Contradiction, "changes[0].fact") == (type(error), error.where)
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"fact": "2.0", "replacement": msgspec.to_builtins(SLOW)}, Change)


def test_limits_are_looked_up_once() -> None:
    """The same object is given for every later entry; what was not loaded cannot be read."""
    plant = Plant()
    plant.submit(SLOW)
    state = state_of(plant)
    assert rules_at(1, state) is rules_at(900, state)
    assert rules_at(1, state) == newest_rules(list(plant.tables.rows[PlantRules].values()))  # type: ignore[arg-type]  # its rows
    with pytest.raises(NotLoaded):
        rules_at(1, State())


STEPS = st.lists(
    st.one_of(
        st.tuples(st.integers(60, 7_200), st.integers(1, 900)),
        st.tuples(st.integers(-20, 150), st.none()),
    ),
    max_size=12,
)
"""Limits set in seconds (late, doubtful), or a report told so many minutes after the act."""


@given(STEPS)
def test_setting_limits_changes_no_mark_before_it(steps: list[tuple[int, int | None]]) -> None:
    """Each fact keeps the marks that the newest limits before it gave; a rebuild and another fold give the same."""
    plant, rules = Plant(), (3_600, 120)
    expected: dict[str, tuple[bool, bool]] = {}
    for number, (first, second) in enumerate(steps):
        if second is None:
            expected[told(plant, f"M-{number}", first)] = (first * 60 > rules[0], -first * 60 > rules[1])
        else:
            plant.submit(PlantRulesSet(at=at(1), late_s=first, doubtful_s=second))
            rules = (first, second)
        assert expected == {address: marks(plant, address) for address in expected}
    check_views(plant)
