"""Global risks of what the book's readings show: which uncertainty, which rules, and why there are none."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.application.process_capability import GroupCapability, capability_of
from ledger.application.process_figures import FiguresAsked
from ledger.application.process_risk import RiskSeen, percent
from ledger.conformity.moments import gather
from ledger.conformity.risk import Production, Tolerance, global_risk
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.application.floor import Floor, at, calibrated, engraved, inspected

SHORE = ("73.5", "75", "74.5", "76", "73.5", "75", "74", "75.5")


@pytest.fixture
def read(ready: Floor) -> Floor:
    """Eight balls with a hardness each, of a gauge whose newest calibration states U = 1."""
    ready.say(calibrated("hardness", 1, expanded="1"))
    for number, value in enumerate(SHORE):
        ready.say(engraved(f"U-{number}", f"P{number}"), inspected(f"U-{number}", 71 + number, hardness=value))
    return ready


def capability(floor: Floor, quantity: str = "hardness", **asked: Any) -> GroupCapability:
    """The one group against usbc-2026."""
    said = {"rulebook": "usbc-2026", "selection": Selection(), **asked}
    with open_reader(floor.book.store) as reader:
        [group] = capability_of(reader, FiguresAsked(quantity, **said)).groups
    return group


def risk(floor: Floor, quantity: str = "hardness", **asked: Any) -> RiskSeen:
    """Its risk."""
    found = capability(floor, quantity, **asked).risk
    assert found is not None
    return found


def test_simple_acceptance_against_the_pure_figure(read: Floor) -> None:
    """Mean and s of the readings, um of the calibration and the resolution; the house has no rule yet."""
    found = risk(read)
    moments = gather(round(float(value) * 1e6) for value in SHORE)
    um = (0.5**2 + 0.001**2 / 12) ** 0.5
    expected = global_risk(Production(float(moments.mean), moments.s), um, Tolerance(low=73))
    [rule] = found.rules
    assert ("lower", "simple", 0.0, "G-HARDNESS") == (rule.limit, rule.by, rule.w, found.gauge)
    assert (expected.consumer, expected.producer) == pytest.approx((rule.consumer, rule.producer), rel=1e-5)
    assert um == pytest.approx(found.um, abs=1e-6)
    assert "not known and not taken off" in found.says[0]
    assert f"RC {percent(rule.consumer)}" in rule.says
    assert set(found.says) <= set(capability(read).says)


def test_the_guard_of_the_house_trades_one_for_the_other(read: Floor) -> None:
    """A guard band w = rU: fewer wrongly accepted, more conforming ones not accepted; the policy's fact is named, a quantity's own rule counts."""
    own = [{"quantity": "hardness", "decision": "guarded", "guard_r": "0.5"}]
    policy = {"kind": "release-policy-set", "at": at(80), "decision": "three_way", "quantities": own}
    index = read.say(policy).index
    simple, house = risk(read).rules
    assert (("simple", 0.0), "house") == ((simple.by, simple.w), house.by)
    assert 0.5 * 2 * risk(read).um == pytest.approx(house.w)
    assert house.consumer < simple.consumer
    assert house.producer > simple.producer
    assert f"rule of the house: policy, fact {index}.0" in risk(read).says


def test_an_unknown_uncertainty_leaves_a_sentence(ready: Floor) -> None:
    """No calibration of the gauge states a U: no risk is given, and the figures say why and what would mend it."""
    for number in range(3):
        ready.say(engraved(f"U-{number}", f"P{number}"), inspected(f"U-{number}", hardness=str(74 + number)))
    found = capability(ready)
    assert found.risk is None
    assert any("no global risk" in line and "G-HARDNESS (3 readings)" in line for line in found.says)


def test_the_largest_of_several_gauges_counts(read: Floor) -> None:
    """A second, better gauge reads some balls: the larger u stands for all, and the answer says whose."""
    better = {
        "kind": "gauge-registered", "at": at(1), "gauge": "G-FINE", "quantity": "hardness", "unit": "shore_d",
        "resolution": "0.01",
    }  # fmt: skip
    read.say(better)
    read.say({**calibrated("hardness", 2, expanded="0.2"), "gauge": "G-FINE"})
    ball = inspected("U-F", 90, hardness="75")
    ball["readings"][0]["gauge"] = "G-FINE"
    read.say(engraved("U-F", "PF"), ball)
    found = risk(read)
    assert "G-HARDNESS" == found.gauge
    assert 0.5 == pytest.approx(found.um, abs=1e-3)
    assert any("the largest of 2 gauges (G-FINE, G-HARDNESS)" in line for line in found.says)


def test_what_repeating_adds_is_taken_off(ready: Floor) -> None:
    """A registered repeatability leaves the production's own spread; readings that scatter no more leave one value."""
    registered = {
        "kind": "gauge-registered", "at": at(1), "gauge": "G-R", "quantity": "hardness", "unit": "shore_d",
        "resolution": "0.01",
    }  # fmt: skip
    for name, repeat in (("G-R", "0.3"), ("G-W", "9")):
        ready.say({**registered, "gauge": name, "repeatability": repeat})
        ready.say({**calibrated("hardness", 2, expanded="0.2"), "gauge": name})
        for number, value in enumerate(SHORE):
            ball = inspected(f"{name}-{number}", 90, hardness=value)
            ball["readings"][0]["gauge"] = name
            ready.say(engraved(f"{name}-{number}", f"{name}{number}".replace("-", "")), ball)
        if name == "G-R":
            s = gather(round(float(value) * 1e6) for value in SHORE).s
            assert (s**2 - 0.3**2) ** 0.5 == pytest.approx(risk(ready).sd)
    assert ("G-W", 0.0) == (risk(ready).gauge, risk(ready).sd)
    assert any("all true values are taken as one" in line for line in risk(ready).says)


def test_two_limits_have_a_figure_each_and_one_together(read: Floor) -> None:
    """Circumference has both: the risks of each side, and of both at once, which are no less than either's."""
    read.say(calibrated("circumference", 2, expanded="0.02"))
    for number in range(4):
        read.say(inspected(f"U-{number}", 95, circumference=f"26.7{number}"))
    rules = {rule.limit: rule for rule in risk(read, "circumference").rules}
    assert {"lower", "upper", "both"} == set(rules)
    assert rules["both"].consumer == pytest.approx(rules["lower"].consumer + rules["upper"].consumer, abs=1e-9)


def test_a_stated_u_counts_before_the_gauge_s(ready: Floor) -> None:
    """U = 0.6 with the reading is um = 0.3, though no calibration states any; in the unit of the figure."""
    for number in range(3):
        ball = inspected(f"U-{number}", mass=f"15.1{number}")
        ball["readings"][0]["expanded"] = "0.6"
        ready.say(engraved(f"U-{number}", f"P{number}"), ball)
    assert 0.3 == pytest.approx(risk(ready, "mass").um)


def test_small_shares_say_so() -> None:
    """Less than one ball in a million is no figure."""
    assert ("below 0.0001 %", "1.23 %") == (percent(9e-7), percent(0.0123))
