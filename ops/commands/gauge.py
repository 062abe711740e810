"""`pourbook gauge`: one gauge for a report: calibrations, studies, and the uncertainty budget of what it reads.

With ``--rulebook`` and ``--requirement`` the studies are held against the width of that limit too.
"""

from __future__ import annotations

import argparse

from ledger.application.budget_table import table_lines
from ledger.application.gauge_view import READINGS, CalibrationSeen, GaugeAsked, GaugeView, ReadingsBudget, gauge_view
from ledger.application.pourbook import wall_clock_ms
from ledger.conformity.uncertainty import in_figures
from ledger.errors import MalformedInput
from ledger.line.quantity import QUANTITIES, UNITS
from ops.reading_store import add_store, reading_store


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the gauge, the store, the number of readings and the requirement."""
    parser.add_argument("gauge", help="id of the gauge")
    add_store(parser)
    parser.add_argument(
        "--readings", type=int, default=READINGS, metavar="N", help=f"budget of the mean of N too ({READINGS})"
    )
    parser.add_argument("--rulebook", help="id of the rulebook that --requirement is one of")
    parser.add_argument("--requirement", help="id of the limit whose width the studies are held against")


def run(arguments: argparse.Namespace) -> int:
    """Print the gauge; 0, or an error of the tree in `ledger.errors`."""
    if not 1 <= arguments.readings <= 50:
        raise MalformedInput(
            "number of readings is out of range",
            expected="1 to 50",
            got=arguments.readings,
            where="--readings",
            mend="ask for as many as the gauge is read for one value",
        )
    asked = GaugeAsked(arguments.readings, arguments.rulebook, arguments.requirement)
    with reading_store(arguments) as reader:
        view = gauge_view(reader, arguments.gauge, asked, wall_clock_ms())
    print("\n".join(gauge_text(view)))
    return 0


def gauge_text(view: GaugeView) -> list[str]:
    """The gauge in lines, as they go into a report."""
    gauge, unit = view.gauge, UNITS[view.gauge.unit].printed
    range_said = f", range {gauge.low or 'open'} to {gauge.high or 'open'} {unit}" if gauge.low or gauge.high else ""
    lines = [
        f"gauge {gauge.gauge}: {QUANTITIES[gauge.quantity].name} in {unit}, resolution {gauge.resolution}{range_said}",
        f"at {view.at}: {'usable' if gauge.usable else f'not usable, {gauge.why}'}",
    ]
    lines += ["", "calibrations and checks:"] if view.calibrations else ["", "never calibrated or checked"]
    lines += [f"  {_calibration_line(one, unit)}" for one in view.calibrations]
    for study in view.studies:
        newest = ", the newest" if study.newest else ""
        lines += ["", f"study of {study.at} (fact {study.fact}{newest}):", *(f"  {line}" for line in study.says)]
    for budget in view.budgets:
        lines += ["", *_budget_lines(budget, unit)]
    return [*lines, "", *view.says]


def _calibration_line(one: CalibrationSeen, unit: str) -> str:
    found = "good" if one.good else "found wrong"
    said = [f"{one.at} {one.kind}: {found}"]
    said += [f"as found {one.as_found} {unit}"] if one.as_found else []
    said += [f"as left {one.as_left} {unit}"] if one.as_left else []
    said += [f"U = {one.expanded} {unit}, k = {one.k}"] if one.expanded else []
    said += [f"due {one.due_at}"] if one.due_at else []
    said += [f"certificate {one.certificate}"] if one.certificate else []
    said += [f"master {one.master}"] if one.master else []
    said += [one.reason] if one.reason else []
    said += ["in force"] if one.in_force else []
    return f"{', '.join(said)} (fact {one.fact})"


def _budget_lines(budget: ReadingsBudget, unit: str) -> list[str]:
    of = "one reading" if budget.readings == 1 else f"the mean of {budget.readings} readings"
    dof = "infinite" if budget.dof is None else in_figures(budget.dof, 3)
    whole = (
        f"  u = {in_figures(budget.u, 3)} {unit}, effective degrees of freedom {dof}, "
        f"U = {in_figures(budget.U, 2)} {unit} (k = {budget.k:.2f}, {budget.p:.4g} coverage)"
    )
    return [f"uncertainty of {of}:", *(f"  {line}" for line in table_lines(budget.budget)), whole]
