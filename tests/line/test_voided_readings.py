"""ledger.line.voided_readings: what work can have changed. What it takes out of a ball's row is in test_inspections."""

from __future__ import annotations

import pytest

from ledger.line.voided_readings import VOIDED, changed_by


@pytest.mark.parametrize("operation", sorted(VOIDED))
def test_every_rework_touches_the_surface(operation: str) -> None:
    """Each names its quantities once, and what plugging or turning moves about includes how the ball is balanced."""
    changed = VOIDED[operation]
    assert len(set(changed)) == len(changed)
    assert {"hardness", "roughness"} <= set(changed)
    balance = {"rg_low", "differential", "static_imbalance", "pin_to_cg", "top_weight"}
    assert (balance <= set(changed)) == (operation in {"re-turn", "plug", "re-pour"})


def test_a_step_of_making_changes_what_the_rework_like_it_does() -> None:
    """Cleaning, resting and filling a pin hole change nothing that is measured of a ball."""
    assert VOIDED["polish"] == changed_by("polished")
    assert VOIDED["resurface"] == changed_by("sanded") == changed_by("finished")
    assert VOIDED["re-turn"] == changed_by("turned")
    assert () == changed_by("cleaned") == changed_by("changed shift to NIGHT at 4")
