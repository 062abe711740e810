"""ledger.conformity.risk: what a decision rule costs over a production."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.probability import conformance_probability
from ledger.conformity.risk import Production, Tolerance, global_risk

SETTINGS = st.tuples(st.floats(-3, 3), st.floats(0.05, 2), st.floats(0, 1), st.floats(-0.3, 0.9))


@given(SETTINGS)
def test_the_shares_add_up(setting: tuple[float, float, float, float]) -> None:
    """Accepted is conforming less wrongly rejected plus wrongly accepted, and readings spread by both variances."""
    mean, sd, um, w = setting
    risk = global_risk(Production(mean, sd), um, Tolerance(-1, 1), w)
    assert math.isclose(risk.accepted, risk.conforming - risk.producer + risk.consumer, abs_tol=1e-10)
    read = conformance_probability(mean, math.hypot(sd, um), low=-1 + w, high=1 - w)
    assert math.isclose(read, risk.accepted, abs_tol=1e-10)


@given(SETTINGS, st.floats(0, 0.5))
def test_guarding_trades_one_risk_for_the_other(setting: tuple[float, float, float, float], more: float) -> None:
    """A wider guard band never raises the consumer's risk and never lowers the producer's."""
    mean, sd, um, w = setting
    less, wider = (global_risk(Production(mean, sd), um, Tolerance(-1, 1), band) for band in (w, w + more))
    assert wider.consumer <= less.consumer + 1e-12
    assert wider.producer >= less.producer - 1e-12


def test_a_perfect_gauge_without_guard_makes_no_error() -> None:
    """With um = 0 and w = 0 nobody is wronged."""
    risk = global_risk(Production(0, 1), 0, Tolerance(-1, 1))
    assert (0, 0) == (round(risk.consumer, 12), round(risk.producer, 12))


def test_a_production_without_spread_is_one_value() -> None:
    """All balls alike: on one side of the limit each error is that of one ball."""
    good, bad = (global_risk(Production(mean, 0), 1, Tolerance(low=0)) for mean in (1, -1))
    assert (0.0, 1.0) == (good.consumer, good.conforming)
    assert math.isclose(conformance_probability(-1, 1, low=0), good.producer)
    assert (0.0, 0.0) == (bad.producer, bad.conforming)
    assert math.isclose(conformance_probability(-1, 1, low=0), bad.consumer)


def test_guard_bands_that_meet_accept_nothing() -> None:
    """Where nothing is left between the limits all that conforms is rejected."""
    risk = global_risk(Production(0, 1), 0.5, Tolerance(-1, 1), 1.5)
    assert (0, 0) == (risk.consumer, risk.accepted)
    assert math.isclose(risk.conforming, risk.producer, rel_tol=1e-10)
