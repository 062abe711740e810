"""Sampling plans over HTTP."""

from __future__ import annotations

import pytest

from tests.api.running import Service


def test_a_plan(service: Service) -> None:
    """Figures, letter, provenance, curve and words."""
    found = service["inspector"].get("/sampling-plan", params={"lot_size": 1000, "aql": "1.0"}).json()
    assert (80, 2, 3, "J", "second-hand") == tuple(found[name] for name in ("n", "Ac", "Re", "letter", "provenance"))
    assert {"failing_percent", "accepted"} == set(found["curve"][0])
    assert found["says"]


@pytest.mark.parametrize(
    ("asked", "where"),
    [
        ({"lot_size": 1, "aql": "1.0"}, "lot_size"),
        ({"lot_size": "many", "aql": "1.0"}, "lot_size"),
        ({"lot_size": 100, "aql": "7"}, "aql"),
        ({"lot_size": 100}, "aql"),
        ({"aql": "1.0"}, "lot_size"),
    ],
)
def test_what_has_no_plan(service: Service, asked: dict[str, str | int], where: str) -> None:
    """A problem that names the field and the mend."""
    answer = service["inspector"].get("/sampling-plan", params=asked)
    assert (400, where) == (answer.status_code, answer.json()["where"])
    assert answer.json()["mend"]
