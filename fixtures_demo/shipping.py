"""Fridays: what was released leaves for shops and distributors, but for a small stock."""

from __future__ import annotations

from fixtures_demo.days import on, told
from fixtures_demo.floor import Floor, FloorBall
from fixtures_demo.plant import CONSIGNEES, chance
from fixtures_demo.story import Story
from ledger.errors import RuleStands
from ledger.line.consignees import ConsigneeRegistered
from ledger.line.record import Record
from ledger.line.shipments import Shipment

KEPT = 0.07
"""Share of released balls that stay in stock on a Friday."""
MOST = 60


def consignee_records(at_ms: int) -> list[Record]:
    """Register everybody whom the plant sends balls to."""
    return [
        ConsigneeRegistered(at=told(at_ms), consignee=consignee, name=name, address=address, market=market)
        for consignee, (name, address, market) in CONSIGNEES.items()
    ]


def tell_shipments(story: Story, floor: Floor, seed: int) -> None:
    """Say the shipments of every Friday, and the test shipment of three prototypes."""
    for week in range(13):
        story.do(on(week * 5 + 4, "15:00"), lambda week=week: _ship(story, floor, week, seed))  # type: ignore[misc]
    story.do(on(30, "11:00"), lambda: _ship_prototypes(story, floor))


def _ship(story: Story, floor: Floor, week: int, seed: int) -> None:
    rng = chance(seed, f"shipments of week {week}")
    leaving = [ball for ball in floor.in_stock() if ball.wanted != "prototype" and rng.random() >= KEPT]
    shippable = []
    for ball in leaving:
        if ball.lot in floor.stopped:
            story.note(f"not loaded {ball.lot}")
        else:
            shippable.append(ball)
    rng.shuffle(shippable)
    for number, first in enumerate(range(0, len(shippable), MOST)):
        shipment = f"SH-{week + 1:02d}-{number + 1}"
        _load(story, shippable[first : first + MOST], shipment, rng.choice(list(CONSIGNEES)))


def _load(story: Story, balls: list[FloorBall], shipment: str, to: str) -> None:
    now = story.clock.now_ms
    record = Shipment(at=told(now), shipment=shipment, units=tuple(sorted(ball.unit for ball in balls)), to=to)
    story.now("shipping", f"shipped-{shipment}", [record])
    for ball in balls:
        ball.gone, ball.shipped_ms = True, now


def try_to_ship(story: Story, balls: list[FloorBall], shipment: str) -> bool:
    """Try to load balls that a hold stops; whether the book let it."""
    try:
        _load(story, balls, shipment, next(iter(CONSIGNEES)))
    except RuleStands:
        story.note("shipment refused")
        return False
    return True


def _ship_prototypes(story: Story, floor: Floor) -> None:
    balls = [ball for ball in floor.in_stock() if ball.wanted == "prototype"][:3]
    record = Shipment(
        at=told(story.clock.now_ms),
        shipment="SH-TEST-1",
        units=tuple(ball.unit for ball in balls),
        consignee="Test centre",
        purpose="test",
    )
    story.now("shipping", "shipped-SH-TEST-1", [record])
    for ball in balls:
        ball.gone = True
