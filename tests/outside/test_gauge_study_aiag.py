"""The gauge study against AIAG's worked example, and against another implementation of the analysis of variance.

AIAG, Measurement Systems Analysis, 4th edition, chapter III, Tables III-B (from memory): 10 parts, 3 appraisers, 3 trials.
"""

from __future__ import annotations

from fractions import Fraction
from random import Random

import numpy as np
import pytest
from scipy import stats

from ledger.conformity.gauge_report import Row, report_gauge_study
from ledger.line.gauge_study import analyse, estimate, parse_layout, spread
from tests.outside.metrology_vectors import vector


def rows_of(study: tuple[tuple[tuple[Fraction, ...], ...], ...]) -> dict[str, Row]:
    """The report's table by name."""
    return {row.name: row for row in report_gauge_study(study).rows}


def test_the_worked_example_comes_out() -> None:
    """Vector grr-aiag: sums of squares, the interaction's test, all standard deviations and per cents, ndc."""
    inputs, expected, tolerance = vector("grr-aiag")
    layout = parse_layout([[[str(value) for value in trial] for trial in operator] for operator in inputs["data"]])
    report = report_gauge_study(layout)
    table = {row.name: row for row in report.rows}
    interaction = table["operators x parts"]
    found = {
        "SS_operator": table["operators"].ss,
        "SS_part": table["parts"].ss,
        "SS_interaction": interaction.ss,
        "SS_equipment": table["equipment"].ss,
        "SS_total": table["total"].ss,
        "F_interaction": interaction.f,
        "p_interaction": interaction.p,
        **{id: report.share(id).sd for id in ("EV", "AV", "INT", "GRR", "PV", "TV")},
        "pct_GRR": report.share("GRR").percent,
        "pct_PV": report.share("PV").percent,
        "ndc": report.ndc,
    }
    assert inputs["pool_interaction"] == report.pooled
    assert {name: pytest.approx(value, rel=tolerance) for name, value in expected.items()} == found


def test_the_view_holds_the_printed_figures() -> None:
    """In whole millionths, to the manual's printed .199933, .226838, .302373, 1.042327 (it rounds on the way)."""
    inputs, _, _ = vector("grr-aiag")
    layout = parse_layout([[[str(value) for value in trial] for trial in operator] for operator in inputs["data"]])
    found = spread(estimate(analyse(layout), pool=True))
    assert (199933, 226838, 1042327, 4) == (found.repeatability, found.operator, found.part, found.ndc)
    assert abs(302373 - found.grr) <= 2


def test_the_manual_tests_operators_against_the_equipment() -> None:
    """Its printed operator F, 34.44, stands beside ours, which is against the pooled mean square."""
    inputs, _, _ = vector("grr-aiag")
    layout = parse_layout([[[str(value) for value in trial] for trial in operator] for operator in inputs["data"]])
    operators = rows_of(layout)["operators"]
    assert operators.f_equipment == pytest.approx(34.44, abs=0.005)
    assert operators.f == pytest.approx(39.617, abs=0.001)


@pytest.mark.parametrize("seed", range(5))
def test_sums_of_squares_and_tests_agree_with_statsmodels(seed: int) -> None:
    """statsmodels: anova_lm of reading ~ operator * part gives the same sums, degrees, F and p of the interaction."""
    pandas = pytest.importorskip("pandas", reason="comes with statsmodels")
    from statsmodels.formula.api import ols  # noqa: PLC0415  # slow to load, and for this test alone
    from statsmodels.stats.anova import anova_lm  # noqa: PLC0415

    random = Random(seed)
    o, t, p = (random.randint(2, 4) for _ in range(3))
    parts, operators = ([random.gauss(0, scale) for _ in range(count)] for scale, count in ((1, p), (0.3, o)))
    texts = [
        [[f"{10 + parts[c] + operators[a] + random.gauss(0, 0.2):.3f}" for c in range(p)] for _ in range(t)]
        for a in range(o)
    ]
    frame = pandas.DataFrame(
        [(a, c, float(texts[a][b][c])) for a in range(o) for b in range(t) for c in range(p)],
        columns=["operator", "part", "reading"],
    )
    table = anova_lm(ols("reading ~ C(operator) * C(part)", frame).fit())
    ours = rows_of(parse_layout(texts))
    for name, theirs in {
        "operators": "C(operator)",
        "parts": "C(part)",
        "operators x parts": "C(operator):C(part)",
        "equipment": "Residual",
    }.items():
        assert ours[name].ss == pytest.approx(table.loc[theirs, "sum_sq"], rel=1e-8, abs=1e-9)
        assert ours[name].df == table.loc[theirs, "df"]
    assert ours["operators x parts"].f == pytest.approx(table.loc["C(operator):C(part)", "F"], rel=1e-6)
    assert ours["operators x parts"].p == pytest.approx(table.loc["C(operator):C(part)", "PR(>F)"], rel=1e-6)


def test_p_values_agree_with_scipy() -> None:
    """scipy.stats.f at the report's own F and degrees of freedom."""
    inputs, _, _ = vector("grr-aiag")
    table = rows_of(parse_layout([[[str(value) for value in row] for row in trial] for trial in inputs["data"]]))
    pooled = table["equipment, interaction pooled"]
    for name in ("operators", "parts"):
        row = table[name]
        assert row.f is not None
        assert row.p == pytest.approx(float(stats.f.sf(row.f, row.df, pooled.df)), rel=1e-9)


def test_components_come_back_from_a_study_made_of_them() -> None:
    """Averaged over 400 made studies, the components are those that the readings were drawn with (law of large numbers)."""
    random = np.random.default_rng(20260301)
    o, t, p, runs = 3, 3, 8, 400
    true = {"equipment": 0.04, "operator": 0.09, "interaction": 0.02, "part": 1.0}
    sums = dict.fromkeys(true, 0.0)
    for _ in range(runs):
        noise = {name: np.sqrt(variance) for name, variance in true.items()}
        made = (
            random.normal(0, noise["operator"], (o, 1, 1))
            + random.normal(0, noise["part"], (1, 1, p))
            + random.normal(0, noise["interaction"], (o, 1, p))
            + random.normal(0, noise["equipment"], (o, t, p))
        )
        anova = analyse([[[Fraction(round(value * 10**4), 10**4) for value in row] for row in trial] for trial in made])
        ms = {
            name: float(effect.ms)
            for name, effect in {
                "equipment": anova.equipment,
                "interaction": anova.interaction,
                "operator": anova.operator,
                "part": anova.part,
            }.items()
        }
        # Before negative estimates are set to 0, which biases them upwards.
        sums["equipment"] += ms["equipment"]
        sums["interaction"] += (ms["interaction"] - ms["equipment"]) / t
        sums["operator"] += (ms["operator"] - ms["interaction"]) / (t * p)
        sums["part"] += (ms["part"] - ms["interaction"]) / (t * o)
    assert {name: pytest.approx(value, rel=0.15) for name, value in true.items()} == {
        name: total / runs for name, total in sums.items()
    }
