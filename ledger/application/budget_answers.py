"""Measurement models as calculators: a value, its uncertainty with every term, what was assumed, and what to enter.

Nothing here reads the book: what a gauge contributes is stated with the question.  The models are in
`ledger.conformity.measurement_models`, `mass_model` and `uncertainty`; first order, inputs independent of each other.

The book takes a reading's stated U with k = 2.  ``reading.expanded`` is k u with k the larger of 2 and Student's t, so
that few degrees of freedom never make a verdict surer than they allow; it is rounded up to two digits, the value to the
same place (GUM 7.2.6, from memory).
"""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal
from fractions import Fraction

import msgspec
from msgspec import UNSET, UnsetType

from ledger.application.budget_questions import (
    Amount,
    DensityAsked,
    DiameterAsked,
    DifferentialAsked,
    ImbalanceAsked,
    MeanAsked,
    Pendulum,
    RadiusAsked,
    amount_of,
    dof_of,
    k_of,
    mended,
    number_of,
)
from ledger.application.budget_table import BudgetFigures, figures_of
from ledger.conformity import measurement_models as models
from ledger.conformity.estimate import Estimate
from ledger.conformity.mass_model import DENSITY_UNIT, Part, density_by_mass, density_by_volume
from ledger.conformity.uncertainty import Budget, Calibration, Repeatability, format_budget, in_figures, mean_budget
from ledger.errors import MalformedQuantity
from ledger.line.quantity import QUANTITIES, UNITS, check_plausible, check_unit, convert, scaled_reading

GUM = "JCGM 100:2008 (GUM) 4.2, 4.3, 5.1.2, G.4 (clauses from memory)"

_PLACES = 6


class ReadingToEnter(msgspec.Struct, frozen=True, kw_only=True):
    """What to enter as a reading, beside its gauge. ``value``: rounded to the place of U's second digit.

    ``values``: what goes into the record: the raw readings where they were given, else ``value``.  ``expanded``: U as the
    book takes it, k = 2.
    """

    quantity: str
    unit: str
    value: str
    values: tuple[str, ...]
    statistic: str
    expanded: str


class BudgetAnswer(BudgetFigures, frozen=True, kw_only=True):
    """What a model gives, in ``unit``. ``says``: the same as a table of text.

    ``reading`` is absent where nothing is to be entered; ``reading_says`` is what is to be known about it.
    """

    model: str
    value: float
    unit: str
    says: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[str, ...]
    reading: ReadingToEnter | UnsetType = UNSET
    reading_says: tuple[str, ...] = ()


def mean_answer(asked: MeanAsked) -> BudgetAnswer:
    """The mean of n readings: u^2 = s^2/n + (U/k)^2 + resolution^2/12. Raises MalformedQuantity naming the field."""
    with mended("", "name a quantity of a ball or of a component, and a unit that it is measured in"):
        check_unit(asked.quantity, asked.unit)
    for place, text in enumerate(asked.values):
        with mended(f"values[{place}]", "send the reading as the gauge shows it, in its unit"):
            scaled_reading(text, asked.unit, asked.quantity)
    count = len(asked.values)
    stated = asked.repeatability
    if stated is UNSET and count == 1:
        raise MalformedQuantity(
            "one reading shows no scatter",
            expected="two readings or more, or repeatability",
            got=count,
            where="repeatability",
            mend="state the gauge's repeatability from its study, or read again",
        )
    budget = mean_budget(
        [float(text) for text in asked.values],
        unit=asked.unit,
        calibration=Calibration(
            U=number_of(asked.calibration.expanded, "calibration.expanded"),
            k=k_of(asked.calibration.k, "calibration.k"),
            dof=dof_of(asked.calibration.dof, "calibration.dof"),
            how=asked.calibration.how,
        ),
        resolution=number_of(asked.resolution, "resolution"),
        repeatability=None
        if stated is UNSET
        else Repeatability(
            s=number_of(stated.s, "repeatability.s"), dof=dof_of(stated.dof, "repeatability.dof"), how=stated.how
        ),
        name=f"mean of {count} readings of {QUANTITIES[asked.quantity].name}",
    )
    assumptions = (
        "the readings are of one thing under one set of conditions, each independent of the others",
        "the calibration and the resolution are common to all readings: neither is divided by n",
        "the scatter is that of the readings themselves"
        if stated is UNSET
        else "the scatter is the repeatability stated, not that of these readings",
    )
    return _answer(
        "mean of n readings",
        budget,
        (assumptions, ("JCGM 100:2008 (GUM) 4.2.3, 4.3.3, F.2.2.1, G.4 (clauses from memory)",)),
        asked.quantity,
        raw=asked.values,
    )


def radius_answer(asked: RadiusAsked) -> BudgetAnswer:
    """A radius of gyration from torsion periods: RG = sqrt(I / m). Raises MalformedQuantity naming the field."""
    set_up, mass = _set_up(asked)
    found = _radius(set_up, mass, asked.period, "period", asked.length_unit)
    return _answer(
        "radius of gyration from torsion periods", found.budget(), (_PENDULUM, _PENDULUM_SOURCES), asked.quantity
    )


