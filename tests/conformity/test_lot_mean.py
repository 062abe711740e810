"""ledger.conformity.lot_mean: a lot's mean, and the gauge's part that many balls do not shrink."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.facts import Measured
from ledger.conformity.house import HousePolicy
from ledger.conformity.lot_mean import judge_mean, mean_figure
from ledger.conformity.outcome import HouseVerdict
from ledger.conformity.requirement import Method
from ledger.line.quantity import SCALE
from tests.conformity.balls import reading, requirement

MEAN: dict[str, Any] = {
    "quantity": "roughness", "operator": "<=", "limits": ("50",), "unit": "uin", "per": "lot_mean",
}  # fmt: skip


def rough(text: str, **more: Any) -> Measured:
    """A roughness with u = 5, of which 4 is one reading's scatter and 3 the gauge's own."""
    fields: dict[str, Any] = {"u_scaled": 5 * SCALE, "repeat_scaled": 4 * SCALE}
    return reading(text, "uin", "roughness", **(fields | more))


def test_the_mean_is_exact_and_judged() -> None:
    """49, 50 and 51.000003 have a mean of 50.000001, which is over 50 although one ball is at it."""
    verdict = judge_mean(requirement(**MEAN), [rough("49"), rough("50"), rough("51.000003")])
    assert ("does_not_conform", "50.000001", "-0.000001", "lot_mean") == (
        verdict.outcome, verdict.value, verdict.margin, verdict.per,
    )  # fmt: skip
    assert "the mean of 3 balls" == verdict.reasons[0]


def test_only_the_scatter_shrinks_with_the_number_of_balls() -> None:
    """16 balls: the 4 becomes 1, the gauge's 3 stays, so u = sqrt(10)."""
    figure = mean_figure([rough("48")] * 16, "uin")
    assert figure.u is not None
    assert math.isclose(math.sqrt(10), figure.u, rel_tol=1e-6)
    assert (Fraction(4), 16, "ball") == (figure.repeat, figure.readings, figure.counted)


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(1, 9)), min_size=1, max_size=20))
def test_the_mean_s_uncertainty_lies_between_the_common_part_and_the_mean_of_all(
    parts: list[tuple[int, int, int]],
) -> None:
    """It is never under the mean of the gauge's parts, and never over the mean of the whole uncertainties."""
    whole = [math.hypot(scatter / math.sqrt(count), fixed) for scatter, fixed, count in parts]
    values = [
        rough("48", u_scaled=round(u * SCALE), repeat_scaled=scatter * SCALE, readings=count)
        for u, (scatter, _, count) in zip(whole, parts, strict=True)
    ]
    u = float(mean_figure(values, "uin").u or 0)
    common = sum(fixed for _, fixed, _ in parts) / len(parts)
    # u is kept to a millionth, and a fixed part of nothing comes back as the root of what that leaves.
    assert common - 0.01 <= u <= sum(whole) / len(whole) + 0.01


def test_unknown_parts_are_taken_as_common() -> None:
    """Where scatter is not on record nothing shrinks, and how many balls would decide is not known."""
    values = [rough("49", repeat_scaled=None)] * 9
    assert (Fraction(5), None) == mean_figure(values, "uin")[2:4]
    verdict = judge_mean(requirement(**MEAN, decision="guarded"), values)
    assert ("undecided", "10") == (verdict.outcome, verdict.guard_band)
    assert "how many more balls would decide is not known" in verdict.more_readings


def test_more_balls_are_counted_as_balls() -> None:
    """Scatter 4, margin 7, gauge's 3: 16/(3.5^2 - 9) = 4.92, so 5 in all and 3 more than 2."""
    verdict = judge_mean(requirement(**MEAN, decision="guarded"), [rough("43")] * 2)
    assert "3 more balls would likely decide, if the mean stays where it is" == verdict.more_readings


def test_what_may_not_be_used_is_left_out_and_said() -> None:
    """Overdue gauges and other definitions count for nothing; a lot with nothing else is not measured."""
    overdue = rough("90", usable=False, why_unusable="the gauge was overdue")
    other = rough("90", definition="rz")
    limit = requirement(**MEAN, definition="ra")
    verdict = judge_mean(limit, [overdue, rough("49", definition="ra"), overdue, other])
    assert ("conforms", "49") == (verdict.outcome, verdict.value)
    assert "left out: 2 of 4: the gauge was overdue" in verdict.reasons
    assert "as rz" in " ".join(verdict.reasons)
    assert ["not_measured", "not_measured"] == [judge_mean(limit, values).outcome for values in ([], [overdue])]


def test_one_reading_taken_otherwise_leaves_the_mean_undecided() -> None:
    """The method is asked of each reading, and each reason stands once."""
    limit = requirement(**MEAN, method=Method(temperature_c=("21", "25")))
    values = [rough("49", temperature_c="30"), rough("49", temperature_c="30"), rough("49")]
    verdict = judge_mean(limit, values)
    assert "undecided" == verdict.outcome
    assert (1, 1) == tuple(
        len([reason for reason in verdict.reasons if words in reason]) for words in ("30 deg C", "not on record")
    )


def test_units_are_converted_and_an_unknown_u_stays_unknown() -> None:
    """A metric reading joins the mean exactly (1.27 um is 50 uin); one reading without u leaves none."""
    verdict = judge_mean(requirement(**MEAN), [reading("1.27", "um", "roughness"), rough("48")])
    assert ("49", None) == (verdict.value, verdict.expanded)


def test_the_house_judges_the_mean_too() -> None:
    """Met by the mean, not by its guard band."""
    verdict = judge_mean(requirement(**MEAN), [rough("49")], policy=HousePolicy(decision="guarded"))
    assert isinstance(verdict.house, HouseVerdict)
    assert ("conforms", "undecided") == (verdict.outcome, verdict.house.outcome)
