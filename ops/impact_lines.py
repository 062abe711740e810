"""The answers to `What changes when ...` as lines for a report: counts, where the balls are, and the balls."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import UnsetType

from ledger.application.corrected_balls import CorrectedBall, ReadingChange, ReadingSaid
from ledger.application.impact_of_correction import ImpactOfCorrection
from ledger.application.impact_of_gauge import GaugeBall, ImpactOfGauge, Turn
from ledger.application.impact_of_rules import BallChange, ImpactOfRules
from ledger.application.impact_pass import BallPlace, Change, Where
from ledger.conformity.impact import Side, VerdictChange, transition_lines
from ledger.conformity.outcome import Outcome
from ledger.conformity.words import OUTCOME_WORDS
from ledger.line.quantity import QUANTITIES, UNITS

SHIPMENTS_SHOWN = 20


def rules_lines(answer: ImpactOfRules) -> list[str]:
    """What changes between two ways of judging a selection."""
    head = [
        "What changes when the rule does",
        f"before: {answer.before.words}",
        f"after:  {answer.after.words}",
        "",
        f"{answer.balls} balls judged on {_quantities(answer.concerned)}; {answer.change.changed} come out otherwise",
    ]
    listed = [line for one in answer.listed for line in _rules_ball(one)]
    return [*head, *_change(answer.change), *_where(answer.where), *_list(listed, more=answer.more), "", answer.caution]


def _rules_ball(one: BallChange) -> list[str]:
    return [_ball(one.ball, one.before, one.after), *_verdicts(one.changes)]


def gauge_lines(answer: ImpactOfGauge) -> list[str]:
    """What changes when a gauge was wrong."""
    name = QUANTITIES[answer.quantity].name
    supposed = "nothing in the book found it wrong; the bias is supposed"
    head = [
        f"What changes when gauge {answer.gauge} ({name}) was wrong",
        f"found wrong: {_turn(answer.found, supposed)}",
        f"since:       {_turn(answer.since, 'ever; it was not calibrated before')}",
        f"bias:        {_bias(answer)}",
        f"rulebook:    {answer.title}, edition {answer.edition}",
        "",
        f"{answer.balls} balls rest on a reading of that time, judged on {_quantities(answer.concerned)}",
        *_where(answer.where),
    ]
    if answer.lots:
        head.append(f"  lots with readings of their own: {', '.join(answer.lots)}")
    if not isinstance(answer.shifted, UnsetType):
        head += ["", f"with the bias taken out, {answer.shifted.changed} come out otherwise", *_change(answer.shifted)]
    if not isinstance(answer.shifted_where, UnsetType):
        head += _where(answer.shifted_where)
    head += ["", f"as the book stands now, {answer.now.changed} come out otherwise", *_change(answer.now)]
    listed = [line for one in answer.listed for line in _gauge_ball(one)]
    return [*head, *_list(listed, more=answer.more), "", answer.caution]


def _gauge_ball(one: GaugeBall) -> list[str]:
    if one.by_shift and not isinstance(one.shifted, UnsetType):
        return [_ball(one.ball, one.before, one.shifted, "with the bias taken out"), *_verdicts(one.by_shift)]
    return [_ball(one.ball, one.before, one.now, "as the book stands now"), *_verdicts(one.now_changes)]


def correction_lines(answer: ImpactOfCorrection) -> list[str]:
    """What changes when a correction lands."""
    judged = f"{answer.judged} judged on {_quantities(answer.concerned)}"
    judged += f"; {answer.change.changed} come out otherwise than without it"
    if not answer.judged:
        judged = "no verdict rests on what was corrected"
    surely = ", ".join(f"{count} {word}" for word, count in answer.certainties.items() if count)
    head = [
        f"What changes with correction {answer.correction} ({answer.reason})",
        *(
            f"  fact {one.fact}: {one.before} {_became(one.before, one.after)}"
            for one in answer.facts[:SHIPMENTS_SHOWN]
        ),
        f"rulebook: {answer.title}, edition {answer.edition}",
        "",
        f"{answer.balls} balls are touched ({surely})",
        *_where(answer.where),
        judged,
        *_change(answer.change),
    ]
    if answer.unfounded:
        head.append(f"  {answer.unfounded} released balls now rest on other readings than their release did")
    if answer.breaches:
        head += ["", "it showed:"]
    for breach in answer.breaches:
        hold = "" if not breach.hold else f"; hold {breach.hold} is {'open' if breach.hold_open else 'lifted'}"
        head.append(f"  {breach.code} on {breach.node}: {breach.said}{hold}")
    listed = [line for one in answer.listed for line in _corrected_ball(one)]
    return [*head, *_list(listed, more=answer.more), "", answer.caution]


def _became(before: str, after: str) -> str:
    if not after:
        return "withdrawn"
    return "said anew" if before == after else f"replaced by {after}"


def _corrected_ball(one: CorrectedBall) -> list[str]:
    lines = [_ball(one.ball, None if isinstance(one.before, UnsetType) else one.before, one.after)]
    if not isinstance(one.dates, UnsetType):
        lines.append(f"    made on {one.dates[0]} before, {one.dates[1]} now")
    lines += [f"    {_reading(change)}" for change in one.readings]
    if one.release:
        lines.append(f"    released by {one.release} on the readings before")
    return [*lines, *_verdicts(one.changes)]


def _reading(change: ReadingChange) -> str:
    name = QUANTITIES[change.quantity].name
    return f"{name}: {_said(change.before)} before, {_said(change.after)} now"


def _said(said: ReadingSaid | UnsetType) -> str:
    if isinstance(said, UnsetType):
        return "no reading"
    return f"{said.value} {UNITS[said.unit].printed} with {said.gauge} (fact {said.fact})"


def _turn(turn: Turn | UnsetType, otherwise: str) -> str:
    return otherwise if isinstance(turn, UnsetType) else f"{turn.kind} {turn.fact} of {turn.at}"


def _bias(answer: ImpactOfGauge) -> str:
    if not answer.bias:
        return "not known; give one to see the balls with it taken out"
    return f"{answer.bias} {UNITS[answer.unit].printed} ({answer.bias_from})"


def _quantities(names: Iterable[str]) -> str:
    return ", ".join(QUANTITIES[name].name for name in names) or "no limit, since the rulebook has none for it"


def _change(change: Change) -> list[str]:
    lines = [f"  {line}" for line in transition_lines(change.transitions)]
    if len(change.quantities) > 1 or (change.quantities and not lines):
        for quantity, matrix in change.quantities.items():
            lines += [f"  {QUANTITIES[quantity].name}: {line}" for line in transition_lines(matrix)]
    if not isinstance(change.house, UnsetType):
        lines += [f"  by the rule of the house: {line}" for line in transition_lines(change.house)]
    return lines


def _where(where: Where) -> list[str]:
    if not where.balls:
        return []
    states = ", ".join(f"{count} {state}" for state, count in where.states.items())
    lines = [
        f"  of these in stock {where.in_stock}, shipped {where.shipped} ({states})",
        *(
            f"    {one.balls} in shipment {one.shipment} of {one.at[:10]}, {one.purpose} (fact {one.fact})"
            for one in where.shipments[:SHIPMENTS_SHOWN]
        ),
    ]
    if where.more or len(where.shipments) > SHIPMENTS_SHOWN:
        lines.append("    and in further shipments")
    return lines


def _list(lines: list[str], *, more: bool) -> list[str]:
    if not lines:
        return []
    return ["", *lines, *(["and further balls; --list N names more"] if more else [])]


def _ball(ball: BallPlace, before: Outcome | None, after: Outcome, when: str = "") -> str:
    where = f"{ball.state} in {ball.shipment}" if ball.shipment else ball.state
    was = "not in the book" if before is None else OUTCOME_WORDS[before]
    said = f"{was}, then {OUTCOME_WORDS[after]}" if was != OUTCOME_WORDS[after] else f"{was} before and after"
    return f"{ball.serial or ball.unit} ({ball.unit}), lot {ball.lot}, {where}: {said}{f' {when}' if when else ''}"


def _verdicts(changes: Iterable[VerdictChange]) -> list[str]:
    return [f"    {QUANTITIES[one.quantity].name}: {_side(one.before)}; then {_side(one.after)}" for one in changes]


def _side(side: Side) -> str:
    words = OUTCOME_WORDS[side.outcome]
    if not side.limit:
        return f"{words} (no limit)"
    if side.value is None:
        return f"{words}, limit {side.limit}"
    printed = UNITS[side.unit].printed
    return f"{words}, {side.value} {printed} against {side.limit}, margin {side.margin} {printed}"
