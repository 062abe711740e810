"""`pourbook directory --plants FILE whose SERIAL` and `... check`: whose serial is this, and what do all show.

FILE names the plants: origin and address of each book, verifier lines of its checkpoint key, its serials with their days,
its products (`ledger/tracing/plants.py` shows one).  `whose` asks no one: it says which plants the number can be of, with ?
for a place that cannot be read.  With ``--ask`` those plants are asked at once, at the address that a label leads to; what
they say stands beside each, and is no verdict.  `check` reads the checkpoint of every plant and checks it by the plant's
keys; with ``--policy``, a C2SP tlog-policy file, it also says which witnesses signed and which plants share none of them.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Iterator, Sequence
from pathlib import Path

from api.outgoing import Outgoing, check_address
from ledger.application.asking_plants import NOT_THE_BALL, Answered, Unanswered, ask_plants, heads_of, whole_number
from ledger.application.pourbook import wall_clock_ms
from ledger.application.public import PublicBall
from ledger.book.policy import Policy, parse_policy
from ledger.errors import MalformedInput
from ledger.evidence.plant_heads import PlantHead, without_common
from ledger.tracing.plants import Plant, parse_plants
from ledger.tracing.whose_serial import CanBe, cautions_of, read_number, whose_serial
from ledger.warranty.partial_serial import Pattern

PAIRS_SHOWN = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the directory, the two questions and what each takes."""
    parser.add_argument("--plants", type=Path, required=True, metavar="FILE", help="the directory of plants, TOML")
    questions = parser.add_subparsers(dest="question", required=True, metavar="whose|check")
    whose = questions.add_parser("whose", help="which plants a number can be of; 1 where the directory knows none")
    whose.add_argument(
        "serial", help="the number, ? for each place that cannot be read; or the address in a label's code"
    )
    whose.add_argument("--made-on", type=dt.date.fromisoformat, metavar="DATE", help="the day of engraving, YYYY-MM-DD")
    whose.add_argument("--gtin", default="", help="the product, as its label has it")
    whose.add_argument("--as-read", action="store_true", help="take no character for a look-alike")
    whose.add_argument("--ask", action="store_true", help="ask those plants, all at once")
    check = questions.add_parser("check", help="the checkpoint of every plant; 1 where one is missing or wrong")
    check.add_argument(
        "--policy", type=Path, metavar="FILE", help="the witnesses that all plants share (C2SP tlog-policy)"
    )
    for asking in (whose, check):
        asking.add_argument("--seconds", type=float, default=5.0, help="for each request, as a whole (5)")


