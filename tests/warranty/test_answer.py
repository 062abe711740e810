"""Answers to warranty questions."""

from __future__ import annotations

import datetime as dt
from typing import Any

import msgspec
import pytest

from ledger.warranty.answer import CAUTION, Question, answer_question, near_edge
from ledger.warranty.ball_record import (
    BallRecord,
    Cure,
    EarlierClaim,
    Figure,
    LotRecord,
    OldBall,
    Remark,
    Replaced,
    SisterClaims,
)
from ledger.warranty.out_of_family import RULE
from ledger.warranty.terms import DEFAULT_IN_FORCE, Exclusion, Term, Terms, TermsInForce, TermsSource

ASKED = Question(serial="7Q24M29KA", on=dt.date(2025, 3, 1), bought_on=dt.date(2024, 9, 1))


def ball(**more: Any) -> BallRecord:
    """A ball of the number asked about, with nothing odd on record."""
    fields: dict[str, Any] = {
        "unit": "U-1",
        "serial": "7Q24M29KA",
        "model": "ROC",
        "model_name": "Rockrose",
        "made_on": dt.date(2024, 5, 6),
        "weight_class": 15,
        "state": "shipped",
        "grade": "first",
        "facts": ("40.0",),
    }
    return BallRecord(**(fields | more))


def plant_terms(*terms: Term) -> TermsInForce:
    """Terms that the plant adopted."""
    return TermsInForce(Terms(term=terms), TermsSource(said="adopted", digest="ab" * 32, fact="5.0"))


def test_an_ordinary_ball_gets_a_short_answer() -> None:
    """One ball, in term, nothing odd: the answer says so and leaves the decision to a person."""
    answer = answer_question(ASKED, [ball()])
    assert ("made by us", CAUTION) == (answer.standing, answer.caution)
    assert "in term" == answer.balls[0].term.outcome
    assert "in term; nothing stands out about it or its lots: examine the ball for a maker's fault" == (
        answer.balls[0].proposal
    )


@pytest.mark.parametrize(
    ("balls", "issued", "standing"),
    [
        ([], False, "unknown"),
        ([], True, "number issued, no ball registered"),
        ([ball(), ball(unit="U-2")], True, "several balls"),
    ],
)
def test_each_standing_has_its_word(balls: list[BallRecord], *, issued: bool, standing: str) -> None:
    """Unknown, issued without a ball, and several balls are told apart, and none is guessed at."""
    answer = answer_question(ASKED, balls, issued=issued)
    assert (standing, len(balls)) == (answer.standing, len(answer.balls))


def test_lots_are_told_with_their_certainty() -> None:
    """The answer says of what the ball is made, and how surely."""
    lots = (
        LotRecord(lot="S1", stage="shell", certainty="certain"),
        LotRecord(lot="C2", stage="core", certainty="possible"),
    )
    assert (
        "shell lot S1: certain",
        "core lot C2: possible: the records do not tell which of several lots it took",
    ) == answer_question(ASKED, [ball(lots=lots)]).balls[0].of_what


def test_each_reason_names_its_facts() -> None:
    """Breaches, holds, concessions, late facts, near cures and claims are told, each with the facts that show it."""
    lots = (
        LotRecord(
            lot="C2",
            stage="core",
            certainty="possible",
            remarks=(Remark(sort="breach", said="block-rest lasted 20 h", facts=("12.0",)),),
            cures=(Cure(stage="core-rest", lasted_s=86_500, min_s=86_400, facts=("13.0",)),),
            sisters=SisterClaims(claims=9, balls=48, facts=("90.0", "91.0")),
        ),
    )
    record = ball(
        lots=lots,
        remarks=(Remark(sort="concession", said="pin mark off", facts=("44.0",)),),
        claims=(EarlierClaim(claim="CL-1", mode="pin-loose", state="reject", facts=("80.0",)),),
    )
    reasons = answer_question(ASKED, [record]).balls[0].stands_out
    assert [
        ("unit:U-1", "certain", ("44.0",)),
        ("unit:U-1", "certain", ("80.0",)),
        ("lot:C2", "possible", ("12.0",)),
        ("lot:C2", "possible", ("13.0",)),
        ("lot:C2", "possible", ("90.0", "91.0")),
    ] == [(reason.about, reason.certainty, reason.facts) for reason in reasons]
    assert "9 claims among 48 other balls that hold or may hold something of core lot C2" == reasons[-1].said


