"""One gauge for a report: calibrations with their certificate, studies from their entries, budgets as judged by."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.application.gauge_view import GaugeAsked, GaugeView, gauge_view
from ledger.conformity.reading_uncertainty import GaugeGround, reading_uncertainty
from ledger.errors import LedgerError, MalformedInput, NotFound
from ledger.line.gauge_studied import newest_study
from ledger.line.gauges import calibration_at
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.standing_readings import Manner
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, calibrated, corrected, studied

CERTIFICATE = "ab" * 32


def view(floor: Floor, gauge: str = "G-MASS", **asked: Any) -> GaugeView:
    """The gauge now."""
    with open_reader(floor.book.store) as reader:
        return gauge_view(reader, gauge, GaugeAsked(**asked), floor.clock())


def test_calibrations_checks_and_faults_in_order(floor: Floor) -> None:
    """As found, as left, U, k, due, certificate; whose figures hold now; the master of a check, the reason of a fault."""
    figures: dict[str, Any] = {
        "as_found": "0.02",
        "as_left": "0.001",
        "expanded": "0.01",
        "k": "3",
        "certificate": CERTIFICATE,
    }
    floor.say(calibrated("mass", 10, **figures))
    floor.say({"kind": "gauge-checked", "at": at(20), "gauge": "G-MASS", "master": "MP-1", "good": True})
    floor.say({"kind": "gauge-faulted", "at": at(30), "gauge": "G-MASS", "reason": "dropped"})
    first, made, check, fault = view(floor).calibrations
    assert figures == {name: getattr(made, name) for name in figures}
    assert ([False, True, False, False], at(9_000)) == (
        [one.in_force for one in (first, made, check, fault)],
        made.due_at,
    )
    assert ("check", "MP-1", "") == (check.kind, check.master, check.due_at)
    assert ("fault", False, "dropped") == (fault.kind, fault.good, fault.reason)
    assert not view(floor).gauge.usable
    assert "bias found 0.02, left 0.001 lb" in view(floor).says[-1]


def test_a_study_is_reported_from_its_entry(floor: Floor) -> None:
    """EV, AV, GRR, PV and ndc of the values said, with the conventions; a corrected study, of the corrected values."""
    index = floor.say(studied("mass", 1)).index
    [study] = view(floor).studies
    assert (("P-1", "P-2"), ("OP-1", "OP-2"), True) == (study.parts, study.operators, study.newest)
    assert 0.014142 == pytest.approx(study.report.share("EV").sd, abs=1e-6)
    assert {"EV", "AV", "INT", "GRR", "PV", "TV"} == {one.id for one in study.report.shares}
    assert any(line.startswith("ndc ") for line in study.says)
    assert any(line.startswith("convention: ") for line in study.says)
    wider = [[["15.00", "15.20"], ["15.02", "15.22"]], [["15.01", "15.21"], ["15.03", "15.23"]]]
    floor.say(corrected({"fact": f"{index}.0", "replacement": studied("mass", 1, readings=wider)}))
    [changed] = view(floor).studies
    assert changed.report.share("PV").sd > 1.5 * study.report.share("PV").sd


def test_a_tolerance_is_that_of_the_requirement_named(floor: Floor) -> None:
    """Six standard deviations of GRR over the width of a two-sided limit; of a one-sided one, a sentence."""
    readings = [[["26.80", "26.90"], ["26.82", "26.92"]], [["26.81", "26.91"], ["26.83", "26.93"]]]
    floor.say(studied("circumference", 1, readings=readings), studied("mass", 1))
    asked = {"rulebook": "usbc-2026", "requirement": "usbc.circumference"}
    found = view(floor, "G-CIRCUMFERENCE", **asked)
    grr = found.studies[0].report.share("GRR")
    assert 600 * grr.sd / (27.002 - 26.704) == pytest.approx(grr.of_tolerance)
    assert any("26.704 to 27.002 in" in line for line in found.says)
    one_sided = view(floor, rulebook="usbc-2026", requirement="usbc.weight")
    assert one_sided.studies[0].report.share("GRR").of_tolerance is None
    assert any("has one side" in line for line in one_sided.says)


@pytest.mark.parametrize(
    ("asked", "error", "where"),
    [
        ({"requirement": "usbc.weight"}, MalformedInput, "rulebook"),
        ({"rulebook": "usbc-2026"}, MalformedInput, "requirement"),
        ({"rulebook": "usbc-2026", "requirement": "no.such"}, NotFound, "requirement"),
        ({"rulebook": "usbc-2026", "requirement": "usbc.hardness"}, MalformedInput, "requirement"),
        ({"rulebook": "no-such", "requirement": "usbc.weight"}, NotFound, "rulebook"),
    ],
)
def test_what_names_no_tolerance(floor: Floor, asked: dict[str, str], error: type[LedgerError], where: str) -> None:
    """Each with its field, and the limits that could have been meant."""
    with pytest.raises(error) as refused:
        view(floor, **asked)
    assert where == refused.value.where
    assert refused.value.mend


def test_an_unknown_gauge(floor: Floor) -> None:
    """Not in the book."""
    with pytest.raises(NotFound) as refused:
        view(floor, "G-NONE")
    assert ("gauge", True) == (refused.value.where, bool(refused.value.mend))


@pytest.mark.parametrize("repeatability", ["study", "registered", "none"])
def test_the_budget_is_what_readings_are_judged_by(floor: Floor, repeatability: str) -> None:
    """The u of one and of n readings is `reading_uncertainty`'s; without repeatability there is no such term, and that is said."""
    gauge = {
        "kind": "gauge-registered", "at": at(0), "gauge": "G-X", "quantity": "mass", "unit": "lb", "resolution": "0.01",
    }  # fmt: skip
    floor.say({**gauge, "repeatability": "0.02"} if repeatability == "registered" else gauge)
    floor.say({**calibrated("mass", 1, expanded="0.05", k="2.2"), "gauge": "G-X"})
    if repeatability == "study":
        floor.say({**studied("mass", 2), "gauge": "G-X"})
    found = view(floor, "G-X", readings=4)
    with open_reader(floor.book.store) as reader:
        row = reader.one(Gauge, "G-X")
        ground = GaugeGround(
            row,
            calibration_at(reader.rows(Calibration, "gauge", "G-X"), floor.clock()),
            newest_study(reader.rows(GaugeStudy, "gauge", "G-X")),
        )
    assert [1, 4] == [one.readings for one in found.budgets]
    for one in found.budgets:
        how = Manner("lb", "G-X", "mean" if one.readings > 1 else "single", one.readings)
        judged = reading_uncertainty(how, None, ground).u_scaled
        assert judged is not None
        assert judged / 1e6 == pytest.approx(one.u, abs=1e-6)
        assert one.k * one.u == pytest.approx(one.U)
        terms = [row.term for row in one.budget]
        assert (["repeatability"] if repeatability != "none" else []) + ["calibration", "resolution"] == terms
    assert (repeatability == "study") == (found.budgets[0].dof is not None)
    assert (repeatability == "none") == any("too small" in line for line in found.says)


def test_no_stated_u_leaves_no_budget(floor: Floor) -> None:
    """And a sentence that says why."""
    found = view(floor)
    assert () == found.budgets
    assert "no calibration of G-MASS states" in found.says[0]


def test_one_reading_has_one_budget(floor: Floor) -> None:
    """Asked for one, it is not said twice."""
    floor.say(calibrated("mass", 1, expanded="0.05"))
    assert [1] == [one.readings for one in view(floor, readings=1).budgets]
