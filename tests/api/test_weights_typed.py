"""A weight as a person writes it: taken in an explicit form, refused where it can be read two ways."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service, engraved, running
from tests.plant import AT

DUE = "2027-03-02T08:00:00.000+00:00"


@pytest.fixture(scope="module")
def scale(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service with a scale in pounds."""
    with running(tmp_path_factory.mktemp("scale")) as service:
        yield service


def weighed(number: int, typed: str) -> dict[str, object]:
    """A registration whose weight is typed."""
    return engraved(number, readings=[], weight={"typed": typed, "gauge": "G1"})


@pytest.mark.parametrize(("number", "typed", "pounds"), [(1, "15 lb 3 oz", "15.1875"), (2, "15.19 lb", "15.19")])
def test_an_explicit_weight_becomes_a_reading(scale: Service, number: int, typed: str, pounds: str) -> None:
    """In the unit that was written; ounces count as sixteenths of a pound, exactly."""
    answer = scale["station"].post("/balls", json=weighed(number, typed), headers=scale.key())
    assert 201 == answer.status_code
    entry = scale["auditor"].get(f"/entries/{answer.json()['entry']}").json()["entry"]
    [reading] = entry["said"]["records"][1]["readings"]
    assert ("mass", "lb", [pounds], "G1") == tuple(reading[part] for part in ("quantity", "unit", "values", "gauge"))


@pytest.mark.parametrize("typed", ["15-3", "15.3", "15"])
def test_a_weight_that_can_be_read_two_ways_is_refused(scale: Service, typed: str) -> None:
    """The reason is said, and how to write it."""
    answer = scale["station"].post("/balls", json=weighed(9, typed), headers=scale.key())
    problem = answer.json()
    assert (400, "weight.typed") == (answer.status_code, problem["where"])
    assert "15 lb 3 oz" in problem["mend"]


def test_a_weight_in_another_unit_than_the_scale_shows_is_refused(scale: Service) -> None:
    """Kilograms from a scale in pounds: named, with the mend; nothing is entered."""
    answer = scale["station"].post("/balls", json=weighed(9, "6.889 kg"), headers=scale.key())
    assert answer.status_code in {409, 400, 422}
    assert "gauge" in answer.json()["where"] or "unit" in answer.json()["where"]
    assert [] == scale["desk"].get("/balls", params={"serial": "P000009"}).json()["balls"]


def test_a_gauge_is_held_to_its_range_however_often_it_read_well(scale: Service) -> None:
    """After readings inside it, one outside is still refused."""
    gauge = {"kind": "gauge-registered", "at": AT, "gauge": "G-RANGE", "quantity": "mass", "unit": "lb"}
    good = {"kind": "gauge-calibrated", "at": AT, "gauge": "G-RANGE", "as_found_good": True, "due_at": DUE}
    told = scale.say("quality", {**gauge, "resolution": "0.01", "low": "10", "high": "16"}, good)
    assert 201 == told.status_code
    answers = [
        scale["station"].post(
            "/balls",
            json=engraved(number, readings=[], weight={"typed": typed, "gauge": "G-RANGE"}),
            headers=scale.key(),
        )
        for number, typed in ((21, "15.1 lb"), (22, "15.2 lb"), (23, "16.5 lb"))
    ]
    assert [201, 201, 409] == [answer.status_code for answer in answers]
    assert "range" in answers[-1].json()["detail"]