def test_no_claims_on_sisters_is_no_reason() -> None:
    """A lot without claims does not stand out."""
    lot = LotRecord(lot="C2", stage="core", certainty="certain", sisters=SisterClaims(claims=0, balls=48))
    assert () == answer_question(ASKED, [ball(lots=(lot,))]).balls[0].stands_out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"serial": "2345ACDFG"}, "7Q24M29KA is a former number of this ball; it now bears 2345ACDFG"),
        ({"serial": None}, "7Q24M29KA is a former number of this ball; it bears no number now"),
        ({"state": "scrapped"}, "the book has this ball as scrapped: it should not be with an owner"),
    ],
)
def test_a_ball_that_should_not_be_there_is_named(more: dict[str, Any], said: str) -> None:
    """A former number and a ball that was never to leave are told first."""
    assert said == answer_question(ASKED, [ball(**more)]).balls[0].stands_out[0].said


@pytest.mark.parametrize(
    ("lasted", "named"),
    [(86_399, False), (86_400, True), (87_300, True), (87_301, False), (90_000, True), (90_001, False)],
)
def test_a_cure_near_an_edge_is_named(lasted: int, *, named: bool) -> None:
    """Within the margin of either end, inclusive; outside the window it is a breach and told as such."""
    cure = Cure(stage="final-cure", lasted_s=lasted, min_s=86_400, max_s=90_000)
    assert named == bool(near_edge(cure, 900))


@pytest.mark.parametrize(("lasted", "named"), [(300, True), (315, True), (316, False), (390, False)])
def test_minutes_are_not_always_near(lasted: int, *, named: bool) -> None:
    """In a window of minutes only a twentieth of its least time counts as near."""
    cure = Cure(stage="block-demould", lasted_s=lasted, min_s=300, max_s=540)
    assert named == bool(near_edge(cure, 900))


def test_the_terms_of_the_model_are_used() -> None:
    """A model's own term decides."""
    answer = answer_question(ASKED, [ball()], plant_terms(Term(model="ROC", months=3, source="plant"))).balls[0]
    assert ("out of term", dt.date(2024, 12, 1)) == (answer.term.outcome, answer.term.last_day)
    assert answer.proposal.startswith("out of term;")
    assert "3 months from purchase (ROC, any market; source: plant)" == answer.rule


def test_the_fault_may_be_excluded() -> None:
    """A failure mode that the term does not cover is told in the words of the term."""
    term = Term(months=12, exclusion=(Exclusion(mode="engraving", words="worn numbers"),), source="plant")
    asked = msgspec.structs.replace(ASKED, mode="engraving")
    answer = answer_question(asked, [ball()], plant_terms(term)).balls[0]
    assert ("excluded", ("worn numbers",)) == (answer.term.outcome, answer.term.reasons)
    assert answer.proposal.startswith("excluded; nothing stands out")


def test_the_answer_says_by_which_terms() -> None:
    """The digest and the fact of the adoption, or that none was adopted, and the rule of families."""
    assert DEFAULT_IN_FORCE.source == answer_question(ASKED, [ball()]).terms
    told = answer_question(ASKED, [ball()], plant_terms(Term(months=1, source="plant")))
    assert ("5.0", "ab" * 32, RULE) == (told.terms.fact, told.terms.digest, told.family_rule)


def test_a_fresh_replacement_begins_anew() -> None:
    """Its term runs from the day of replacing, whatever day of purchase is told."""
    replaced = Replaced(claim="WC-1", on=dt.date(2024, 12, 24), facts=("70.0",))
    term = answer_question(ASKED, [ball(replaced=replaced)]).balls[0].term
    assert ("in term", dt.date(2025, 12, 24)) == (term.outcome, term.last_day)
    assert "it came as a replacement under claim WC-1 on 2024-12-24, with a fresh term" == term.reasons[0]


