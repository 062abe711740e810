"""`pourbook claim`: the answer about a number, or about a claim, as the desk reads it; each reason with its facts.

With a number (``pourbook claim 7Q24M29KA``) it says whose ball that is, of what it is made, in term or not, and what
stands out.  With a claim (``--id WC-012``) it also says what the facts speak for, and what each decision would still need.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence

from ledger.application.pourbook import wall_clock_ms
from ledger.application.warranty_desk import Asked, ClaimAnswer, claim_answer, warranty_answer
from ledger.errors import MalformedInput
from ledger.line.claim_reasons import SOURCE
from ledger.line.claims import STATE_WORDS
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.warranty.answer import BallAnswer, Reason, WarrantyAnswer
from ledger.warranty.proposal import DECISION_WORDS, DECISIONS, Proposal, Way

FACTS_SHOWN = 6
"""Addresses printed of one reason."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store, the number or the claim, and what is known of the purchase."""
    parser.add_argument("serial", nargs="?", help="the number on the ball, as it is read")
    parser.add_argument("--id", dest="claim", metavar="CLAIM", help="answer a claim of the book instead")
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument("--bought-on", metavar="DATE", help="the day of purchase, YYYY-MM-DD")
    parser.add_argument("--on", metavar="DATE", help="the day asked about; today by default")
    parser.add_argument("--market", default="", help="the market whose terms count")
    parser.add_argument("--mode", help="the failure mode, such as crack-over-block")


def run(arguments: argparse.Namespace) -> int:
    """Print the answer; 0, or an error of the tree in `ledger.errors`."""
    if (arguments.serial is None) == (arguments.claim is None):
        raise MalformedInput(
            "ask about one thing",
            expected="a number, or --id and a claim",
            where="claim",
            mend="`pourbook claim 7Q24M29KA`, or `pourbook claim --id WC-012`",
        )
    store = open_store(arguments.store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            if arguments.claim is not None:
                lines = claim_lines(claim_answer(reader, arguments.claim))
            else:
                asked = Asked(arguments.serial, arguments.bought_on, arguments.on, arguments.market, arguments.mode)
                lines = answer_lines(warranty_answer(reader, asked, wall_clock_ms()))
    finally:
        store.close()
    print("\n".join(lines))
    return 0


def claim_lines(claim: ClaimAnswer) -> list[str]:
    """A claim, its answer, and what the facts speak for."""
    head = f"claim {claim.claim}, opened on {claim.opened_on}: {claim.mode_words}; {STATE_WORDS[claim.state]}"
    *answer, caution = answer_lines(claim.answer)
    return [head, *answer, "", *proposal_lines(claim.proposal), caution]


def answer_lines(answer: WarrantyAnswer) -> list[str]:
    """The answer about a number, ball by ball, and the caution last."""
    lines = [f"{answer.serial or 'no number'}: {answer.said}"]
    for ball in answer.balls:
        lines += ball_lines(ball)
    source = answer.terms
    by = f" (fact {source.fact}, file {source.digest[:12]})" if source.fact else ""
    rules = [f"figures: {answer.family_rule}", f"cures: {answer.near_edge_rule}"] if answer.balls else []
    return [*lines, *rules, f"terms: {source.said}{by}", answer.caution]


def ball_lines(ball: BallAnswer) -> Iterator[str]:
    """One ball: what it is, the term, of what it is made, what stands out, and the proposal."""
    known = [
        ball.model_name or ball.model,
        "" if ball.weight_class is None else f"{ball.weight_class} lb",
        "" if ball.made_on is None else f"made on {ball.made_on}",
        ball.state,
        "" if ball.grade is None else f"grade {ball.grade}",
    ]
    yield f"  {', '.join(filter(None, known))} (unit {ball.unit}{_facts(ball.facts, '; ')})"
    yield f"  {ball.term.outcome}: {'; '.join(ball.term.reasons)}"
    yield f"    by the rule: {ball.rule}"
    yield f"  made of: {'; '.join(_short(ball.of_what))}"
    if ball.stands_out:
        yield "  stands out:"
        yield from (f"    - {_reason_line(reason)}" for reason in ball.stands_out)
    yield from _compared(ball)
    yield f"  {ball.proposal}"


def _short(of_what: Sequence[str]) -> list[str]:
    """The lots with their certainty; why a lot is only possible is said in the answer over HTTP."""
    return [said.split(": possible", 1)[0] + (": possible" if ": possible" in said else "") for said in of_what]


def _reason_line(reason: Reason) -> str:
    surely = "" if reason.certainty == "certain" else " (possible)"
    return f"{reason.about}{surely}: {reason.said}{_facts(reason.facts, ' ')}"


def _facts(facts: Sequence[str], before: str) -> str:
    if not facts:
        return ""
    more = f" and {len(facts) - FACTS_SHOWN} more" if len(facts) > FACTS_SHOWN else ""
    return f"{before}[{', '.join(facts[:FACTS_SHOWN])}{more}]"


def _compared(ball: BallAnswer) -> Iterator[str]:
    counts = Counter(one.outcome for one in ball.compared)
    if counts:
        yield f"  figures against those of their like: {', '.join(f'{many} {what}' for what, many in counts.items())}"


def proposal_lines(proposal: Proposal) -> Iterator[str]:
    """What the facts speak for and why, then what each decision would need."""
    yield f"the facts speak for: {DECISION_WORDS[proposal.speaks_for]} ({proposal.reason})"
    yield from (f"  - {said}" for said in proposal.why)
    if proposal.facts:
        yield f"  facts{_facts(proposal.facts, ' ')}"
    yield f"what each decision needs ({SOURCE}):"
    for decision in DECISIONS:
        ways = [way for way in proposal.ways if way.decision == decision]
        yield f"  {DECISION_WORDS[decision]}:"
        yield from (f"    {_way_line(way)}" for way in ways)


def _way_line(way: Way) -> str:
    against = f"; against it: {', '.join(way.against)}" if way.against else ""
    rests = f"; may rest on{_facts(way.rests_on, ' ')}" if way.rests_on else ""
    lacks = f"lacks {' and '.join(way.missing)}" if way.missing else "has what it needs"
    return f"{way.reason}: {way.words}: {lacks}{rests}{against}"
