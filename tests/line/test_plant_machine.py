"""Random plants: pours, splits, holds, releases, corrections of whatever was said, and submissions that must be refused.

After every step the accounts add up; at the end the live rows equal a rebuild, a fold of every node anew, and the
independent fold.  A release that was entered had no stopping hold above it, and rested on what was in force.
"""

from __future__ import annotations

import pytest
from hypothesis import settings
from hypothesis.stateful import run_state_machine_as_test

from tests.line.machine_approvals import ApprovalRules
from tests.line.machine_balls import BallRules
from tests.line.machine_changes import ChangeRules
from tests.line.machine_lots import LotRules
from tests.line.machine_office import OfficeRules


class RandomPlant(LotRules, BallRules, OfficeRules, ApprovalRules, ChangeRules):
    """Everything that a plant says, in any order."""


class RandomFiles(ApprovalRules, OfficeRules):
    """Approval files above all, and the office around them."""


def test_random_approval_files_keep_their_laws() -> None:
    """40 plants of up to 50 steps, most of them about one file."""
    run_state_machine_as_test(RandomFiles, settings=settings(max_examples=40, stateful_step_count=50))


def test_random_plants_keep_their_invariants() -> None:
    """150 plants of up to 40 steps."""
    run_state_machine_as_test(RandomPlant, settings=settings(max_examples=150, stateful_step_count=40))


@pytest.mark.full
def test_many_random_plants_keep_their_invariants() -> None:
    """600 plants of up to 60 steps."""
    run_state_machine_as_test(RandomPlant, settings=settings(max_examples=600, stateful_step_count=60))
