"""Each trouble of the plant is in the book, and can be found there by whoever looks."""

from __future__ import annotations

import pytest

from fixtures_demo import bends
from fixtures_demo.build import DemoBook
from fixtures_demo.claims import MANY, MODE
from fixtures_demo.incidents import RECALL_HOLD, RESIN_HOLD
from fixtures_demo.troubles import GROUPS, TROUBLES
from ledger.application.lot_view import LotView
from ledger.application.pourbook import Pourbook
from ledger.errors import RuleStands
from ledger.line.shipments import Shipment
from ledger.line.submission import Submission
from ledger.store.selections import Selection


def breaches_of(lot: LotView) -> set[str]:
    """The codes of all that is wrong in a lot's history."""
    return {breach.partition(":")[0] for fact in lot.history for breach in fact.breaches}


def test_troubles_are_listed_once_each() -> None:
    """The table names fourteen troubles under five questions, each once."""
    names = [trouble.name for trouble in TROUBLES]
    assert sorted(set(names)) == sorted(names)
    assert (len(names), len(GROUPS)) == (14, 5)


def test_held_resin_takes_in_certain_and_possible(demo: DemoBook, demo_book: Pourbook) -> None:
    """The open hold stands on the resin lot, and balls hold it certainly or possibly, in house and shipped."""
    assert [hold.hold for hold in demo_book.standing().open_holds] == [RESIN_HOLD]
    counts = demo_book.below(demo.resin_lot).counts
    assert {"certain released", "certain shipped", "possible released", "possible shipped"} <= set(counts)


@pytest.mark.parametrize("certainty", ["certain", "possible"])
def test_held_balls_may_not_ship(demo: DemoBook, demo_book: Pourbook, certainty: str) -> None:
    """A released ball below the held resin is refused at loading, whether it holds the resin surely or perhaps."""
    balls = demo_book.below(demo.resin_lot).balls
    unit = next(ball.unit for ball in balls if (ball.certainty, ball.state) == (certainty, "released"))
    record = Shipment(at="2026-10-31T10:00:00.000+01:00", shipment="SH-TRY", units=(unit,), consignee="a shop")
    account = demo_book.account_of(demo.tokens["shipping"])
    with pytest.raises(RuleStands, match=RESIN_HOLD):
        demo_book.submit(Submission(key=f"try-{unit}", records=(record,)), account).result()


def test_early_pour_was_breached_held_and_disposed_of(demo_book: Pourbook) -> None:
    """The early pour is in the book with its breach; its hold was conceded after four balls had been cut open."""
    lot = demo_book.lot(f"CL-{bends.EARLY_ROUND}")
    assert "block-rest-short" in breaches_of(lot)
    assert [(hold.reason, hold.open) for hold in lot.holds] == [("block-rest-short", False)]
    counts = demo_book.below(lot.lot).counts
    assert counts["certain destroyed"] == 4
    assert "certain engraved" not in counts


def test_recall_was_lifted_by_two(demo_book: Pourbook) -> None:
    """The recall is closed, and its history has two people lifting it."""
    holds = demo_book.lot(bends.RECALLED_LOT).holds
    assert [(hold.hold, hold.recall, hold.open) for hold in holds] == [(RECALL_HOLD, True, False)]
    assert demo_book.standing().facts["hold-lifted"] == 2


def test_wrong_gauge_leaves_balls_unmeasured(demo: DemoBook, demo_book: Pourbook) -> None:
    """Balls that rest on the wrong gauge count as not measured, wherever they are; some in house were read again."""
    for state in ("shipped", "released"):
        counts = demo_book.conformity(Selection(state=state), "usbc-2026").tally.counts["usbc.out-of-round"]
        assert counts["not_measured"] > 0
    assert demo.notes["read again"] > 0


def test_overdue_gauge_is_usable_again(demo_book: Pourbook) -> None:
    """Readings of the overdue gauge were breaches when they came, and stand since it was found good."""
    assert demo_book.standing().breaches["gauge-unfit"] > 40
    ball = demo_book.ball("017B-01")
    assert [reading.unusable for reading in ball.readings] == [""] * 8
    assert any("gauge-unfit" in breach for fact in ball.history for breach in fact.breaches)


def test_release_on_an_overdue_gauge_was_refused(demo: DemoBook) -> None:
    """The lot read with the overdue gauge could not be released before the gauge was found good."""
    assert demo.notes["refused SL-017B"] == 1


