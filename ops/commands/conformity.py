"""`pourbook conformity`: how a selection of balls comes out under a rulebook, as a table for a report.

For one ball (``--serial``) it prints every verdict with its reasons, and how its weight compares with its recipe's; ``--list N`` does so for the first N balls of a
selection that do not conform, or are undecided.  ``--csv`` and ``--parquet`` write one line a ball to a file.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from msgspec import UnsetType

from ledger.application.adopted_files import find_rulebook
from ledger.application.conformity_query import LISTED, Conformity, JudgedBall, conformity_of
from ledger.application.conformity_table import write_table
from ledger.application.mass_check import MassCheck, mass_check
from ledger.conformity.population import Worst
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.verdict import CAUTION, OUTCOMES
from ledger.conformity.words import OUTCOME_WORDS, plain_line
from ledger.line.quantity import QUANTITIES, UNITS
from ledger.store.reader import Reader
from ops.reading_store import add_store, reading_store
from ops.selection import add_selection, selection_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store, the rulebook and the selection."""
    add_store(parser)
    parser.add_argument("--rulebook", required=True, help="id of the rulebook, such as usbc-2026")
    parser.add_argument("--list", dest="listed", type=int, default=0, metavar="N", help="print the verdicts of N balls")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write one line a ball to this file")
    parser.add_argument(
        "--parquet", type=Path, metavar="FILE", help="the same as Parquet (an extra: pourbook[parquet])"
    )
    add_selection(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the table; 0, or an error of the tree in `ledger.errors`."""
    with reading_store(arguments) as reader:
        _answer(reader, arguments)
    return 0


def _answer(reader: Reader, arguments: argparse.Namespace) -> None:
    selection = selection_of(arguments)
    for form in ("csv", "parquet"):
        file: Path | None = getattr(arguments, form)
        if file is not None:
            with file.open("wb") as out:
                count = write_table(reader, selection, arguments.rulebook, out=out, form=form)
            print(f"{count} balls in {file}")
    if arguments.csv is not None or arguments.parquet is not None:
        return
    answer = conformity_of(reader, selection, arguments.rulebook, listed=LISTED if arguments.listed else 0)
    rulebook = find_rulebook(reader, answer.digest).rulebook
    if arguments.serial is not None:
        one = conformity_of(reader, selection, arguments.rulebook, listed=1)
        for ball in one.balls:
            print("\n".join([*verdict_lines(ball, every=True), *mass_lines(mass_check(reader, ball.unit))]))
        print(CAUTION)
        return
    print("\n".join(table(answer, rulebook)))
    wanted = [ball for ball in answer.balls if ball.judged.outcome in ("does_not_conform", "undecided")]
    for ball in wanted[: arguments.listed]:
        print("\n".join(["", *verdict_lines(ball, every=False)]))


def verdict_lines(ball: JudgedBall, *, every: bool) -> list[str]:
    """One ball and its verdicts in lines, with reasons; ``every`` one that applies, or only those that stand in the way."""
    judged = ball.judged
    head = f"{ball.serial or ball.unit}, {ball.state}, lot {ball.lot}: {OUTCOME_WORDS[judged.outcome]}"
    lines = [f"{head} under {judged.rulebook}, edition {judged.edition}"]
    for verdict in judged.verdicts:
        house = None if isinstance(verdict.house, UnsetType) else verdict.house
        clear = verdict.outcome == "conforms" and (house is None or house.outcome == "conforms")
        if verdict.outcome == "not_applicable" or (clear and not every):
            continue
        lines.append(f"  {plain_line(verdict)}")
        lines += [f"    - {reason}" for reason in verdict.reasons if not clear]
    return lines


def mass_lines(check: MassCheck) -> list[str]:
    """What the recipe says of a ball's weight, in lines; none where its model states no construction to predict it by."""
    if not check.by_lots:
        return []
    lines = [f"  mass by the recipe: {check.outcome.replace('_', ' ')}"]
    for by in check.by_lots:
        lots = f"block {by.block_batch} in {by.block_lot}, core {by.core_batch} in {by.core_lot}, shell {', '.join(by.colours)}"
        said = f"{by.predicted_g} g, U = {by.expanded_g} g" if by.predicted_g else "; ".join(by.missing)
        lines.append(f"    {lots}: {said}")
        if by.comparison is not None:
            lines.append(f"      {by.comparison.sentence}")
    return [*lines, *(f"    {said}" for said in (*check.missing, *check.notes)), f"    {check.caution}"]


def table(answer: Conformity, rulebook: Rulebook) -> list[str]:
    """The answer in lines: counts for each limit with its provenance, the nearest ball, and the caution."""
    lines = [f"{answer.tally.balls} balls under {rulebook.title}, edition {rulebook.edition}", ""]
    shown = [outcome for outcome in OUTCOMES if any(counts.get(outcome) for counts in answer.tally.counts.values())]
    header = ["limit", *(OUTCOME_WORDS[outcome] for outcome in shown), "nearest margin", "ball", "limit read"]
    rows = [header]
    for requirement in rulebook.requirement:
        counts = answer.tally.counts.get(requirement.id, {})
        if not any(counts.get(outcome) for outcome in shown if outcome != "not_applicable"):
            continue
        worst: Worst | None = next(iter(answer.tally.worst.get(requirement.id, ())), None)
        rows.append(
            [
                limit_words(requirement),
                *(str(counts.get(outcome, 0)) for outcome in shown),
                "" if worst is None else f"{worst.margin} {UNITS[requirement.unit].printed}",
                "" if worst is None else worst.ball,
                requirement.provenance,
            ]
        )
    widths = [max(len(row[column]) for row in rows) for column in range(len(header))]
    lines += ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    whole = ", ".join(f"{OUTCOME_WORDS[outcome]} {count}" for outcome, count in answer.tally.overall.items() if count)
    return [*lines, "", f"whole balls: {whole or 'none'}", answer.caution]


def limit_words(requirement: Requirement) -> str:
    """A limit in words: the quantity, its operator and its figures in the unit printed, and the clock it goes by."""
    clock = "" if requirement.clock == "manufacture" else f", by date of {requirement.clock}"
    return f"{QUANTITIES[requirement.quantity].name} {requirement.limit_text}{clock}"
