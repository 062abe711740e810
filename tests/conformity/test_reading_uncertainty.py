"""The uncertainty that a reading is judged with, from its own U or from what the book holds of its gauge."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.reading_uncertainty import GaugeGround, reading_uncertainty
from ledger.conformity.uncertainty import Calibration as Certificate
from ledger.conformity.uncertainty import Repeatability, mean_budget
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.standing_readings import Manner

HOW = Manner("lb", "G", "single", 1)


def gauge(**fields: Any) -> Gauge:
    """A scale with steps of 0.01 lb."""
    said: dict[str, Any] = {"gauge": "G", "quantity": "mass", "unit": "lb", "resolution_micro": 10_000}
    return Gauge(**{**said, "state": "calibrated", "address": "1.0", **fields})


def calibration(**fields: Any) -> Calibration:
    """A calibration with U = 0.02 lb, k = 2."""
    said: dict[str, Any] = {"calibration": "2.0", "gauge": "G", "at_ms": 1, "due_ms": 9, "good": True}
    return Calibration(**{**said, "expanded_micro": 20_000, "bias_micro": None, "kind": "calibration", **fields})


def study(**fields: Any) -> GaugeStudy:
    """A study with a repeatability of 0.006 lb."""
    said: dict[str, Any] = {"study": "3.0", "gauge": "G", "at_ms": 5, "unit": "lb", "repeatability": 6_000}
    said |= {"reproducibility": 0, "grr": 6_000, "part_variation": 1, "operators": 2, "trials": 3, "parts": 10}
    return GaugeStudy(**{**said, "repeat_df": 40, "pooled": False, **fields})


GROUND = GaugeGround(gauge(repeat_micro=9_000), calibration(), study())


@given(
    st.integers(1, 50),
    st.integers(0, 10**6),
    st.integers(0, 10**6),
    st.integers(0, 10**6),
    st.sampled_from([1_000_000, 2_000_000, 2_230_000]),
)
def test_it_is_the_budget_of_the_mean(n: int, s: int, expanded: int, step: int, k: int) -> None:
    """The same as the budget that a report prints, to half a millionth: scatter over n, calibration, resolution."""
    ground = GaugeGround(
        gauge(resolution_micro=step), calibration(expanded_micro=expanded, k_micro=k), study(repeatability=s)
    )
    found = reading_uncertainty(Manner("lb", "G", "mean", n), None, ground)
    budget = mean_budget(
        [15.1] * n,
        unit="lb",
        calibration=Certificate(U=expanded / 1e6, k=k / 1e6),
        resolution=step / 1e6,
        repeatability=Repeatability(s=s / 1e6, dof=40),
    )
    assert found.u_scaled is not None
    assert abs(found.u_scaled - budget.u * 1e6) <= 0.5 + 1e-6
    assert s == found.repeat_scaled


def test_a_stated_u_goes_before_all_else() -> None:
    """Half of it, k = 2; the study's scatter is kept beside it where it can be a part of it."""
    found = reading_uncertainty(HOW, 30_000, GROUND)
    assert (15_000, 6_000) == found[:2]
    assert "U = 0.03 lb stated with the reading, k = 2" == found.said
    assert (5_000, None) == reading_uncertainty(HOW, 10_000, GROUND)[:2]
    assert (5_000, 6_000) == reading_uncertainty(HOW._replace(statistic="mean", readings=2), 10_000, GROUND)[:2]


@pytest.mark.parametrize(
    ("ground", "s", "said"),
    [
        (GROUND, 6_000, "repeatability 0.006 lb (study 3.0)"),
        (GROUND._replace(study=None), 9_000, "repeatability 0.009 lb as registered"),
        (GROUND._replace(study=study(unit="kg")), 9_000, "repeatability 0.009 lb as registered"),
        (GROUND._replace(study=None, gauge=gauge()), None, "repeatability not known and left out"),
    ],
)
def test_the_scatter_is_of_the_study_else_as_registered_else_left_out(
    ground: GaugeGround, s: int | None, said: str
) -> None:
    """And which of them it is, is said."""
    found = reading_uncertainty(HOW, None, ground)
    assert s == found.repeat_scaled
    assert pytest.approx(math.hypot(s or 0, 10_000, 10_000 / math.sqrt(12)), abs=0.51) == found.u_scaled
    assert f"{said}; calibration U = 0.02 lb, k = 2 (fact 2.0); resolution 0.01 lb" == found.said


@pytest.mark.parametrize(
    ("ground", "said"),
    [
        (GaugeGround(), "not known: G is on record with another unit, or not at all"),
        (GROUND._replace(gauge=gauge(unit="kg")), "not known: G is on record with another unit, or not at all"),
        (GROUND._replace(calibration=None), "not known: no calibration of G states one"),
        (GROUND._replace(calibration=calibration(expanded_micro=None)), "not known: no calibration of G states one"),
    ],
)
def test_without_a_calibration_that_states_u_none_is_given(ground: GaugeGround, said: str) -> None:
    """Resolution and scatter alone would look better than the gauge is."""
    found = reading_uncertainty(HOW, None, ground)
    assert (None, said) == (found.u_scaled, found.said)


@pytest.mark.parametrize(
    ("statistic", "n", "share"), [("mean", 4, 1 / 4), ("median", 2, 1 / 2), ("median", 5, 11 / 35), ("range", 5, 1)]
)
def test_a_median_scatters_more_than_a_mean_and_a_range_as_one_reading(statistic: str, n: int, share: float) -> None:
    """Against the largest of many: pi over two in variance for a median; below one for a range."""
    found = reading_uncertainty(Manner("lb", "G", statistic, n), None, GROUND)
    expected = math.sqrt(6_000**2 * share + 10_000**2 + 10_000**2 / 12)
    assert pytest.approx(expected, abs=0.51) == found.u_scaled
    assert f"{statistic} of {n}" in found.said
    assert math.pi / 2 < 11 / 7


@pytest.mark.parametrize("expanded", [None, 30_000])
def test_a_bias_is_said_and_not_taken_off(expanded: int | None) -> None:
    """Found and left, each where it is not zero; the uncertainty stays what it was."""
    biased = GROUND._replace(calibration=calibration(bias_micro=5_000, left_micro=-1_000))
    found, plain = reading_uncertainty(HOW, expanded, biased), reading_uncertainty(HOW, expanded, GROUND)
    assert f"{plain.said}; bias found 0.005 lb, left -0.001 lb at calibration, not applied" == found.said
    assert plain[:2] == found[:2]
    none = GROUND._replace(calibration=calibration(bias_micro=0))
    assert plain == reading_uncertainty(HOW, expanded, none)
