"""The plant's registers of gauges, claims and models."""

from __future__ import annotations

from tests.application.floor import (
    DAY_S,
    GAUGES,
    Floor,
    approval,
    at,
    calibrated,
    gauge_of,
    model,
    plan,
    registered,
    studied,
)  # fmt: skip


def test_gauges_tell_whether_they_may_be_used_now(floor: Floor) -> None:
    """A gauge in date may be used, one past its date or never calibrated may not, and says why."""
    floor.say(calibrated("mass", 10, due=999))
    floor.say({**registered("mass"), "gauge": "G-NEW"})
    seen = {gauge.gauge: gauge for gauge in floor.book.gauges()}
    assert len(GAUGES) + 1 == len(seen)
    assert (False, "the gauge was past its due date", at(999), 2) == (
        seen["G-MASS"].usable, seen["G-MASS"].why, seen["G-MASS"].due_at, seen["G-MASS"].calibrations,
    )  # fmt: skip
    assert (False, "the gauge was never calibrated", "", "registered") == (
        seen["G-NEW"].usable, seen["G-NEW"].why, seen["G-NEW"].due_at, seen["G-NEW"].state,
    )  # fmt: skip
    assert (True, "", "hardness", "shore_d") == (
        seen[gauge_of("hardness")].usable, seen[gauge_of("hardness")].why,
        seen[gauge_of("hardness")].quantity, seen[gauge_of("hardness")].unit,
    )  # fmt: skip


def test_the_latest_calibration_says_when_the_next_is_due(floor: Floor) -> None:
    """A shorter interval takes the place of a longer one that was set before."""
    floor.say(calibrated("mass", 10, due=1_200))
    (mass,) = [gauge for gauge in floor.book.gauges() if gauge.gauge == "G-MASS"]
    assert (at(1_200), True) == (mass.due_at, mass.usable)


def test_gauges_tell_their_figures_and_studies(floor: Floor) -> None:
    """Range, definition and resolution; U, k and bias of the latest calibration; repeatability of the newest study."""
    said = {
        **registered("mass"),
        "gauge": "G-NEW",
        "low": "1",
        "high": "20.5",
        "definition": "weighed",
        "repeatability": "1",
    }
    floor.say({**said, "resolution": "0.01"})
    floor.say({**calibrated("mass", 9), "gauge": "G-NEW", "expanded": "0.02", "as_found": "-0.010", "as_left": "0"})
    (gauge,) = [one for one in floor.book.gauges() if one.gauge == "G-NEW"]
    assert ("0.01", "1", "20.5", "weighed", "1") == (
        gauge.resolution, gauge.low, gauge.high, gauge.definition, gauge.repeatability,
    )  # fmt: skip
    assert ("0.02", "2", "-0.01", "0", ()) == (
        gauge.expanded, gauge.k, gauge.bias_found, gauge.bias_left, gauge.studies,
    )  # fmt: skip
    second = floor.say({**studied("mass", 20), "gauge": "G-NEW"})
    first = floor.say({**studied("mass", 10), "gauge": "G-NEW"})
    (gauge,) = [one for one in floor.book.gauges() if one.gauge == "G-NEW"]
    assert [first.addresses[0], second.addresses[0]] == [study.fact for study in gauge.studies]
    assert (gauge.studies[1].repeatability, 2, 2, 2, "lb", False) == (
        gauge.repeatability, *(getattr(gauge.studies[0], name) for name in ("operators", "trials", "parts", "unit", "pooled")),
    )  # fmt: skip


def test_models_tell_the_plan_in_force_now(floor: Floor) -> None:
    """Of several plans the latest begun counts, and one that begins later does not; approvals go with their model."""
    floor.say(model("M2", "09521234000013", core="asymmetric"))
    now = floor.say(plan("M1", at=at(1_000), windows=[{"stage": "final-cure", "min_s": 2 * DAY_S}], rulebooks=[]))
    floor.say(plan("M1", at=at(1_001)), approval("M2", at=at(10), status="refused"))
    one, two = floor.book.models()
    assert (now.addresses[0], [2 * DAY_S], ()) == (one.plan, [window.min_s for window in one.windows], one.rulebooks)
    assert [("usbc", "approved")] == [(answer.body, answer.status) for answer in one.approvals]
    assert ("M2", "asymmetric", "", ()) == (two.model, two.core, two.plan, two.windows)
    assert ["refused"] == [answer.status for answer in two.approvals]
