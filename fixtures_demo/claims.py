"""What customers say: a few claims here and there, many about one shell lot, one about a number that nobody issued."""

from __future__ import annotations

import random
from typing import NamedTuple

from fixtures_demo.bends import CLAIMED_LOT
from fixtures_demo.days import DAY, DEMO_NOW, HOUR, day_of, on, told
from fixtures_demo.floor import Floor, FloorBall
from fixtures_demo.plant import chance
from fixtures_demo.story import Story
from ledger.line.claims import ClaimDecided, ClaimExamined, ClaimOpened, ClaimReplaced
from ledger.line.record import Record
from ledger.line.shipments import Shipment

MANY, FEW = 9, 9
MODE = "crack-over-block"
OTHER_MODES = ("crack-pin-to-hole", "pin-loose", "engraving", "crack-equator", "other")
UNKNOWN = "H77-41202"
"""A number that no ball of the book bears."""


class _Case(NamedTuple):
    claim: str
    ball: FloorBall
    mode: str
    opened_ms: int


def tell_claims(story: Story, floor: Floor, seed: int) -> None:
    """Say the claims of the last eight weeks; which balls are claimed shows only once they were shipped."""
    story.do(on(28, "09:00"), lambda: _tell(story, floor, seed))
    unknown = ClaimOpened(
        at=told(on(45, "14:20")), claim="WC-099", mode="other", serial=UNKNOWN, claimant="no name given"
    )
    story.say(on(45, "14:20"), "desk", "claim-WC-099", [unknown])


def _tell(story: Story, floor: Floor, seed: int) -> None:
    rng = chance(seed, "claims")
    shipped = floor.shipped()
    bad = rng.sample([ball for ball in shipped if ball.lot == CLAIMED_LOT], MANY)
    others = rng.sample([ball for ball in shipped if ball.lot != CLAIMED_LOT], FEW)
    cases = [_case(rng, number, ball, MODE) for number, ball in enumerate(bad)]
    cases += [_case(rng, MANY + number, ball, rng.choice(OTHER_MODES)) for number, ball in enumerate(others)]
    for number, case in enumerate(sorted(cases, key=lambda case: case.opened_ms)):
        _claim(story, floor, case._replace(claim=f"WC-{number + 1:03d}"), number)


def _case(rng: random.Random, number: int, ball: FloorBall, mode: str) -> _Case:
    workday = rng.randrange(29, 63)
    return _Case(f"{number}", ball, mode, on(workday, f"{rng.randrange(9, 16):02d}:{rng.randrange(0, 60):02d}"))


def _claim(story: Story, floor: Floor, case: _Case, number: int) -> None:
    bought = day_of(min((case.ball.shipped_ms or 0) + (3 + number % 9) * DAY, case.opened_ms))
    opened = ClaimOpened(
        at=told(case.opened_ms),
        claim=case.claim,
        mode=case.mode,
        serial=case.ball.serial,
        unit=case.ball.unit,
        bought_on=bought.isoformat(),
        claimant=f"invented claimant {number + 1}",
        note="sent two photos by mail",
    )
    story.say(case.opened_ms, "desk", f"claim-{case.claim}", [opened])
    for days, what, record in _next(case, number):
        at = case.opened_ms + days * DAY
        if at < DEMO_NOW:
            story.say(at, "desk", f"{what}-{case.claim}", [record])
    if number in {0, 3}:
        at = case.opened_ms + 9 * DAY + HOUR
        story.do(at, lambda: _replace(story, floor, case, at))


def _next(case: _Case, number: int) -> list[tuple[int, str, Record]]:
    examined = ClaimExamined(
        at=told(case.opened_ms + 5 * DAY),
        claim=case.claim,
        findings=("crack-starts-at-block" if case.mode == MODE else "as-claimed",),
    )
    decision = {0: "accept", 1: "reject", 2: "goodwill", 3: "accept"}.get(number)
    if decision is None:
        return [(5, "examined", examined)] if number % 2 else []
    decided = ClaimDecided(
        at=told(case.opened_ms + 9 * DAY),
        claim=case.claim,
        decision=decision,  # type: ignore[arg-type]  # one of the decisions
        reason={"accept": "fault-found", "reject": "drilled-wrongly", "goodwill": "goodwill"}[decision],
        note="granted by the head of the desk",
    )
    return [(5, "examined", examined), (9, "decided", decided)]


def _replace(story: Story, floor: Floor, case: _Case, at_ms: int) -> None:
    stock = [ball for ball in floor.in_stock() if ball.wanted == "first" and ball.lot not in floor.stopped]
    other = next(ball for ball in stock if ball.lot[3:6] != case.ball.lot[3:6])
    record = ClaimReplaced(at=told(at_ms), claim=case.claim, unit=other.unit, term="fresh", old_ball="destroyed")
    story.now("desk", f"replaced-{case.claim}", [record])
    sent = Shipment(
        at=told(at_ms),
        shipment=f"SH-{case.claim}",
        units=(other.unit,),
        consignee="sent to the claimant",
        purpose="warranty",
    )
    story.now("shipping", f"shipped-{case.claim}", [sent])
    other.gone = True
