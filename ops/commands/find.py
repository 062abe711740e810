"""`pourbook find`: which ball is it, by a number that is half worn, scanned or former, or by where the number lies."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from ledger.application.candidate_balls import BallCandidate
from ledger.application.finding import LISTED, Asked, FoundBalls, find_balls
from ledger.errors import MalformedInput
from ledger.store.engine import open_store
from ledger.store.reader import open_reader


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store, what was read, and what narrows it."""
    parser.add_argument(
        "serial", nargs="?", default="", help="the number as read, ? for each place that cannot be read"
    )
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument("--prefix", default="", help="the first places of the number instead")
    parser.add_argument("--first", default="", help="the first of a range of numbers instead, with --last")
    parser.add_argument("--last", default="", help="the last of the range")
    parser.add_argument("--model", help="balls of this model alone")
    parser.add_argument("--class", dest="weight_class", type=int, metavar="LB", help="balls of this class alone")
    parser.add_argument("--made-from", metavar="DATE", help="made on this day or later, YYYY-MM-DD in UTC")
    parser.add_argument("--made-to", metavar="DATE", help="made on this day or earlier")
    parser.add_argument("--as-read", action="store_true", help="take no character for a look-alike")
    parser.add_argument("--listed", type=int, default=20, metavar="N", help="list so many balls at most (20)")


def run(arguments: argparse.Namespace) -> int:
    """Print the balls that it may be; 0 where there is one at least, 1 where there is none."""
    if not 1 <= arguments.listed <= LISTED:
        raise MalformedInput(
            "number of balls is out of range",
            expected=f"1 to {LISTED}",
            got=arguments.listed,
            where="--listed",
            mend="ask for fewer, and narrow by --model or --made-from",
        )
    asked = Asked(
        serial=arguments.serial,
        prefix=arguments.prefix,
        first=arguments.first,
        last=arguments.last,
        model=arguments.model,
        weight_class=arguments.weight_class,
        made_from=arguments.made_from,
        made_to=arguments.made_to,
        alike=not arguments.as_read,
        listed=arguments.listed,
    )
    store = open_store(arguments.store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            found = find_balls(reader, asked)
    finally:
        store.close()
    print("\n".join(found_text(found)))
    return 0 if found.count else 1


def found_text(found: FoundBalls) -> list[str]:
    """The answer in lines, likeliest ball first."""
    lines = list(found.says)
    for number, ball in enumerate(found.balls, 1):
        lines += ["", *_ball_lines(number, ball)]
    if found.allotted:
        lines += ["", "allotted to a station, and on no ball: " + ", ".join(found.allotted)]
    lines += [f"note: {caution}" for caution in found.cautions]
    return lines


def _ball_lines(number: int, ball: BallCandidate) -> Iterator[str]:
    share = f", {ball.share} of the likelihood" if ball.share else ""
    yield f"{number}. {ball.serial}: unit {ball.unit} ({ball.how}{share})"
    kind = [f"model {ball.model}" if ball.model else "model not on record"]
    kind += [ball.model_name] if ball.model_name else []
    kind += ["colours " + " and ".join(ball.colours)] if ball.colours else []
    kind += [f"{ball.weight_class_lb} lb"] if ball.weight_class_lb else []
    yield f"   {', '.join(kind)}"
    state = [f"made {ball.made_on}", ball.state]
    state += [f"grade {ball.grade}"] if ball.grade else []
    state += [f"shipment {ball.shipment}"] if ball.shipment else []
    state += ["other numbers " + ", ".join(ball.other_numbers)] if ball.other_numbers else []
    yield f"   {', '.join(state)}"
    yield from (f"   {said}" for said in ball.says)
