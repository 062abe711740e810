"""ledger.conformity.gauge_report: what a study's report says, and which convention it names."""

from __future__ import annotations

from fractions import Fraction

import pytest

from ledger.conformity.gauge_report import gauge_lines, interaction_pools, report_gauge_study
from ledger.errors import MalformedQuantity
from ledger.line.gauge_study import analyse, estimate, parse_layout, spread

QUIET = parse_layout([[["1.0", "3.0"], ["1.2", "3.2"]], [["1.4", "3.4"], ["1.6", "3.6"]]])
CROSSED = parse_layout([[["1.0", "3.0"], ["1.2", "3.2"]], [["3.4", "1.4"], ["3.6", "1.6"]]])
SILENT = parse_layout([[["1", "2"], ["1", "2"]], [["1", "2"], ["1", "2"]]])


def test_the_interaction_pools_above_alpha_alone() -> None:
    """No interaction at all has p 1 and pools; a crossed one does not; no scatter pools nothing."""
    assert (True, False, False) == tuple(interaction_pools(analyse(one)) for one in (QUIET, CROSSED, SILENT))
    assert not interaction_pools(analyse(QUIET), alpha=1.0)


def test_the_report_agrees_with_the_whole_millionths() -> None:
    """The standard deviations of the report and of the view differ by rounding alone."""
    for layout in (QUIET, CROSSED):
        report = report_gauge_study(layout)
        exact = spread(estimate(analyse(layout), pool=report.pooled))
        for id, whole in (("EV", exact.repeatability), ("AV", exact.operator), ("GRR", exact.grr), ("PV", exact.part)):
            assert abs(report.share(id).sd * 10**6 - whole) <= 0.5 + 1e-6


def test_contributions_add_up_and_percentages_do_not() -> None:
    """GRR and PV make up the variance; of the standard deviation they are more than the whole."""
    report = report_gauge_study(QUIET, tolerance=Fraction(2))
    grr, part, total = report.share("GRR"), report.share("PV"), report.share("TV")
    assert pytest.approx(100) == (grr.contribution or 0) + (part.contribution or 0)
    assert (grr.percent or 0) + (part.percent or 0) > 100
    assert pytest.approx((100, 600 * total.sd / 2)) == (total.percent, total.of_tolerance)


def test_a_stated_choice_stands_against_the_p_value() -> None:
    """What the study says about pooling is done, and the report says that it was stated."""
    report = report_gauge_study(QUIET, pool=False)
    assert (False, True, ("interaction",)) == (report.pooled, report.stated, report.clamped)
    lines = gauge_lines(report, "in", 4)
    assert "the interaction's p is 1.0000; kept apart, as the study states" in lines
    assert "estimated below zero and set to zero: interaction" in lines


def test_the_words_name_tests_figures_and_conventions() -> None:
    """A report on a small study, line by line where it matters."""
    lines = gauge_lines(report_gauge_study(QUIET, tolerance=Fraction(2)), "in", 4)
    assert "2 parts, 2 operators, 2 trials; mean 2.3000 in" == lines[0]
    assert any(line.startswith("operators: ") and "F 20.00 (against the equipment 16.00)" in line for line in lines)
    assert "the interaction's p 1.0000 is above alpha 0.25: pooled into the equipment" in lines
    assert any(line.startswith("GRR ") and line.endswith("91.0 % of tolerance") for line in lines)
    assert "ndc 6: the study tells so many groups of parts apart" in lines
    assert sum(line.startswith("convention: ") for line in lines) >= 5


def test_a_crossed_study_is_kept_apart_and_asks_for_more_categories() -> None:
    """Operators who disagree about the order of the parts leave a gauge that tells none apart."""
    lines = gauge_lines(report_gauge_study(CROSSED), "in", 4)
    assert any("is not above alpha 0.25: kept apart" in line for line in lines)
    assert any(line.startswith("ndc 0") and "5 or more" in line for line in lines)


def test_a_silent_gauge_is_not_praised() -> None:
    """Readings that repeat exactly give no F and no ndc, and the report asks about the resolution."""
    lines = gauge_lines(report_gauge_study(SILENT), "in", 4)
    assert any("is the resolution too coarse?" in line for line in lines)
    assert "ndc: cannot be given, the gauge shows no scatter" in lines


def test_nothing_at_all_varies() -> None:
    """One value throughout gives no percentage, and no error."""
    report = report_gauge_study([[[Fraction(1)] * 2] * 2] * 2)
    assert (None, None) == (report.share("GRR").percent, report.share("GRR").contribution)


@pytest.mark.parametrize("tolerance", [Fraction(0), Fraction(-1)])
def test_a_tolerance_of_nothing_is_refused(tolerance: Fraction) -> None:
    """A tolerance is an amount above 0."""
    with pytest.raises(MalformedQuantity):
        report_gauge_study(QUIET, tolerance=tolerance)


@pytest.mark.parametrize("alpha", [-0.1, 1.1, float("nan")])
def test_an_alpha_that_is_none_is_refused(alpha: float) -> None:
    """Alpha is a probability."""
    with pytest.raises(MalformedQuantity):
        report_gauge_study(QUIET, alpha=alpha)