def run(arguments: argparse.Namespace) -> int:
    """Print the answer; 0, or 1 where no plant is known or a checkpoint is missing, wrong or not witnessed as asked."""
    plants = read_plants(arguments.plants)
    if not 0 < arguments.seconds <= 300:
        raise MalformedInput("time for a request is out of range", expected="above 0, at most 300 s", where="--seconds")
    send = Outgoing(arguments.seconds)
    if arguments.question == "check":
        policy = None if arguments.policy is None else parse_policy(_read(arguments.policy))
        heads = heads_of(plants, send, policy)
        print("\n".join(head_lines(heads, policy, wall_clock_ms() // 1000)))
        return 0 if is_whole(heads, policy) else 1
    number = read_number(arguments.serial, arguments.gtin)
    alike = not arguments.as_read and not number.scanned
    found = whose_serial(plants, number.pattern, alike=alike, made_on=arguments.made_on, gtin=number.gtin)
    print("\n".join(whose_lines(found, number.pattern)))
    if arguments.ask and found:
        print("\n".join(answer_lines(ask_plants(found, send, gtin=number.gtin))))
    return 0 if found else 1


def read_plants(file: Path) -> tuple[Plant, ...]:
    """The directory in a file. Raises MalformedInput naming the line."""
    return parse_plants(_read(file), str(file), lambda url, where: check_address(url, where=where))


def whose_lines(found: Sequence[CanBe], pattern: Pattern) -> Iterator[str]:
    """Which plants the number can be of, by which serials, as read or by a look-alike."""
    if not found:
        yield f"{pattern.typed}: of no plant in this directory, as far as it says; it may lack a plant or a scheme"
    for one in found:
        taken = ", ".join(f"place {n} is {one.guess.places[n - 1]}" for n in one.guess.alike)
        number = whole_number(one.guess)
        solved = f"; then it is {number}" if number is not None and (taken or one.guess.unread) else ""
        yield f"{one.plant.id}: it can be, by {one.issued.words}{f', if {taken}' if taken else ''}{solved}"
    for caution in cautions_of(found):
        yield f"  {caution}"


def answer_lines(answers: Sequence[Answered | Unanswered]) -> Iterator[str]:
    """What each plant said, or why it said nothing."""
    yield "asked:"
    for one in answers:
        product = f" ({one.gtin})" if one.gtin else ""
        if isinstance(one, Unanswered):
            yield f"{one.plant.id}{product}: no answer, {printable(one.why)}"
            continue
        yield f"{one.plant.id}{product}: {printable(one.answer.statement)}"
        yield from (f"  {_ball_words(ball)}" for ball in one.answer.balls)
    yield f"  {NOT_THE_BALL}"


def head_lines(heads: Sequence[PlantHead | Unanswered], policy: Policy | None, now_s: int) -> Iterator[str]:
    """A line for each plant, then what they lack in common."""
    for head in heads:
        if isinstance(head, Unanswered):
            yield f"{head.plant.id}: {printable(head.why)}"
        else:
            yield f"{head.plant.id}: {head.size:,} entries, signed by its own key; {_witness_words(head, now_s)}"
    if policy is None:
        yield "  which witnesses signed was not checked, and so no age is known: give --policy"
        return
    checked = [head for head in heads if isinstance(head, PlantHead)]
    pairs = without_common(checked)
    for one, other in pairs[:PAIRS_SHOWN]:
        yield f"  no witness in common: {one.id} and {other.id}"
    if len(pairs) > PAIRS_SHOWN:
        yield f"  no witness in common: {len(pairs) - PAIRS_SHOWN:,} more pairs"
    shared = set.intersection(*({*head.witnesses} for head in checked)) if checked else set()
    if len(checked) > 1:
        yield f"  witnesses of all that answered: {', '.join(sorted(shared)) or 'none'}"


def is_whole(heads: Sequence[PlantHead | Unanswered], policy: Policy | None) -> bool:
    """Whether every plant showed a head that checks, and by a policy: is witnessed as it asks, with no pair apart."""
    checked = [head for head in heads if isinstance(head, PlantHead)]
    reached = all(head.quorum is None or head.quorum.reached for head in checked)
    return len(checked) == len(heads) and reached and (policy is None or not without_common(checked))


def printable(text: str) -> str:
    """Text of another party as it may be printed: at most 200 characters, none of which moves a cursor."""
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text[:200])


def _witness_words(head: PlantHead, now_s: int) -> str:
    if head.published_size is None:
        return "none published, so no witness signed it"
    behind = f"published at {head.published_size:,}"
    if head.quorum is None:
        return behind
    if head.signed_at is None:
        return f"{behind}, signed by no witness of the policy"
    short = "" if head.quorum.reached else f" (not {head.quorum.asks})"
    return f"{behind}, signed by {', '.join(head.witnesses)}{short}, last {_age(now_s - head.signed_at)}"


def _age(seconds: int) -> str:
    if seconds < 0:
        return "in the future by this machine's clock"
    for size, unit in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= 2 * size:
            return f"{seconds // size} {unit} ago"
    return f"{seconds} s ago"


def _ball_words(ball: PublicBall) -> str:
    weight = "" if ball.weight_class_lb is None else f" {ball.weight_class_lb} lb"
    replaced = "; the number was replaced" if ball.number_replaced else ""
    return printable(f"{ball.brand} {ball.model}{weight}, made on {ball.made_on}: {ball.status}{replaced}")


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise MalformedInput(f"file cannot be read: {error.strerror}", where=str(file)) from error