def test_doubtful_cure_was_undecided(demo_book: Pourbook) -> None:
    """The cure that the clock error could change is undecided, its facts are doubtful, and the lot was conceded."""
    lot = demo_book.lot(bends.DOUBTFUL_LOT)
    assert "cure-undecided" in breaches_of(lot)
    assert any(fact.doubtful for fact in lot.history)
    assert [hold.open for hold in lot.holds if hold.reason == "cure-undecided"].count(True) == 0


def test_mixed_rack_descends_possibly(demo_book: Pourbook) -> None:
    """A ball of the mixed rack has two possible core lots and no certain one."""
    above = demo_book.ball(f"{bends.MIXED_LOT[3:]}-01").materials
    cores = {(lot.lot, lot.certainty) for lot in above if lot.stage == "core"}
    assert cores == {("CL-021", "possible"), ("CL-022", "possible")}


def test_one_lot_has_many_claims(demo_book: Pourbook) -> None:
    """Nine balls of one shell lot are claimed for one reason, and the desk is told so about any of them."""
    balls = [demo_book.ball(ball.unit) for ball in demo_book.below(bends.CLAIMED_LOT).balls]
    claims = [claim.mode for ball in balls for claim in ball.claims]
    assert claims.count(MODE) == MANY
    unclaimed = next(ball.serial for ball in balls if not ball.claims and ball.serial)
    reasons = demo_book.warranty(unclaimed).balls[0].stands_out
    assert any(f"{MANY} claims" in reason.said for reason in reasons)


def test_wrong_lot_was_corrected(demo_book: Pourbook) -> None:
    """Twelve registrations were breaches at night and right in the morning; both lots add up; nothing was edited."""
    assert demo_book.standing().corrected == bends.NIGHT_BALLS
    ball = demo_book.ball(f"{bends.RIGHT_LOT[3:]}-01")
    assert ball.lot == bends.RIGHT_LOT
    assert ball.history[0].corrected_by
    entry = demo_book.entry(int(ball.history[0].fact.partition(".")[0])).entry
    assert entry["said"]["records"][0]["lot"] == bends.NIGHT_LOT
    assert [breach["code"] for breach in entry["breaches"]] == ["over-drawn"]
    assert [demo_book.lot(lot).account.left for lot in (bends.NIGHT_LOT, bends.RIGHT_LOT)] == [0, 0]


def test_both_numbers_of_a_ball_engraved_anew_are_found(demo_book: Pourbook) -> None:
    """The old and the new number lead to the same ball."""
    for place in bends.REENGRAVED:
        unit = f"{bends.REENGRAVED_LOT[3:]}-{place:02d}"
        old, new = (number.serial for number in demo_book.ball(unit).numbers)
        assert [found.unit for found in demo_book.find(old)] == [unit]
        assert [found.unit for found in demo_book.find(new)] == [unit]


def test_late_report_is_marked(demo_book: Pourbook) -> None:
    """The pour told three hours late is marked so, and no other report is."""
    history = demo_book.lot(f"CL-{bends.LATE_ROUND}").history
    assert [fact.kind for fact in history if fact.late] == ["cores-poured"]
    assert demo_book.standing().late == 1


def test_grades_and_ends_are_in_the_book(demo_book: Pourbook) -> None:
    """Second quality, prototypes, rework, scrap and destructive tests all occur."""
    standing = demo_book.standing()
    assert standing.grades["second"] > 10
    assert standing.grades["prototype"] == 8
    assert standing.facts["rework"] > 0
    assert (standing.balls["scrapped"] > 0, standing.balls["destroyed"]) == (True, 4)


def test_prototypes_may_be_nothing_else(demo: DemoBook, demo_book: Pourbook) -> None:
    """A ball of the unapproved construction is refused as first quality."""
    unit = next(ball.unit for ball in demo_book.below("SL-P01A").balls if ball.state == "released")
    with pytest.raises(RuleStands):
        demo_book.release([unit], "first", "try-first", demo_book.account_of(demo.tokens["quality-1"])).result()


def test_unknown_number_is_claimed(demo_book: Pourbook) -> None:
    """One claim names a number that no ball bears, and is flagged."""
    assert demo_book.standing().breaches["claim-foreign-number"] == 1
    assert demo_book.standing().claims == 19
