"""The counts of a selection are those that one gets by looking at each of its balls."""

from __future__ import annotations

from collections import Counter

import pytest

from ledger.conformity.rulebook import shipped_rulebooks
from ledger.errors import NotFound, TooLarge
from ledger.store.selections import Selection
from tests.application.floor import START_MS, Floor, at, calibrated, engraved

ODD: tuple[dict[str, str], ...] = (
    {}, {"hardness": "72.9"}, {"mass": "16.01"}, {"circumference": "26.70"}, {"out_of_round": "0.010"},
    {"rg_low": "2.4"}, {"roughness": "55"}, {"top_weight": "3.5"},
)  # fmt: skip


@pytest.fixture
def many(ready: Floor) -> Floor:
    """Twelve balls, good and bad, one of them never measured, some read with a gauge that was found wrong later."""
    for number, readings in enumerate(ODD):
        ready.ball(f"U-{number}", f"P-{number}", 70 + number, readings=readings)
    ready.say(calibrated("hardness", 90))
    for number in range(8, 11):
        ready.ball(f"U-{number}", f"P-{number}", 100)
    ready.say(calibrated("hardness", 110, as_found_good=False))
    ready.say(engraved("U-99", "P-99", 120))
    ready.say({"kind": "scrap", "at": at(121), "unit": "U-2", "how": "scrap", "reason": "too-heavy"})
    return ready


def test_counts_equal_a_plain_loop(many: Floor) -> None:
    """Every requirement's counts, and those of whole balls, are the sums over each ball judged by itself."""
    tally = many.book.conformity(Selection(lot="SL-1"), "usbc-2026").tally
    alone = [many.book.judged(f"U-{number}")[0] for number in (*range(11), 99)]
    counts: dict[str, Counter[str]] = {}
    for judged in alone:
        for verdict in judged.verdicts:
            counts.setdefault(verdict.requirement, Counter())[verdict.outcome] += 1
    found = {name: {outcome: n for outcome, n in outcomes.items() if n} for name, outcomes in tally.counts.items()}
    assert ({name: dict(outcomes) for name, outcomes in counts.items()}, 12) == (found, tally.balls)
    overall = Counter(judged.outcome for judged in alone)
    assert dict(overall) == {outcome: n for outcome, n in tally.overall.items() if n}
    assert {"conforms", "does_not_conform", "not_measured"} == set(overall)


@pytest.mark.parametrize(
    ("selection", "balls"),
    [
        (Selection(model="M1"), 12),
        (Selection(model="M2"), 0),
        (Selection(state="scrapped"), 1),
        (Selection(unit="U-3"), 1),
        (Selection(serial="P-99"), 1),
        (Selection(from_ms=START_MS + 72 * 3_600_000, to_ms=START_MS + 74 * 3_600_000), 3),
        (Selection(lot="SL-1", state="engraved", after="U-5"), 5),
    ],
)
def test_a_selection_takes_in_what_it_says(many: Floor, selection: Selection, balls: int) -> None:
    """Model, lot, unit, number, state, instants (both ends inclusive) and page choose the balls."""
    assert balls == many.book.conformity(selection, "usbc-2026").tally.balls


def test_listed_balls_are_cut_where_asked(many: Floor) -> None:
    """The first balls of a selection are listed with their verdicts; the answer says whether there are more."""
    answer = many.book.conformity(Selection(lot="SL-1"), "usbc-2026", listed=3)
    assert (["U-0", "U-1", "U-10"], True, 12) == ([ball.unit for ball in answer.balls], answer.more, answer.tally.balls)
    assert many.book.judged("U-1")[0] == answer.balls[1].judged
    page = many.book.conformity(Selection(lot="SL-1", after="U-10"), "usbc-2026", listed=9)
    assert (9, False) == (len(page.balls), page.more)
    assert ((), False) == (many.book.conformity(Selection(), "usbc-2026").balls, False)


def test_the_answer_names_its_rulebook(many: Floor) -> None:
    """Edition and digest of what was judged by are told, with the caution."""
    answer = many.book.conformity(Selection(), "pba")
    shipped = shipped_rulebooks()["pba"]
    assert ("pba", shipped.rulebook.edition, shipped.digest) == (answer.rulebook, answer.edition, answer.digest)
    assert "not an approval" in answer.caution


def test_the_worst_balls_come_first(many: Floor) -> None:
    """Of a requirement, the balls with the least margin are named."""
    worst = many.book.conformity(Selection(), "usbc-2026").tally.worst["usbc.weight"]
    assert [("P-2", "-0.01")] == [(one.ball, one.margin) for one in worst[:1]]


def test_what_cannot_be_answered_is_refused(many: Floor) -> None:
    """An unknown rulebook and too long a list are refused."""
    with pytest.raises(NotFound, match="usbc-1900"):
        many.book.conformity(Selection(), "usbc-1900")
    with pytest.raises(TooLarge):
        many.book.conformity(Selection(), "usbc-2026", listed=1_001)