def differential_answer(asked: DifferentialAsked) -> BudgetAnswer:
    """High less low radius of one session, what both share counted once. Raises MalformedQuantity naming the field."""
    set_up, mass = _set_up(asked)
    high = _radius(set_up, mass, asked.high_period, "high_period", asked.length_unit)
    low = _radius(set_up, mass, asked.low_period, "low_period", asked.length_unit)
    if high.value < low.value:
        raise MalformedQuantity(
            "the higher radius has the shorter period",
            expected=f"more than {asked.low_period.value} s",
            got=asked.high_period.value,
            where="high_period.value",
            mend="swap high_period and low_period, or check the axes",
        )
    found = models.differential(high, low)
    apart = in_figures((high.u**2 + low.u**2) ** 0.5, 2)
    shared = (
        "both radii are of one session: the reference, the empty period and the mass are counted once and nearly cancel "
        f"(two sessions would give u = {apart} {found.unit})"
    )
    assumptions = (*_PENDULUM, shared)
    return _answer(
        "differential of radius of gyration", found.budget(), (assumptions, _PENDULUM_SOURCES), asked.quantity
    )


def diameter_answer(asked: DiameterAsked) -> BudgetAnswer:
    """The diameter from a circumference: d = c / pi; what is entered is the circumference. Raises MalformedQuantity."""
    measured = amount_of(asked.circumference, "circumference", asked.length_unit)
    found = models.diameter_from_circumference(measured)
    assumptions = ("the section that the tape lies on is round, and the tape lies flat on it and is not stretched",)
    answer = _answer("diameter from circumference", found.budget(), (assumptions, (f"geometry; {GUM}",)), "")
    reading, why = _reading("circumference", measured.budget(), ())
    judged = (
        "enter the circumference: the quantity that was measured is the one that is judged, and the printed limits of the "
        "two are no exact equivalents; a diameter from it must not be entered beside it, since one reading would be judged twice"
    )
    return msgspec.structs.replace(answer, reading=reading, reading_says=(judged, *why))


def imbalance_answer(asked: ImbalanceAsked) -> BudgetAnswer:
    """What a balance of a definition shows for an offset of the CG. Raises MalformedQuantity naming the field."""
    weighed = amount_of(asked.mass, "mass", asked.mass_unit)
    small = "oz" if asked.mass_unit in ("lb", "oz") else "g"
    found = models.static_imbalance(
        weighed.in_unit(small),
        amount_of(asked.offset, "offset", asked.length_unit, zero_allowed=True),
        asked.definition,
        amount_of(asked.arm, "arm", asked.length_unit),
    )
    words = asked.definition.replace("_", " ")
    arm = f"{asked.arm.value} {asked.length_unit}"
    formula = {
        "moment": "m d, and the arm is not used",
        "at_arm": f"m d / L with the arm L = {arm}",
        "two_position_difference": f"2 m d / L with the arm L = {arm}",
        "hemisphere_difference": f"8 m d / (3 R) with the radius R = {arm}",
    }[asked.definition]
    assumptions: tuple[str, ...] = (
        f"definition: {words}, {formula}; the same offset gives other figures by other definitions",
        "the offset lies along the axis that the balance weighs about",
    )
    if asked.definition == "hemisphere_difference":
        assumptions += ("the excess is spread over the halves as a homogeneous half's mass is, 3R/8 from the plane",)
    sources = (f"statics of any textbook, the factor 8/3 from memory; {GUM}",)
    quantity = "" if asked.definition == "moment" else "static_imbalance"
    answer = _answer("static imbalance from an offset of the CG", found.budget(), (assumptions, sources), quantity)
    said = (
        f"a moment is in {found.unit} and no limit is stated in it: enter nothing, or ask by another definition"
        if asked.definition == "moment"
        else f"enter it with a gauge whose definition is {asked.definition}: a limit in ounces says nothing until its own is known"
    )
    return msgspec.structs.replace(answer, reading_says=(said, *answer.reading_says))


def density_answer(asked: DensityAsked) -> BudgetAnswer:
    """The density of a mixture by its recipe. Raises MalformedQuantity naming the field."""
    names = [part.name for part in asked.parts]
    parts = []
    for place, part in enumerate(asked.parts):
        if part.name in names[:place]:
            raise MalformedQuantity(
                "a part is named twice",
                got=part.name,
                where=f"parts[{place}].name",
                mend="give each part a name of its own",
            )
        where = f"parts[{place}].density"
        density = amount_of(part.density, where, DENSITY_UNIT, name=f"density of {part.name}")
        parts.append(Part(part.name, number_of(part.fraction, f"parts[{place}].fraction"), density))
    with mended("parts", "state the fractions of all parts, which add up to 1"):
        found = (density_by_mass if asked.by == "mass" else density_by_volume)(parts)
    law = "mass fractions: 1/rho = sum(w/rho)" if asked.by == "mass" else "volume fractions: rho = sum(phi rho)"
    assumptions = (
        f"rule of mixtures by {law}",
        "the volumes of the parts add up: no void, no cure shrinkage, nothing dissolved in another part",
        "the fractions are taken as exact",
    )
    answer = _answer(
        "density of a mixture", found.budget(), (assumptions, (f"rule of mixtures of any textbook; {GUM}",)), ""
    )
    said = "a density worked out from a recipe was not measured: enter nothing; weigh a piece, and enter that"
    return msgspec.structs.replace(answer, reading_says=(said,))


