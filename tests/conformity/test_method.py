"""ledger.conformity.method: readings taken otherwise than a limit asks, and of another thing than it means."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.conformity.method import Conditions, conditions_of, other_definition
from ledger.conformity.requirement import Method
from ledger.conformity.verdict import judge
from tests.conformity.balls import ball, reading, requirement

FULL = Method(
    temperature_c=("21", "25"), delay_s="1", readings=5, spacing_mm="6", statistic="mean", surface="clean, dry"
)
AS_ASKED: dict[str, Any] = {
    "temperature_c": "21", "delay_s": "1", "readings": 5, "spacing_mm": "6.0", "statistic": "mean", "surface": "Clean, dry",
}  # fmt: skip


@pytest.mark.parametrize(
    ("method", "fields", "said"),
    [
        (Method(temperature_c=("21", "25")), {"temperature_c": "25.1"}, "at 25.1 deg C, not at 21 to 25 deg C"),
        (Method(temperature_c=("21", "25")), {"temperature_c": "20.9"}, "at 20.9 deg C, not at 21 to 25 deg C"),
        (Method(delay_s="1"), {"delay_s": "1.5"}, "read after 1.5 s, not within 1 s"),
        (Method(readings=5), {"readings": 1}, "1 reading, not 5 or more"),
        (Method(readings=5), {"readings": 4}, "4 readings, not 5 or more"),
        (Method(statistic="mean"), {"readings": 5, "statistic": "median"}, "the median stands, not the mean"),
        (Method(spacing_mm="6"), {"readings": 5, "spacing_mm": "5.9"}, "readings 5.9 mm apart, not 6 mm apart or more"),
        (Method(surface="sanded 500"), {"surface": "polished"}, "the surface was polished, not sanded 500"),
    ],
)
def test_a_reading_known_to_be_taken_otherwise_decides_nothing(
    method: Method, fields: dict[str, Any], said: str
) -> None:
    """It is undecided either side of the limit, its value is shown, and the verdict says what was otherwise."""
    for text in ("60", "80"):
        measured = reading(text, "shore_d", "hardness", **fields)
        verdict = judge(requirement(method=method), ball({"hardness": measured}))
        assert ("undecided", text) == (verdict.outcome, verdict.value)
        assert [f"not taken as the method asks: {said}"] == [reason for reason in verdict.reasons if said in reason]


def test_what_is_not_on_record_is_only_said() -> None:
    """A reading without temperature, delay, spacing or surface is judged, with four reasons."""
    measured = reading("74", "shore_d", "hardness", readings=5, statistic="mean")
    verdict = judge(requirement(method=FULL), ball({"hardness": measured}))
    assert "conforms" == verdict.outcome
    assert 4 == len([reason for reason in verdict.reasons if "not on record" in reason])


def test_what_was_taken_as_asked_says_little() -> None:
    """Bounds are inside, a surface is compared without regard to case and hyphens, and one reading has no spacing."""
    measured = reading("74", "shore_d", "hardness", **AS_ASKED)
    found = conditions_of(requirement(method=FULL), measured)
    assert Conditions() == found
    alone = reading("74", "shore_d", "hardness")
    assert Conditions() == conditions_of(requirement(method=Method(spacing_mm="6")), alone)
    slug = reading("74", "shore_d", "hardness", surface="sanded-500")
    assert Conditions() == conditions_of(requirement(method=Method(surface="sanded 500")), slug)


TOP_WEIGHT: dict[str, Any] = {"quantity": "top_weight", "operator": "<=", "limits": ("3",), "unit": "oz"}


def test_an_unstated_definition_is_never_applied() -> None:
    """Whichever side of the limit, it is undecided; for a balance it says what one offset reads."""
    limit = requirement(**TOP_WEIGHT, definition="unstated")
    for text in ("1", "9"):
        verdict = judge(limit, ball({"top_weight": reading(text, "oz", "top_weight")}))
        assert "undecided" == verdict.outcome
        assert "until the governing text says which definition of top weight is meant" in verdict.reasons[0]
        assert "2.82, 5.65 or 7.49 oz" in verdict.reasons[0]
    plain = judge(requirement(definition="unstated"), ball({"hardness": reading("74", "shore_d", "hardness")}))
    assert (True, False) == ("governing text" in plain.reasons[0], "oz" in plain.reasons[0])


def test_a_reading_of_another_definition_is_no_measurement() -> None:
    """A hemisphere difference does not answer a limit on the moment over an arm; one that does not say is undecided."""
    limit = requirement(**TOP_WEIGHT, definition="moment-over-arm")
    taken = [reading("1", "oz", "top_weight", definition=name) for name in ("hemispheres", "moment-over-arm", "")]
    verdicts = [judge(limit, ball({"top_weight": one})) for one in taken]
    assert ["not_measured", "conforms", "undecided"] == [verdict.outcome for verdict in verdicts]
    assert "as hemispheres, the limit means moment over arm" in other_definition(limit, taken[0])
    assert "" == other_definition(limit, taken[1])
