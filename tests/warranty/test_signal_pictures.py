"""The three pictures of claims: whole in themselves, told in words, nothing by colour alone."""

from __future__ import annotations

import itertools

import pytest

from ledger.errors import MalformedQuantity
from ledger.warranty.exposure import Cohort, Spell, spell_columns
from ledger.warranty.forecast import Forecast, forecast_claims
from ledger.warranty.forecast_picture import draw_forecast
from ledger.warranty.lot_signals import FamilyLook, Roll, look_at
from ledger.warranty.signal_picture import MOST, draw_signals
from ledger.warranty.survival import ages_at_risk, kaplan_meier, log_rank
from ledger.warranty.survival_picture import draw_survival
from tests.conformity.pictures import inside, read_back, words_of


def look(lots: int, bad: int = 30) -> FamilyLook:
    """A look at so many shell lots, the first with many claims, the last with none."""
    cohorts = [Cohort(f"SL-{number:03d}", None, "M1") for number in range(lots)]
    claims = [bad, *(number % 4 + 1 for number in range(1, lots - 1)), 0]
    spells = [Spell(place, 200, 400, out=True) for place in range(lots)]
    spells += [Spell(place, 90 + place, count, claimed=True) for place, count in enumerate(claims) if count]
    return look_at(Roll({"shell": {one.lot: {place: "certain"} for place, one in enumerate(cohorts)}}, cohorts),
                   spell_columns(spells))["shell"]  # fmt: skip


def test_signals_are_diamonds_and_words() -> None:
    """One diamond for the one signal, its name and counts in bold words, and a row a member."""
    svg = draw_signals(look(12), "claims by shell, as of 2026-11-29")
    root = read_back(svg)
    texts = words_of(root, "text")
    assert inside(root)
    assert {f"SL-{number:03d}" for number in range(12)} <= set(texts)
    assert 1 == sum(text.endswith("; signal") for text in texts)
    assert "SL-000: 30 claims" in words_of(root, "desc")[0]
    assert 1 == sum("signal." in title and "no signal" not in title for title in words_of(root, "title")[1:])


def test_rows_do_not_overlap() -> None:
    """Members stand in their order, one below the other, with room for a line of text."""
    root = read_back(draw_signals(look(40), "claims"))
    rows = [
        float(mark.attrib["y"]) for mark in root.iter() if (mark.text or "").startswith("SL-") and "y" in mark.attrib
    ]
    assert MOST == len(rows)
    assert {24.0} == {after - before for before, after in itertools.pairwise(rows)}
    assert any("the first 30 are shown" in text for text in words_of(root, "text"))


def test_a_ratio_without_an_upper_end_runs_to_the_edge() -> None:
    """No claim among the rest: said in words, drawn within the picture."""
    spells = [Spell(0, 90, 5, claimed=True), Spell(0, 200, 100, out=True), Spell(1, 200, 100, out=True)]
    cohorts = [Cohort("SL-1", None, "M1"), Cohort("SL-2", None, "M1")]
    roll = Roll({"shell": {"SL-1": {0: "certain"}, "SL-2": {1: "certain"}}}, cohorts)
    root = read_back(draw_signals(look_at(roll, spell_columns(spells))["shell"], "claims"))
    assert inside(root)
    assert "no claim among the rest" in words_of(root, "desc")[0]


def test_no_member_no_picture() -> None:
    """A family that nothing can be compared in is refused."""
    with pytest.raises(MalformedQuantity, match="members"):
        draw_signals(FamilyLook(family="shell", q=0.05, level=0.001, tested=0, members=()), "claims")


def test_curves_with_numbers_at_risk() -> None:
    """Both curves named at their ends, the test in words, a row of numbers for each."""
    own = spell_columns([Spell(0, 30, 2, claimed=True), Spell(0, 90, 3, claimed=True), Spell(0, 300, 95, out=True)])
    rest = spell_columns([Spell(0, 200, 2, claimed=True), Spell(0, 400, 998, out=True)])
    ages = (0.0, 200.0, 400.0)
    svg = draw_survival(
        (kaplan_meier(own), kaplan_meier(rest)),
        ("SL-1", "the rest"),
        (ages, ages_at_risk(own, ages), ages_at_risk(rest, ages)),
        title="shell SL-1, as of 2026-11-29",
        test=log_rank(own, rest),
    )
    root = read_back(svg)
    texts = words_of(root, "text")
    assert inside(root)
    assert {"100", "95", "0", "1000", "998", "balls at risk", "SL-1", "the rest"} <= set(texts)
    assert "SL-1: 100 balls, 5 claims; 95.00 % without a claim after 300 days." in words_of(root, "desc")[0]
    assert any(text.startswith("log-rank: chi-square") for text in texts)


def test_curves_without_a_claim() -> None:
    """Level lines, and the reason why there is no test."""
    own = spell_columns([Spell(0, 30, 2, out=True)])
    curve = kaplan_meier(own)
    root = read_back(draw_survival((curve, curve), ("A", "B"), ((0.0,), (2,), (2,)), title="none", test=None))
    assert inside(root)
    assert any("no log-rank test" in text for text in words_of(root, "text"))


def test_claims_so_far_and_to_come() -> None:
    """Today is marked, and the end of the forecast says at least, expected, at most."""
    spells = spell_columns(
        [Spell(0, 50, 3, claimed=True), Spell(0, 200, 3, claimed=True), Spell(0, 400, 500, out=True)]
    )
    forecast = forecast_claims(spells, 12)
    root = read_back(draw_forecast(forecast, [0, 1, 3, 6], "claims to come of shell SL-1"))
    texts = words_of(root, "text")
    assert inside(root)
    end = forecast.months[-1]
    assert {"today", f"at most {6 + end.high}", f"at least {6 + end.low}", "+12"} <= set(texts)
    assert "6 claims so far." in words_of(root, "desc")[0]


def test_no_forecast_no_picture() -> None:
    """The reason is what the refusal says."""
    with pytest.raises(MalformedQuantity, match="4 claims"):
        draw_forecast(Forecast(at_risk=9, left_out="4 claims at 4 ages"), [4], "claims to come")


def test_names_are_escaped() -> None:
    """A title with signs of XML stays text."""
    assert "<b>" not in draw_signals(look(3), "claims <b> & more")