def test_a_replacement_may_carry_on_the_old_term() -> None:
    """By the dates, the model and the grade of the ball that it replaced; the day told now is of the new one."""
    old = OldBall(number="P-7", model="ROC", made_on=dt.date(2023, 1, 2), bought_on=dt.date(2024, 2, 29))
    replaced = Replaced(claim="WC-1", on=dt.date(2024, 12, 24), old=old, facts=("70.0",))
    term = answer_question(ASKED, [ball(replaced=replaced)]).balls[0].term
    assert ("out of term", dt.date(2025, 2, 28)) == (term.outcome, term.last_day)
    assert "it came as a replacement under claim WC-1, with what remained of the term of P-7" == term.reasons[0]


def test_a_figure_out_of_family_stands_out() -> None:
    """The figure, its family and the rule's measure are told, with the fact of the reading; the others are listed only."""
    others = tuple(74_000_000 + step * 100_000 for step in range(-20, 21))
    figures = (
        Figure(
            what="hardness",
            unit="Shore D",
            value=68_000_000,
            parts=1_000_000,
            others=others,
            among="of M",
            facts=("41.0",),
        ),
        Figure(
            what="mass",
            unit="lb",
            value=15_000_000,
            parts=1_000_000,
            others=(15_000_000,) * 29,
            among="of M",
            facts=("41.0",),
        ),
    )
    lots = (
        LotRecord(
            lot="S1",
            stage="shell",
            certainty="possible",
            figures=(Figure(what="final-cure", unit="s", value=9, others=(5,) * 30, among="of lots", facts=("30.0",)),),
        ),
    )
    answer = answer_question(ASKED, [ball(figures=figures, lots=lots)]).balls[0]
    assert ["out of family", "too few", "no spread"] == [one.outcome for one in answer.compared]
    (reason,) = answer.stands_out
    assert ("out of family", "unit:U-1", ("41.0",)) == (reason.sort, reason.about, reason.facts)
    # The others lie evenly from 72 to 76, so the MAD is 1.
    assert (
        "out of family: hardness 68 Shore D lies 4.1 robust sigmas below 41 others of M: median 74 Shore D, "
        "robust sigma 1.4826 Shore D"
    ) == reason.said
    assert "it takes 30" in answer.compared[1].said
    assert ("lot:S1", "possible") == (answer.compared[2].about, answer.compared[2].certainty)


@pytest.mark.parametrize(
    ("link", "said"),
    [
        ("same ball", "earlier claim CL-1 on this ball (void): reject"),
        ("same fault", "earlier claim CL-1 on this ball for the same fault (void): reject"),
        ("later", "later claim CL-1 on this ball (void): reject"),
        ("replacement", "it came as the replacement under claim CL-1 (void): reject"),
    ],
)
def test_each_link_between_claims_has_its_words(link: Any, said: str) -> None:
    """How another claim has to do with the ball is said."""
    claims = (EarlierClaim(claim="CL-1", mode="void", state="reject", link=link, certainty="possible", facts=("9.0",)),)
    (reason,) = answer_question(ASKED, [ball(claims=claims)]).balls[0].stands_out
    assert ("claim", said, "possible", ("9.0",)) == (reason.sort, reason.said, reason.certainty, reason.facts)


def test_rejected_claims_on_sisters_are_told_apart() -> None:
    """They are counted, and the count says how many they are."""
    lot = LotRecord(lot="C2", stage="core", certainty="certain", sisters=SisterClaims(claims=4, balls=9, rejected=3))
    (reason,) = answer_question(ASKED, [ball(lots=(lot,))]).balls[0].stands_out
    assert reason.said.endswith("something of core lot C2, 3 of them rejected")


def test_an_answer_becomes_json() -> None:
    """The answer is plain data."""
    raw = msgspec.json.encode(answer_question(ASKED, [ball()]))
    assert "in term" == msgspec.json.decode(raw)["balls"][0]["term"]["outcome"]
