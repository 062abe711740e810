"""Capability of the process against the limits of a rulebook, of the readings that stand and may be used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import msgspec

from ledger.application.process_doubt import Doubts, GroupDoubt
from ledger.application.process_figures import (
    FiguresAsked,
    Gathered,
    check_some,
    classes_of,
    only_group,
    printed_unit,
    title_of,
)
from ledger.application.process_limits import LimitsSeen
from ledger.application.process_risk import HouseRule, RiskSeen, house_rule, risk_of
from ledger.conformity.bins import bin_readings
from ledger.conformity.capability import Capability, assess, capability_lines
from ledger.conformity.histogram_picture import draw_histogram
from ledger.conformity.moments import gather_counts
from ledger.errors import MalformedInput
from ledger.line.quantity import UNITS
from ledger.store.reader import Reader


class GroupCapability(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One group: its capability in words and figures, or why it has none (``left_out``).

    ``risk``: the global consumer's and producer's risk, absent where an uncertainty is not known, which ``says`` tells.
    """

    group: str
    readings: int
    limits: LimitsSeen | None = None
    capability: Capability | None = None
    risk: RiskSeen | None = None
    says: tuple[str, ...] = ()
    left_out: str = ""


class CapabilityFigures(msgspec.Struct, frozen=True, kw_only=True):
    """The capability of each group, by name. ``unusable``: readings that stand and that their gauge does not let be used.

    ``statistics``: how often each statistic stands for a ball; ``weight_classes``: balls of each nominal class, in pounds.
    """

    quantity: str
    unit: str
    by: str
    unusable: int
    statistics: dict[str, int]
    weight_classes: dict[str, int]
    groups: tuple[GroupCapability, ...]


def capability_of(reader: Reader, asked: FiguresAsked) -> CapabilityFigures:
    """The capability of each group. Raises NotFound where no group has 2 readings or a limit, MalformedInput, TooLarge."""
    return capability_with_values(reader, asked)[0]


def capability_with_values(reader: Reader, asked: FiguresAsked) -> tuple[CapabilityFigures, dict[str, Counter[int]]]:
    """The same, and how often each value, in whole millionths, was read in each group."""
    if asked.rulebook is None:
        raise MalformedInput(
            "capability needs limits",
            expected="the id of a rulebook",
            where="rulebook",
            mend="name a rulebook, or ask for a chart, which needs none",
        )
    gathered = Gathered(reader, asked)
    taken = _taken(gathered, Doubts(reader, asked.quantity))
    readings, house = gathered.readings, house_rule(reader, asked.quantity)
    groups = tuple(_capability(asked, gathered, group, taken[group], house) for group in sorted(taken))
    check_some([one.left_out for one in groups], asked, readings)
    figures = CapabilityFigures(
        quantity=asked.quantity,
        unit=readings.unit,
        by=asked.by,
        unusable=readings.left_out,
        statistics=dict(sorted(readings.statistics.items())),
        weight_classes=classes_of(readings),
        groups=groups,
    )
    return figures, {group: found.values for group, found in taken.items()}


class _Taken:
    """What a group's readings leave behind: how often each value was read, and how well they are known."""

    def __init__(self) -> None:
        self.values: Counter[int] = Counter()
        self.doubt = GroupDoubt()


def _taken(gathered: Gathered, doubts: Doubts) -> dict[str, _Taken]:
    """The readings of each group, in one pass."""
    groups: dict[str, _Taken] = {}
    for chunk in gathered.chunks():
        for one in chunk:
            group = groups.setdefault(one.group, _Taken())
            group.values[one.value] += 1
            group.doubt.take(doubts.of(one, gathered.readings.unit))
    return groups


def _capability(
    asked: FiguresAsked, gathered: Gathered, group: str, taken: _Taken, house: HouseRule | None
) -> GroupCapability:
    values = taken.values
    limits, count = gathered.limits(group), values.total()
    if limits is None:
        why = f"no limit of {asked.rulebook} on one ball is in force for its newest reading"
        return GroupCapability(group=group, readings=count, left_out=why)
    if count < 2:
        return GroupCapability(group=group, readings=count, limits=limits, left_out="a spread needs 2 readings or more")
    low, high = limits.ends
    found = assess(values, low=low, high=high, strict=limits.strict)
    unit = gathered.readings.unit
    lines = capability_lines(found, title_of(asked, group), UNITS[unit].printed, _places(values))
    risk = risk_of(gather_counts(values), limits, taken.doubt, unit, house)
    risk_lines = (risk,) if isinstance(risk, str) else risk.says
    others = (f"{limits.under_others} of the readings fall under other limits",) if limits.under_others else ()
    return GroupCapability(
        group=group,
        readings=count,
        limits=limits,
        capability=found,
        risk=None if isinstance(risk, str) else risk,
        says=(*lines, *risk_lines, *limits.says, *others),
    )


def draw_capability(reader: Reader, asked: FiguresAsked) -> str:
    """The histogram of one group with its limits, SVG text. Raises as `capability_of`, and MalformedInput for several."""
    gathered = Gathered(reader, asked)
    taken = _taken(gathered, Doubts(reader, asked.quantity))
    check_some(["" for _ in taken], asked, gathered.readings)
    group = only_group(sorted(taken))
    values = taken[group].values
    limits = gathered.limits(group)
    low, high = (None, None) if limits is None else limits.ends
    strict = limits is not None and limits.strict
    return draw_histogram(
        bin_readings(values, low=low, high=high, strict=strict),
        title_of(asked, group),
        printed_unit(gathered),
        low=None if low is None else float(low),
        high=None if high is None else float(high),
        mean=float(gather_counts(values).mean),
    )


def _places(values: Iterable[int]) -> int:
    """Decimals of a mean: one more than the readings have, six at most."""
    places = 0
    for value in values:
        while places < 5 and value % 10 ** (6 - places):
            places += 1
    return places + 1
