"""Every reference vector of metrology is checked by some test here, or stands below with the reason why it is not."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.outside.metrology_vectors import VECTORS

NOT_HERE = {
    "posterior-normal-prior": "probabilities are told without a prior, and verdicts say so: nothing computes a posterior",
    "ra-closed-forms": "Ra comes from the gauge as a number: no profile is read",
    "shore-d-force": "hardness comes from the gauge as a number: no spring force is worked out",
    "iso8601-dur": "times of a plan are whole seconds: no ISO 8601 duration is read",
}
"""Vectors that nothing here has a home for."""


@pytest.fixture(scope="module")
def ids() -> list[str]:
    """The id of every vector."""
    if not VECTORS.is_file():
        pytest.skip("the reference vectors are not beside the project")
    return [one["id"] for one in json.loads(VECTORS.read_text("utf-8"))]


@pytest.fixture(scope="module")
def tests_text() -> str:
    """The text of the tests beside this one."""
    here = Path(__file__)
    return "\n".join(path.read_text("utf-8") for path in sorted(here.parent.glob("test_*.py")) if path != here)


def test_every_vector_is_named_or_has_a_reason(ids: list[str], tests_text: str) -> None:
    """No vector is passed over in silence."""
    assert [] == [id for id in ids if id not in NOT_HERE and f'"{id}"' not in tests_text]


def test_the_table_of_reasons_is_not_stale(ids: list[str], tests_text: str) -> None:
    """It names vectors that exist and that no test names."""
    assert [] == [id for id in NOT_HERE if id not in ids or f'"{id}"' in tests_text]
