"""What quality does with engraved balls: rework or scrap those that fail, release the others, and close the lot."""

from __future__ import annotations

from fixtures_demo.days import DEMO_NOW, MINUTE, on, told
from fixtures_demo.floor import Floor, FloorBall
from fixtures_demo.gauges import MEASURES
from fixtures_demo.plant import chance
from fixtures_demo.readings import read_ball, read_with
from fixtures_demo.story import Story
from ledger.errors import RuleStands
from ledger.line.inspections import Inspection
from ledger.line.lot_changes import LotClosed, balls_root
from ledger.line.releases import Grade, Rework, Scrap
from ledger.line.voided_readings import VOIDED

TOO_HEAVY = "mass"
RESURFACED = 0.045
"""Pounds that resurfacing takes off."""


def tell_release(story: Story, floor: Floor, lot: str, workday: int, seed: int) -> None:
    """On the working day after engraving: rework what is too heavy, scrap what fails, release the rest."""
    if on(workday + 1, "10:00") > DEMO_NOW:
        return
    story.do(on(workday + 1, "08:00"), lambda: _rework(story, floor, lot, seed))
    story.do(on(workday + 1, "10:00"), lambda: _release_first(story, floor, lot))
    if workday + 10 < 65:
        story.do(on(workday + 10, "16:00"), lambda: _close(story, floor, lot))


def release_lot(story: Story, floor: Floor, lot: str, key: str) -> bool:
    """Release what waits of a lot, grade by grade; whether the book let it. A refusal is noted by lot."""
    waiting = [ball for ball in floor.of_lot(lot) if ball.wanted and ball.released_ms is None and not ball.gone]
    for grade in dict.fromkeys(ball.wanted for ball in waiting):
        balls = [ball for ball in waiting if ball.wanted == grade]
        if not _release(story, balls, grade, f"{key}-{grade}"):  # type: ignore[arg-type]  # one of the grades
            story.note(f"refused {lot}")
            floor.refused.add(lot)
            return False
    floor.refused.discard(lot)
    return True


def _release_first(story: Story, floor: Floor, lot: str) -> None:
    release_lot(story, floor, lot, f"release-{lot}")


def _release(story: Story, balls: list[FloorBall], grade: Grade, key: str) -> bool:
    story.settle()
    try:
        answer = story.book.release([ball.unit for ball in balls], grade, key, story.people["quality-1"])
        story.entered[key] = answer.result()
    except RuleStands:
        return False
    for ball in balls:
        ball.released_ms = story.clock.now_ms
    return True


def _rework(story: Story, floor: Floor, lot: str, seed: int) -> None:
    rng = chance(seed, f"rework of {lot}")
    now = story.clock.now_ms
    for ball in floor.of_lot(lot):
        if not ball.failing or ball.gone:
            continue
        if ball.failing != TOO_HEAVY:
            scrap = Scrap(at=told(now), unit=ball.unit, how="scrap", reason=f"limit-{ball.failing.replace('_', '-')}")
            story.now("quality-1", f"scrap-{ball.unit}", [scrap])
            ball.gone = True
            continue
        ball.made = ball.made._replace(mass=min(ball.made.mass, 16.03) - RESURFACED)
        quantities = tuple(quantity for quantity in VOIDED["resurface"] if quantity in MEASURES)
        readings = read_ball(rng, ball.made, 1 if lot.endswith("A") else 2, now, quantities)
        rework = Rework(at=told(now), unit=ball.unit, operation="resurface", station="FIN-1")
        again = Inspection(at=told(now), unit=ball.unit, station="ENG-1", readings=readings, surface="resurfaced")
        story.now("quality-1", f"rework-{ball.unit}", [rework, again])
        ball.failing, ball.wanted = "", "first"


def _close(story: Story, floor: Floor, lot: str) -> None:
    balls = floor.of_lot(lot)
    if lot in floor.stopped or any(ball.released_ms is None and not ball.gone for ball in balls):
        return
    closed = LotClosed(
        at=told(story.clock.now_ms - MINUTE),
        lot=lot,
        count=len(balls),
        balls_root=balls_root((ball.unit, ball.serial) for ball in balls),
    )
    story.now("quality-1", f"closed-{lot}", [closed])


def read_again(story: Story, balls: list[FloorBall], quantity: str, gauge: str, seed: int) -> int:
    """Read one quantity of balls with another gauge; how many fail it, which are scrapped."""
    rng = chance(seed, f"read again with {gauge}")
    failed = 0
    for ball in balls:
        now = story.clock.now_ms
        readings = read_with(rng, ball.made, quantity, gauge, now)
        record = Inspection(at=told(now), unit=ball.unit, station="ENG-2", readings=readings)
        story.now("engraving-2", f"again-{ball.unit}", [record])
        if quantity == "out_of_round" and ball.made.out_of_round >= 0.01005:
            scrap = Scrap(at=told(now), unit=ball.unit, how="scrap", reason="limit-out-of-round")
            story.now("quality-1", f"scrap-{ball.unit}", [scrap])
            ball.gone, failed = True, failed + 1
    return failed
