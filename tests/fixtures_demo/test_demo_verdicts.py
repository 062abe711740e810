"""What the plant has at its limits: gauges with studies, soft balls, a wrong gauge, a rule of the house, a log with a gap."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from fractions import Fraction

import pytest

from fixtures_demo import bends
from fixtures_demo.build import DemoBook
from fixtures_demo.cure_log import SILENT_MS, log_text
from fixtures_demo.days import MINUTE, told
from fixtures_demo.gauges import FOUND_AND_LEFT, SPARE
from fixtures_demo.house import CUSTOMER_RULEBOOK, HOUSE_QUANTITIES
from fixtures_demo.studies import PEOPLE, PIECES, POOLED, STUDIES
from ledger.application.conformity_query import JudgedBall
from ledger.application.impact_of_gauge import impact_of_gauge
from ledger.application.impact_of_rules import Under, impact_of_rules
from ledger.application.pourbook import Pourbook
from ledger.application.release_policies import policy_seen
from ledger.conformity.gauge_report import interaction_pools
from ledger.conformity.verdict import Verdict
from ledger.errors import RuleStands
from ledger.line.gauge_study import analyse, parse_layout
from ledger.line.temperature_log import parse_log
from ledger.store.blobs import read_blob
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.fixtures_demo.said_readings import SaidBook, read_said, resting_on, soft_units

RULEBOOK = "usbc-2026"


@pytest.fixture(scope="module")
def said(demo: DemoBook) -> SaidBook:
    """What the entries say, read without the ledger's views."""
    return read_said(demo.file)


def verdicts_of(balls: tuple[JudgedBall, ...], requirement: str) -> Iterator[tuple[JudgedBall, Verdict]]:
    """Each ball with its verdict on one requirement."""
    for ball in balls:
        yield ball, next(one for one in ball.judged.verdicts if one.requirement == requirement)


@pytest.mark.parametrize("gauge", sorted(STUDIES))
def test_hardness_gauge_has_certificate_and_study(demo_book: Pourbook, gauge: str) -> None:
    """Each hardness gauge states U, k and resolution, and has a study of ten pieces by three people."""
    seen = next(one for one in demo_book.gauges() if one.gauge == gauge)
    assert (seen.expanded, seen.k, seen.resolution) == ("0.6", "2", "0.5")
    [study] = seen.studies
    assert (study.operators, study.parts, study.trials) == (len(PEOPLE), len(PIECES), 3) == (3, 10, 3)
    assert 0.5 < float(study.repeatability) < 0.8


@pytest.mark.parametrize("gauge", sorted(STUDIES))
def test_study_is_pooled_as_its_numbers_ask(gauge: str) -> None:
    """Whether people and pieces act on each other was decided as the p-value says."""
    layout = parse_layout([[trial.split() for trial in person] for person in STUDIES[gauge]])
    assert interaction_pools(analyse(layout)) is POOLED


def test_certificates_are_stored(demo_book: Pourbook) -> None:
    """What each certificate found is in the file that the calibration names by digest."""
    found = []
    for record in demo_book.entry(gauge_entry(demo_book)).entry["said"]["records"]:
        if record["kind"] == "gauge-calibrated" and record["gauge"] in FOUND_AND_LEFT:
            text = read_blob(demo_book.store, record["certificate"]).bytes.decode()
            found.append(f"as found {record['as_found']}, as left {record['as_left']}" in text)
    assert found == [True] * len(FOUND_AND_LEFT)


def gauge_entry(book: Pourbook) -> int:
    """The entry that registers the gauges."""
    with open_reader(book.store) as reader:
        return reader.facts_about("gauge:HD-1")[0].index


def test_house_has_a_rule_from_its_day(demo_book: Pourbook) -> None:
    """Three outcomes for hardness and low radius of gyration, shown beside the body's answer; quality may release undecided."""
    with open_reader(demo_book.store) as reader:
        policy = policy_seen(reader)
    assert {name: rule.decision for name, rule in policy.quantities.items()} == dict.fromkeys(
        HOUSE_QUANTITIES, "three_way"
    )
    assert (policy.house, policy.undecided_by) == ("shown", ("quality",))
    tally = demo_book.conformity(Selection(), RULEBOOK).tally
    assert isinstance(tally.house_counts, dict)
    assert tally.house_counts["usbc.rg-minimum"]["undecided"] > 0
    assert tally.counts["usbc.rg-minimum"]["undecided"] == 0


def test_hardness_is_read_five_times_since_then(demo: DemoBook, demo_book: Pourbook) -> None:
    """Before the rule of the house three readings and their median stand, after it five and their mean."""
    taken = {}
    for unit in ("009B-01", "033A-01"):
        taken[unit] = next(
            (one.statistic, one.values) for one in demo_book.ball(unit).readings if one.quantity == "hardness"
        )
    assert taken == {"009B-01": ("median", 3), "033A-01": ("mean", 5)}


def test_some_balls_conform_and_are_undecided_in_the_house(demo_book: Pourbook) -> None:
    """Released balls of the soft lot meet the limit, and the house's rule leaves them undecided, for either reason."""
    balls = demo_book.conformity(Selection(lot=bends.SOFT_LOT), RULEBOOK, listed=100).balls
    said = [
        verdict.more_readings
        for ball, verdict in verdicts_of(balls, "usbc.hardness")
        if ball.state in {"released", "shipped"}
        and verdict.outcome == "conforms"
        and getattr(verdict.house, "outcome", "") == "undecided"
    ]
    assert any("would likely decide" in one for one in said)
    assert any("will not decide" in one for one in said)


