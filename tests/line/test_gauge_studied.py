"""Gauge studies as records: what is refused, and the figures that a view has of them."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from ledger.errors import Contradiction, LedgerError, MalformedQuantity, MalformedRecord, UnknownSubject
from ledger.line.corrections import Change, Correction
from ledger.line.gauge_studied import newest_study
from ledger.line.gauge_study import analyse, estimate, parse_layout, root_millionths
from ledger.line.reading_rows import GaugeStudy
from tests.line.independent_fold import check_views
from tests.line.making import at, ready_plant, registered, studied


def test_a_study_has_its_figures_and_its_counts() -> None:
    """Worked by hand: parts 0.10 apart, operators 0.01, trials 0.02, nothing interacts."""
    plant = ready_plant()
    entered = plant.submit(studied())
    row: GaugeStudy = plant.row(GaugeStudy, entered.address)
    assert ("G-MASS", "lb", 2, 2, 2, 4, False) == (
        row.gauge, row.unit, row.operators, row.trials, row.parts, row.repeat_df, row.pooled,
    )  # fmt: skip
    # Four pairs of trials 0.02 apart: each has a sum of squares of 0.0002, over 4 degrees of freedom.
    assert root_millionths(Fraction("0.0008") / 4) == row.repeatability
    # (mean square of parts 0.02 less that of the interaction 0) over 4 readings of each part.
    assert root_millionths(Fraction("0.02") / 4) == row.part_variation
    assert row.grr >= max(row.repeatability, row.reproducibility)


@pytest.mark.parametrize("pooled", [False, True])
def test_the_study_says_whether_the_interaction_is_pooled(*, pooled: bool) -> None:
    """The degrees of freedom of the repeatability tell, and so does the row."""
    plant = ready_plant()
    row = plant.row(GaugeStudy, plant.submit(studied(pooled=pooled)).address)
    found = estimate(analyse(parse_layout(studied().readings)), pool=pooled)
    assert (found.repeat_df, pooled) == (row.repeat_df, row.pooled)
    assert root_millionths(found.equipment) == row.repeatability


@pytest.mark.parametrize(
    ("fields", "error", "where"),
    [
        ({"gauge": "G-NONE"}, UnknownSubject, "gauge"),
        ({"unit": "kg"}, Contradiction, "unit"),
        ({"parts": ("P-1", "P-1")}, Contradiction, "parts"),
        ({"operators": ("OP-1", "OP-1")}, Contradiction, "operators"),
        ({"parts": ("P-1", "P-2", "P-3")}, MalformedRecord, "readings"),
        ({"trials": 3}, MalformedRecord, "readings"),
        ({"readings": ((("15.0", "15.1"), ("15.0", "15.1")), (("15.0", "15.1"),))}, MalformedRecord, "readings[1]"),
        (
            {"readings": ((("15.0", "15.1"), ("15.0",)), (("15.0", "15.1"), ("15.0", "15.1")))},
            MalformedRecord,
            "readings[0][1]",
        ),
    ],
)
def test_what_is_no_study_is_refused(fields: dict[str, Any], error: type[LedgerError], where: str) -> None:
    """Each refusal is of its class and names its field; nothing is entered."""
    plant = ready_plant()
    before = plant.tables.listed()
    with pytest.raises(error) as refusal:
        plant.submit(studied(**fields))
    assert (where, before) == (refusal.value.where, plant.tables.listed())


def test_a_value_that_the_gauge_cannot_show_is_refused() -> None:
    """Outside its range, or no weight of a ball at all."""
    plant = ready_plant()
    plant.submit(registered("G-2", "mass", "lb", low="15", high="15.12"))
    refusal = plant.refused(studied("G-2"))
    assert (Contradiction, "readings[1][1]") == (type(refusal), refusal.where)
    with pytest.raises(MalformedQuantity):
        plant.submit(studied(readings=((("150", "151"),) * 2,) * 2))


def test_the_newest_study_is_the_last_made() -> None:
    """Of two of one instant the one said last, by number and not by text; none of none."""
    plant = ready_plant()
    rows = [plant.row(GaugeStudy, plant.submit(studied(at=at(day))).address) for day in (4, 2, 4)]
    assert (rows[2], None) == (newest_study(rows), newest_study([]))


def test_a_corrected_study_has_the_figures_of_its_new_values() -> None:
    """Replaced and withdrawn studies are folded as if they had been said so at first."""
    plant = ready_plant()
    first, second = plant.submit(studied()), plant.submit(studied(at=at(3)))
    flat = ((("15.00", "15.10"),) * 2,) * 2
    changes = (Change(fact=first.address, replacement=studied(readings=flat)), Change(fact=second.address))
    plant.submit(Correction(at=at(5), reason="typing", changes=changes))
    assert 0 == plant.row(GaugeStudy, first.address).repeatability
    assert None is plant.row(GaugeStudy, second.address)
    check_views(plant)


def test_a_gauge_that_was_studied_is_not_withdrawn() -> None:
    """The study would speak of nothing."""
    plant = ready_plant()
    first = plant.submit(registered("G-2", "mass", "lb"))
    plant.submit(studied("G-2"))
    refusal = plant.refused(Correction(at=at(5), reason="typing", changes=(Change(fact=first.address),)))
    assert isinstance(refusal, Contradiction)
