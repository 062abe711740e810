"""`pourbook impact`: what changes when a rule does, when a gauge was wrong, when a correction lands; for a report.

Counts come first, then what is in stock and what is out, then the balls, the worst first.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Callable

from ledger.application.impact_of_correction import impact_of_correction
from ledger.application.impact_of_gauge import impact_of_gauge
from ledger.application.impact_of_rules import Under, impact_of_rules
from ledger.errors import MalformedInput
from ledger.store.reader import Reader
from ops.collector import settle_collector
from ops.impact_lines import correction_lines, gauge_lines, rules_lines
from ops.reading_store import add_store, reading_store
from ops.selection import add_selection, selection_of

DEFAULT_LISTED = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the three questions and what each takes."""
    questions = parser.add_subparsers(dest="question", required=True, metavar="rules|gauge|correction")
    rules = _question(questions.add_parser("rules", help="balls under another edition, or as of another date"))
    rules.add_argument("--against", help="the other rulebook; by default the same one")
    rules.add_argument("--made-on", metavar="DATE", help="after: as if every ball had been made on this day")
    rules.add_argument("--event-on", metavar="DATE", help="after: for an event on this day")
    rules.add_argument("--made-on-before", metavar="DATE", help="the same before")
    rules.add_argument("--event-on-before", metavar="DATE", help="the same before")
    add_selection(rules)
    gauge = _question(questions.add_parser("gauge", help="every ball measured with a gauge that was found wrong"))
    gauge.add_argument("--gauge", required=True, help="id of the gauge")
    gauge.add_argument("--found", metavar="FACT", help="the fact that found it wrong; by default the newest")
    gauge.add_argument("--bias", help="what it read too much, in its unit; by default what that calibration found")
    correction = _question(questions.add_parser("correction", help="the book with a correction, and without it"))
    correction.add_argument("--fact", required=True, help="address of the correction, or of a fact that one corrected")


def _question(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    add_store(parser)
    parser.add_argument("--rulebook", required=True, help="id or digest of the rulebook, such as usbc-2026")
    parser.add_argument(
        "--list", dest="listed", type=_whole, default=DEFAULT_LISTED, metavar="N", help="name at most N balls"
    )
    return parser


def _whole(text: str) -> int:
    number = int(text)
    if number < 0:
        raise ValueError(text)
    return number


def run(arguments: argparse.Namespace) -> int:
    """Print the report; 0, or an error of the tree in `ledger.errors`."""
    settle_collector()
    with reading_store(arguments) as reader:
        lines = _QUESTIONS[arguments.question](reader, arguments)
    print("\n".join(lines))
    return 0


def _rules(reader: Reader, asked: argparse.Namespace) -> list[str]:
    before = Under(
        asked.rulebook, _day(asked.made_on_before, "--made-on-before"), _day(asked.event_on_before, "--event-on-before")
    )
    after = Under(asked.against or asked.rulebook, _day(asked.made_on, "--made-on"), _day(asked.event_on, "--event-on"))
    return rules_lines(impact_of_rules(reader, selection_of(asked), before, after, listed=asked.listed))


def _gauge(reader: Reader, asked: argparse.Namespace) -> list[str]:
    answer = impact_of_gauge(
        reader, asked.gauge, asked.rulebook, found=asked.found, bias=asked.bias, listed=asked.listed
    )
    return gauge_lines(answer)


def _correction(reader: Reader, asked: argparse.Namespace) -> list[str]:
    return correction_lines(impact_of_correction(reader, asked.fact, asked.rulebook, listed=asked.listed))


_QUESTIONS: dict[str, Callable[[Reader, argparse.Namespace], list[str]]] = {
    "rules": _rules,
    "gauge": _gauge,
    "correction": _correction,
}


def _day(text: str | None, where: str) -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise MalformedInput("no such date", expected="YYYY-MM-DD", got=text, where=where) from error
