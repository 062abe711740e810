"""Mass checks over HTTP: for quality alone, one ball and a selection."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service, running


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service whose three balls are of a model that states no construction."""
    with running(tmp_path_factory.mktemp("masses"), balls=3, long_reads=1) as service:
        yield service


def test_one_ball_tells_what_is_missing(checked: Service) -> None:
    """Without a construction nothing is predicted, and what to record is said."""
    answer = checked["quality"].get("/balls/U-000001/mass-check").json()
    assert ("not_predicted", "U-000001") == (answer["outcome"], answer["ball"])
    assert any("states no construction" in said for said in answer["missing"])
    assert 404 == checked["quality"].get("/balls/U-9/mass-check").status_code


def test_a_selection_is_counted(checked: Service) -> None:
    """By outcome, with what is missing for how many; both conditions hold together."""
    answer = checked["quality"].get("/mass-checks", params={"lot": "SL-1", "model": "M1"}).json()
    assert (3, 3, []) == (answer["balls"], answer["counts"]["not_predicted"], answer["worst"])
    assert {3} == {one["balls"] for one in answer["missing"]}
    assert 0 == checked["quality"].get("/mass-checks", params={"lot": "SL-9"}).json()["balls"]
    assert 400 == checked["quality"].get("/mass-checks", params={"listed": "101"}).status_code


@pytest.mark.parametrize("role", ["station", "inspector", "desk", "auditor", "admin"])
def test_nobody_else_may_ask(checked: Service, role: str) -> None:
    """What it tells follows from withheld sizes."""
    for path in ("/mass-checks", "/balls/U-000001/mass-check"):
        assert 403 == checked[role].get(path).status_code