def test_customer_limit_leaves_balls_undecided(demo_book: Pourbook) -> None:
    """The customer's own rule takes U into account: balls within U of its limit are undecided, and only these."""
    balls = demo_book.conformity(Selection(state="released"), CUSTOMER_RULEBOOK, listed=1000).balls
    inside = {
        ball.unit: 0 <= Fraction(verdict.margin or 0) < Fraction(verdict.expanded or 0)
        for ball, verdict in verdicts_of(balls, "north.hardness")
    }
    undecided = {ball.unit for ball, verdict in verdicts_of(balls, "north.hardness") if verdict.outcome == "undecided"}
    assert undecided
    assert undecided == {unit for unit, near in inside.items() if near}


def test_soft_lot_reads_72_to_73(said: SaidBook) -> None:
    """Ten to twenty balls of the soft lot read 72 to 73; some wait, the others went as second quality, none as first."""
    soft = {unit for unit in soft_units(said) if f"SL-{unit[:4]}" == bends.SOFT_LOT}
    assert 10 <= len(soft) <= 20
    grades = [said.grades.get(unit, "") for unit in soft]
    assert grades.count("") == bends.SOFT_WAITING
    assert grades.count("second") == len(soft) - bends.SOFT_WAITING


def test_soft_ball_is_refused_as_first_quality(demo: DemoBook, demo_book: Pourbook, said: SaidBook) -> None:
    """Quality may release an undecided ball, and not one that fails a body's limit."""
    unit = next(unit for unit in sorted(soft_units(said)) if unit not in said.grades)
    account = demo_book.account_of(demo.tokens["quality-1"])
    with pytest.raises(RuleStands, match="hardness"):
        demo_book.release([unit], "first", "try-soft", account, undecided=True).result()
    assert demo.notes["soft balls refused as first quality"] > 10


def test_other_edition_catches_the_soft_balls(demo_book: Pourbook, said: SaidBook) -> None:
    """Between the editions of 2019 and 2026 hardness changes for those balls that read 72 to 73, and for no others."""
    with open_reader(demo_book.store) as reader:
        answer = impact_of_rules(reader, Selection(), Under("usbc-2019"), Under(RULEBOOK), listed=1000)
    soft = soft_units(said)
    assert {one.ball.unit for one in answer.listed} == soft
    assert answer.change.quantities["hardness"]["conforms"]["does_not_conform"] == len(soft)
    assert answer.where.shipped == len(soft & said.away)
    assert answer.where.in_stock == len(soft - said.away - said.ended)


def test_wrong_gauge_stands_behind_two_hundred_balls(demo_book: Pourbook, said: SaidBook) -> None:
    """A bit more than 200 balls rest on the wrong gauge, here and away; its bias taken out, some fail."""
    began, ended = (dt.datetime.fromisoformat(told(ms)) for ms in (bends.LAST_GOOD_AT, bends.FOUND_WRONG_AT))
    behind = resting_on(said, "out_of_round", bends.WRONG_GAUGE, began, ended)
    with open_reader(demo_book.store) as reader:
        answer = impact_of_gauge(reader, bends.WRONG_GAUGE, RULEBOOK, listed=1000)
    assert 200 < answer.balls < 225
    assert answer.balls == len(behind) == answer.now.changed
    assert (answer.where.shipped, answer.where.in_stock) == (len(behind & said.away), len(behind - said.away))
    assert answer.bias == str(bends.ZERO_ERROR)
    shifted = {
        unit
        for unit in behind
        if said.readings["out_of_round"][unit].value - Fraction(str(bends.ZERO_ERROR)) > Fraction("0.010")
    }
    assert shifted
    assert {one.ball.unit for one in answer.listed if one.by_shift} == shifted


def test_balls_read_again_rest_on_the_spare(demo: DemoBook, said: SaidBook) -> None:
    """As many balls rest on the spare gauge as were read again."""
    again = [unit for unit, reading in said.readings["out_of_round"].items() if reading.gauge == SPARE]
    assert len(again) == demo.notes["read again"]
    assert len(said.ended.intersection(again)) == demo.notes["read again, failed"]


def test_log_of_a_final_cure_has_one_gap(demo: DemoBook, demo_book: Pourbook) -> None:
    """The log is stored, stands for the final cure, has its one gap where the logger was silent, and breaches nothing."""
    [log] = demo_book.temperature_logs(bends.LOGGED_LOT).logs
    assert (log.stage, log.file, log.breaches) == ("final-cure", "stored", ())
    readings = parse_log(log_text(demo.seed).encode())
    assert log.summary.readings == len(readings)
    [gap] = log.summary.gaps
    silent = (dt.datetime.fromisoformat(gap.to_at) - dt.datetime.fromisoformat(gap.from_at)).total_seconds()
    assert silent * 1000 >= SILENT_MS[1] - SILENT_MS[0] > 15 * MINUTE
    final = next(cure for cure in demo_book.ball(f"{bends.LOGGED_LOT[3:]}-01").cures if cure.stage == "final-cure")
    assert final.temperature.endswith("1 gap")
