"""Balls found over HTTP."""

from __future__ import annotations

from tests.api.running import GTIN, STEM, Service


def test_a_half_worn_number_over_http(service: Service) -> None:
    """The candidates come with what tells them apart, and the answer says which place was not read."""
    answer = service["desk"].get("/find", params={"serial": "P00000?", "model": "M1", "listed": 2})

    assert 200 == answer.status_code
    found = answer.json()
    assert (3, 2) == (found["count"], len(found["balls"]))
    assert "3 balls of this book fit what was read; place 7 was not read" == found["says"][0]
    assert {"Grey"} == {colour for ball in found["balls"] for colour in ball["colours"]}


def test_a_scanned_label_over_http(service: Service) -> None:
    """The whole address of a label is taken as the number."""
    found = service["desk"].get("/find", params={"serial": f"{STEM}/01/{GTIN}/21/P000002"}).json()
    assert ["U-000002"] == [ball["unit"] for ball in found["balls"]]


def test_a_prefix_and_a_range_over_http(service: Service) -> None:
    """Both are answered as long reads are."""
    desk = service["desk"]
    assert 3 == desk.get("/find", params={"prefix": "P0000"}).json()["count"]
    assert 2 == desk.get("/find", params={"first": "P000002", "last": "P000009"}).json()["count"]


def test_what_cannot_be_found_is_refused_in_words(service: Service) -> None:
    """Too many unread places, no question at all, and an unknown filter each get their own answer."""
    desk = service["desk"]
    too_many = desk.get("/find", params={"serial": "???????"})
    assert (413, "serial") == (too_many.status_code, too_many.json()["where"])
    assert "made_from" in too_many.json()["mend"]
    assert 400 == desk.get("/find").status_code
    assert 400 == desk.get("/find", params={"serial": "P1", "colour": "red"}).status_code
    assert 400 == desk.get("/find", params={"serial": "P1", "made_to": "2026-02-30"}).status_code
    assert 401 == service.nobody.get("/find", params={"serial": "P1"}).status_code
