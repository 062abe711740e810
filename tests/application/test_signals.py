"""Signals over a real book: the bad lot with what shares its balls, one member in full, and what cannot be asked."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.application.signals import Signals, SignalsAsked, draw_family, signals_of
from ledger.application.survival_view import (
    MemberInClaims,
    draw_member_forecast,
    draw_member_survival,
    member_in_claims,
)
from ledger.errors import MalformedInput, MalformedQuantity, NotFound
from ledger.store.reader import open_reader
from ledger.warranty.members import FAMILIES
from tests.application.claimed_plant import BAD_CLAIMS, BALLS, claimed_plant, unit_of
from tests.application.floor import Floor, at
from tests.conformity.pictures import inside, read_back, words_of


@pytest.fixture(scope="module")
def floor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Floor]:
    """Three shell lots on the market for 200 days; the claims are on the second."""
    made = claimed_plant(tmp_path_factory.mktemp("claimed"))
    yield made
    made.book.close()


def looked(floor: Floor, **asked: object) -> Signals:
    """A look at the plant."""
    with open_reader(floor.book.store) as reader:
        return signals_of(reader, SignalsAsked(floor.now_ms, **asked))  # type: ignore[arg-type]  # fields by their names


def member(floor: Floor, name: str = "SL-2", **asked: object) -> MemberInClaims:
    """One shell lot."""
    with open_reader(floor.book.store) as reader:
        return member_in_claims(reader, SignalsAsked(floor.now_ms, "shell", **asked), name)  # type: ignore[arg-type]  # as above


def test_the_bad_lot_signals_in_every_family_that_has_it(floor: Floor) -> None:
    """The shell lot, its core and block lots, the mould set and the line; and nothing that other balls share."""
    look = looked(floor)
    found = {family.family: [one.name for one in family.listed if one.stands == "signal"] for family in look.families}
    assert {"block": ["BL-2"], "core": ["CL-2"], "shell": ["SL-2"], "mould": ["MS-2"], "station": ["L-2"]} == {
        family: names for family, names in found.items() if names
    }
    assert (list(FAMILIES), 3 * BALLS, BAD_CLAIMS + 2) == (
        [one.family for one in look.families],
        look.balls,
        look.claims,
    )


def test_a_look_says_what_it_left_out_and_what_its_rate_means(floor: Floor) -> None:
    """In words that stand alone."""
    look = looked(floor)
    assert {"no-ball": 1} == look.apart
    said = "\n".join(look.says)
    for words in ("1 not counted: no ball of the book", "shell SL-2: 14 claims, 4.3 expected, 19.04 times",
                  "with a chance of at most 0.05", "holds nothing by itself"):  # fmt: skip
        assert words in said


def test_possible_balls_are_marked(floor: Floor) -> None:
    """CL-3 went into SL-3 with CL-1: its balls may be of the one or the other."""
    cores = {one.name: one for one in looked(floor, family="core").families[0].listed}
    assert (BALLS, BALLS) == (cores["CL-3"].balls, cores["CL-3"].possible_balls)
    assert (2 * BALLS, BALLS) == (cores["CL-1"].balls, cores["CL-1"].possible_balls)
    assert (BALLS, 0) == (cores["CL-2"].balls, cores["CL-2"].possible_balls)


def test_as_of_an_earlier_day(floor: Floor) -> None:
    """Thirty days after the sale there were three claims, and no signal yet."""
    look = looked(floor, family="shell", on="2026-10-25")
    assert ("2026-10-25", 3, 0) == (look.on, look.claims, look.families[0].signals)
    assert any("no signal" == said for said in look.says)


def test_members_are_listed_as_asked(floor: Floor) -> None:
    """The first of them; the counts are of all."""
    [shell] = looked(floor, family="shell", listed=1).families
    assert (["SL-2"], 3, 1) == ([one.name for one in shell.listed], shell.members, shell.signals)


def test_one_member_in_full(floor: Floor) -> None:
    """Curve, the rest's curve, log-rank, shares by balls, forecast, and each claim with its fact."""
    found = member(floor)
    assert (BALLS, BAD_CLAIMS, 2 * BALLS, 2) == (
        found.curve.balls, found.curve.claims, found.rest.balls, found.rest.claims,
    )  # fmt: skip
    assert (BAD_CLAIMS, BALLS, 2, 2 * BALLS) == (
        found.by_balls.claimed, found.by_balls.balls, found.by_balls.rest_claimed, found.by_balls.rest_balls,
    )  # fmt: skip
    assert found.log_rank is not None
    assert found.log_rank.p < 1e-5
    assert found.forecast.months[-1].expected > 3
    assert (unit_of(2, 0), 20, "certain") == (found.claims[0].unit, found.claims[0].days, found.claims[0].certainty)
    assert [(f"CL-{number}", "claim-opened") for number in range(BAD_CLAIMS)] == [
        (one.claim, floor.book.entry(int(one.fact.split(".", maxsplit=1)[0])).entry["said"]["records"][0]["kind"])
        for one in found.claims
    ]
    assert (("M1",), 0) == (found.models, found.earlier)


