"""The options by which a command selects balls."""

from __future__ import annotations

import argparse
import datetime as dt

from ledger.errors import MalformedInput
from ledger.store.selections import Selection

DAY_MS = 86_400_000


def add_selection(parser: argparse.ArgumentParser) -> None:
    """Declare the conditions; all that are given must hold."""
    parser.add_argument("--model", help="balls of this model")
    parser.add_argument("--lot", help="balls of this shell lot")
    parser.add_argument("--serial", help="the ball that bears this number")
    parser.add_argument("--state", help="balls in this state, such as engraved, released, shipped")
    parser.add_argument("--from", dest="from_on", metavar="DATE", help="engraved on this UTC day or later (YYYY-MM-DD)")
    parser.add_argument("--to", dest="to_on", metavar="DATE", help="engraved on this UTC day or earlier (YYYY-MM-DD)")


def selection_of(arguments: argparse.Namespace) -> Selection:
    """The selection that was asked for. Raises MalformedInput for a date that is none."""
    return Selection(
        model=arguments.model,
        lot=arguments.lot,
        serial=arguments.serial,
        state=arguments.state,
        from_ms=None if arguments.from_on is None else _day_ms(arguments.from_on, "--from"),
        to_ms=None if arguments.to_on is None else _day_ms(arguments.to_on, "--to") + DAY_MS - 1,
    )


def _day_ms(text: str, where: str) -> int:
    try:
        day = dt.datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=dt.UTC)
    except ValueError as error:
        raise MalformedInput("no such date", expected="YYYY-MM-DD", got=text, where=where) from error
    return int(day.timestamp()) * 1000
