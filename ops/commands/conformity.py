"""`pourbook conformity`: how a selection of balls comes out under a rulebook, as a table for a report."""

from __future__ import annotations

import argparse

from ledger.application.conformity_query import Conformity, conformity_of
from ledger.application.judging import find_rulebook
from ledger.conformity.population import Worst
from ledger.conformity.requirement import Requirement
from ledger.conformity.verdict import OUTCOMES
from ledger.conformity.words import OUTCOME_WORDS
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ops.selection import add_selection, selection_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store, the rulebook and the selection."""
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument("--rulebook", required=True, help="id of the rulebook, such as usbc-2026")
    add_selection(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the table; 0, or an error of the tree in `ledger.errors`."""
    store = open_store(arguments.store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            answer = conformity_of(reader, selection_of(arguments), arguments.rulebook)
    finally:
        store.close()
    print("\n".join(table(answer)))
    return 0


def table(answer: Conformity) -> list[str]:
    """The answer in lines: counts for each limit with its provenance, the nearest ball, and the caution."""
    rulebook = find_rulebook(answer.rulebook).rulebook
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
                "" if worst is None else f"{worst.margin} {requirement.unit}",
                "" if worst is None else worst.ball,
                requirement.provenance,
            ]
        )
    widths = [max(len(row[column]) for row in rows) for column in range(len(header))]
    lines += ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    whole = ", ".join(f"{OUTCOME_WORDS[outcome]} {count}" for outcome, count in answer.tally.overall.items() if count)
    return [*lines, "", f"whole balls: {whole or 'none'}", answer.caution]


def limit_words(requirement: Requirement) -> str:
    """A limit in words: the quantity, its operator and its figures in the unit printed."""
    figures = " to ".join(requirement.limits)
    operator = "" if requirement.operator == "range" else f"{requirement.operator} "
    return f"{requirement.quantity} {operator}{figures} {requirement.unit}"
