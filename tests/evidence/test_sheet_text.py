"""Sheets made quickly are sheets made one by one, to the byte."""

from __future__ import annotations

import datetime as dt
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.canonical import encode
from ledger.conformity.rulebook import parse_rulebook, rulebook_digest, shipped_rulebooks
from ledger.evidence.ball_sheet import BallRows, DatedRulebook, ball_sheet
from ledger.evidence.dossier_format import format_page
from ledger.evidence.judged import judged_in
from ledger.evidence.sheet_text import SheetText
from ledger.line.quantity import QUANTITIES
from ledger.line.reading_rows import Calibration, Gauge
from ledger.line.reading_rows import Measured as MeasuredRow
from ledger.line.rows import Approval, ReleasePolicy
from ledger.line.standing_readings import Manner, Source, format_manner, format_sources
from tests.evidence.small_dossier import RULEBOOK, ball_rows

DAY_MS = 86_400_000
NOON_MS = 1_740_000_000_000
RULEBOOKS = [
    DatedRulebook(rulebook_digest(RULEBOOK), parse_rulebook(RULEBOOK)),
    *(DatedRulebook(one.digest, one.rulebook) for one in shipped_rulebooks().values()),
]
MEASURED = {
    "mass": ("lb", (14_000_000, 15_990_000, 16_010_000)),
    "circumference": ("in", (26_704_000, 26_900_000, 27_100_000)),
    "diameter": ("in", (8_500_000, 8_595_000)),
    "out_of_round": ("in", (1_000, 12_000)),
    "hardness": ("shore_d", (71_000_000, 73_000_000, 75_000_000)),
    "roughness": ("uin", (20_000_000, 60_000_000)),
    "rg_low": ("in", (2_400_000, 2_480_000)),
    "rg_high": ("in", (2_500_000, 2_560_000)),
    "differential": ("in", (20_000, 90_000)),
    "top_weight": ("oz", (1_000_000, 5_000_000)),
}
TEXT = SheetText(RULEBOOKS)
"""One for all examples, so that what it kept of other balls is used."""


def gauge_of(quantity: str) -> str:
    """The gauge of a quantity."""
    return f"G-{quantity.upper().replace('_', '-')}"


GAUGES = {
    gauge_of(name): Gauge(
        gauge=gauge_of(name), quantity=name, unit=unit, resolution_micro=1_000, state="in-use", address="3.0"
    )
    for name, (unit, _) in MEASURED.items()
}
CALIBRATIONS = {
    name: [
        Calibration(calibration=f"{4 + number}.0", gauge=name, at_ms=NOON_MS + start * DAY_MS,
                    due_ms=NOON_MS + (start + 3) * DAY_MS, good=good, expanded_micro=10_000, bias_micro=None, kind=kind)
        for number, (start, good, kind) in enumerate(((-5, True, "calibration"), (0, True, "check"), (1, True, "calibration"), (6, False, "check")))
    ]
    for name in GAUGES
}  # fmt: skip


POLICIES = [
    None,
    *(
        ReleasePolicy(address=f"{number}.0", scope="plant", from_size=number, decision=decision, guard_r="1",
                      quantities=encode(by_quantity).decode(), house="needed", undecided_by="quality")
        for number, decision, by_quantity in ((6, "guarded", {}), (7, "simple", {"mass": ["guarded", "0.5"]}))
    ),
]  # fmt: skip


@st.composite
def readings(draw: st.DrawFn) -> MeasuredRow:
    """A row of readings: any of the quantities, at any of a few instants, some with a stated U, a surface, a temperature."""
    names = draw(st.sets(st.sampled_from(sorted(MEASURED))))
    manner: dict[str, Manner] = {}
    sources: dict[str, Source] = {}
    values: dict[str, Any] = {}
    for name in sorted(names):
        unit, figures = MEASURED[name]
        surface = draw(st.sampled_from(["", "sanded"]))
        manner[name] = Manner(
            unit, gauge_of(name), draw(st.sampled_from(["single", "mean"])), draw(st.integers(1, 3)), surface
        )
        at_ms = NOON_MS + draw(st.sampled_from([-6, -5, -2, -1, 0, 1, 4, 5, 6, 9])) * DAY_MS
        temperature = draw(st.sampled_from([None, 21_500]))
        sources[name] = Source(at_ms, f"{draw(st.integers(8, 90))}.1", temperature)
        values[name] = draw(st.sampled_from(figures))
        values[f"{name}_u"] = draw(st.sampled_from([None, 20_000]))
    return MeasuredRow(
        unit="U-1", lot="S1", weight_class=15, began_ms=NOON_MS, engraved_ms=NOON_MS, manner=format_manner(manner),
        sources=format_sources(sources) if sources else "{}", **values,
    )  # fmt: skip


@st.composite
def balls(draw: st.DrawFn) -> BallRows:
    """The rows of a ball of the little book with other readings, another class, day, finish, kind and approval."""
    rows = ball_rows(draw(st.sampled_from(["U-1", "U-2"])))
    approved = Approval(approval="5.0", model="ROC", body="usbc", revision=1, status="approved", from_on="2020-01-01",
                        to_on=None, first_serial=None, last_serial=None, classes="14,15,16", bars="")  # fmt: skip
    changes = {
        "weight_class": draw(st.sampled_from([None, 12, 15, 16])),
        "engraved_ms": draw(st.sampled_from([None, 0, NOON_MS, NOON_MS + 700 * DAY_MS])),
        "finish": draw(st.sampled_from([None, "sanded", "polished", "unstated"])),
        "state": draw(st.sampled_from(["made", "released"])),
    }
    kinds = draw(st.sampled_from(["{}", encode({"urethane": True}).decode(), encode({"urethane": False}).decode()]))
    return rows._replace(
        unit=msgspec.structs.replace(rows.unit, **changes),
        model=msgspec.structs.replace(rows.model, kinds=kinds, core=draw(st.sampled_from(["symmetric", "asymmetric"]))),
        measured=draw(st.none() | readings()),
        approvals=draw(st.sampled_from([(), [approved]])),
        calibrations=CALIBRATIONS,
        gauges=GAUGES,
        policy=draw(st.sampled_from(POLICIES)),
    )


@given(balls())
def test_a_sheet_is_the_same_to_the_byte(rows: BallRows) -> None:
    """Whatever was read of the ball, when, how and with which gauge; and so are its worst outcomes."""
    slowly = ball_sheet(rows, RULEBOOKS)
    made = TEXT.sheet(rows)
    assert (format_page(slowly), [table.overall for table in slowly.tables]) == (made.raw, made.overalls)
    assert judged_in(slowly.tables) == made.judged


def test_what_is_kept_is_let_go() -> None:
    """Memory does not grow with the balls; and what was let go is made again."""
    text = SheetText(RULEBOOKS[:1])
    before = text.sheet(ball_rows("U-1"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("ledger.evidence.sheet_text._KEPT", 1)
        assert before == text.sheet(ball_rows("U-1"))
        assert format_page(ball_sheet(ball_rows("U-2"), RULEBOOKS[:1])) == text.sheet(ball_rows("U-2")).raw


def test_the_quantities_are_those_of_the_line() -> None:
    """The examples measure what there is."""
    assert set(MEASURED) <= set(QUANTITIES)
    assert dt.date(2025, 2, 19) == dt.datetime.fromtimestamp(NOON_MS / 1000, dt.UTC).date()
