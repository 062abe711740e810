"""A lot judged over HTTP."""

from __future__ import annotations

from tests.api.running import Service


def test_a_lot_is_judged(service: Service) -> None:
    """Its mean, components and model each have a verdict; the samples and readings come with them."""
    answer = service["inspector"].get("/lots/SL-1/conformity", params={"rulebook": "usbc-2026"})
    said = answer.json()
    assert (200, "SL-1", 3) == (answer.status_code, said["lot"], said["balls"])
    assert {"lot_mean", "component", "model"} == {one["verdict"]["per"] for one in said["verdicts"]}


def test_what_is_unknown_or_not_allowed_is_a_problem(service: Service) -> None:
    """An unknown lot or rulebook, no rulebook, and an account without the role."""
    asked = {"rulebook": "usbc-2026"}
    found = [
        service["quality"].get("/lots/SL-9/conformity", params=asked),
        service["quality"].get("/lots/SL-1/conformity", params={"rulebook": "none"}),
        service["quality"].get("/lots/SL-1/conformity"),
        service["desk"].get("/lots/SL-1/conformity", params=asked),
    ]
    assert [404, 404, 400, 403] == [one.status_code for one in found]