_PENDULUM = (
    "I = Iref (T^2 - T0^2) / (Tr^2 - T0^2) and RG = sqrt(I / m): small, undamped swings about the axis that is meant",
    "the empty period stands twice in the model and is one input: what it does to both places is counted together",
    "every input is independent of the others; no correction for buoyancy, drag or temperature",
)
_PENDULUM_SOURCES = (f"torsion pendulum of any textbook; {GUM}; derivatives by the library uncertainties, first order",)


def _set_up(asked: Pendulum) -> tuple[models.TorsionSetUp, Estimate]:
    inertia = amount_of(asked.reference_inertia, "reference_inertia", f"{asked.mass_unit}.{asked.length_unit}2")
    periods = (
        amount_of(asked.reference_period, "reference_period", "s"),
        amount_of(asked.empty_period, "empty_period", "s"),
    )
    mass = amount_of(asked.mass, "mass", asked.mass_unit)
    with mended("reference_period.value", "check which period is which: a body on the pendulum slows it"):
        return models.TorsionSetUp(inertia, *periods), mass


def _radius(set_up: models.TorsionSetUp, mass: Estimate, period: Amount, where: str, length: str) -> Estimate:
    timed = amount_of(period, where, "s")
    with mended(f"{where}.value", "check which period is which: a ball on the pendulum slows it"):
        return models.radius_of_gyration(set_up, timed, mass, length)


def _answer(
    model: str,
    budget: Budget,
    grounds: tuple[tuple[str, ...], tuple[str, ...]],
    quantity: str,
    raw: tuple[str, ...] = (),
) -> BudgetAnswer:
    """``grounds``: assumptions and sources. ``quantity``: what it is a reading of, empty for nothing."""
    reading, why = _reading(quantity, budget, raw) if quantity else (UNSET, ())
    return BudgetAnswer(
        model=model,
        value=budget.value,
        unit=budget.unit,
        says=tuple(format_budget(budget).splitlines()),
        assumptions=grounds[0],
        sources=grounds[1],
        reading=reading,
        reading_says=why,
        **{name: getattr(figures_of(budget), name) for name in BudgetFigures.__struct_fields__},
    )


def _reading(quantity: str, budget: Budget, raw: tuple[str, ...]) -> tuple[ReadingToEnter | UnsetType, tuple[str, ...]]:
    """What to enter, or why there is nothing to."""
    known = QUANTITIES[quantity]
    printed, expanded = UNITS[budget.unit].printed, budget.expanded()
    k = max(2.0, expanded.k)
    try:
        check_plausible(Fraction(budget.value), budget.unit, quantity)
    except MalformedQuantity as error:
        return UNSET, (f"nothing to enter: {error.problem} ({error.got}, expected {error.expected})",)
    if not 0 < k * budget.u < convert(known.high - known.low, known.units[0], budget.unit):
        why = "no term has any uncertainty" if budget.u == 0 else "U is wider than all that is plausible"
        return UNSET, (f"nothing to enter: {why}",)
    value, wide = rounded(budget.value, k * budget.u)
    reading = ReadingToEnter(
        quantity=quantity,
        unit=budget.unit,
        value=value,
        values=raw or (value,),
        statistic="mean" if len(raw) > 1 else "single",
        expanded=wide,
    )
    said = f"{value} {printed}, U = {wide} {printed}: {in_figures(k, 3)} u, rounded up, entered as U with k = 2"
    few = "; Student's t is above 2, so that few degrees of freedom are allowed for" if k > 2 else ""
    kept = ("the raw readings are entered and their mean is the statistic: none is lost",) if len(raw) > 1 else ()
    return reading, (f"{said}{few}", *kept)


def rounded(value: float, wide: float) -> tuple[str, str]:
    """A value and its U as text: U rounded up to two digits, the value to the same place; six decimal places at most.

    ``wide`` is above zero.  Rounding of the value is half to even.
    """
    exact = Decimal(f"{wide:.11e}")  # the last digits of a product are noise, and would be rounded up
    step = max(exact.adjusted() - 1, -_PLACES)
    up = exact.quantize(Decimal(1).scaleb(step), ROUND_CEILING)
    if up.adjusted() > exact.adjusted() and step > -_PLACES:
        step += 1
        up = up.quantize(Decimal(1).scaleb(step))
    near = Decimal(f"{value:.14e}").quantize(Decimal(1).scaleb(step))
    # Adding zero takes the sign off a zero, which the book does not know.
    return f"{near + 0:f}", f"{up:f}"