def test_a_member_without_claims_enough_for_a_forecast(floor: Floor) -> None:
    """The reason stands in the words."""
    found = member(floor, "SL-1")
    assert "a fit needs 5 claims" in found.forecast.left_out
    assert any(said.startswith("no forecast: 1 claims") for said in found.says)


def test_pictures_of_a_real_look(floor: Floor) -> None:
    """Ratios, curves and forecast, whole in themselves, with the member's name."""
    asked = SignalsAsked(floor.now_ms, "shell")
    with open_reader(floor.book.store) as reader:
        pictures = [
            draw_family(reader, asked),
            draw_member_survival(reader, asked, "SL-2"),
            draw_member_forecast(reader, asked, "SL-2", 6),
        ]
    for svg in pictures:
        root = read_back(svg)
        assert inside(root)
        assert any("SL-2" in text for text in words_of(root, "text"))


@pytest.mark.parametrize(
    ("asked", "error", "where"),
    [
        ({"on": "2026-02-30"}, MalformedInput, "on"),
        ({"on": "2126-02-01"}, MalformedInput, "on"),
        ({"q": 1.5}, MalformedQuantity, "q"),
    ],
)
def test_what_cannot_be_looked_at(floor: Floor, asked: dict[str, object], error: type[Exception], where: str) -> None:
    """A day that is none or to come, a rate that is none."""
    with pytest.raises(error, match=where):
        looked(floor, **asked)


def test_members_that_are_not_there(floor: Floor) -> None:
    """A lot that no sold ball is of is not found; a picture or a member needs a family."""
    with pytest.raises(NotFound, match="SL-9"):
        member(floor, "SL-9")
    with open_reader(floor.book.store) as reader:
        with pytest.raises(MalformedInput, match="family"):
            draw_family(reader, SignalsAsked(floor.now_ms))
        with pytest.raises(MalformedInput, match="family"):
            member_in_claims(reader, SignalsAsked(floor.now_ms), "SL-2")


def test_a_signal_that_went_away_is_said(tmp_path: Path) -> None:
    """The claims of the lot are rejected: its case stays open, and the look says that it stands no more."""
    floor = claimed_plant(tmp_path)
    suspect = {"sort": "shell-lot", "name": "SL-2"}
    case = {
        "kind": "case-opened",
        "at": at(4_900),
        "case": "C-1",
        "why": "signal",
        "reason": "claims",
        "suspect": suspect,
    }
    floor.say(case)
    before = looked(floor, family="shell")
    for number in range(BAD_CLAIMS):
        rejected = {"kind": "claim-decided", "at": at(4_900), "claim": f"CL-{number}", "decision": "reject"}
        floor.say({**rejected, "reason": "out-of-term"})
    after = looked(floor, family="shell")
    floor.book.close()
    assert [[True], [False]] == [[one.still for one in look.cases] for look in (before, after)]
    assert (2, 0) == (after.claims, after.families[0].signals)
    assert any(said.startswith("case C-1 is open, and the signal") for said in after.says)
    assert not any(said.startswith("case C-1") for said in before.says)
