"""Engraving and inspection: a serial for each ball of a shell lot, eight readings, one submission a ball."""

from __future__ import annotations

import random
from functools import partial

from fixtures_demo import bends
from fixtures_demo.days import MINUTE, on, told, workday_of
from fixtures_demo.floor import Floor, FloorBall
from fixtures_demo.plant import chance
from fixtures_demo.readings import Made, fails, make_ball, read_ball, shown_value
from fixtures_demo.rounds import ShellLot
from fixtures_demo.story import Story
from ledger.line.balls import BallEngraved, BallEngravedAnew
from ledger.line.inspections import Inspection, Reading
from ledger.line.record import Record

EACH = 11 * MINUTE
SPARES = 2
BLEMISHED = 0.012
"""Share of balls with a blemish in the colour: second quality."""
SECOND_FROM = 72
"""Shore D: a ball that reads from here to below 73 is second quality, a softer one is scrapped."""
LEFT_FOR_DEMO = 4
"""Balls of the last turned lot that are not engraved yet when the story ends."""


def tell_engraving(story: Story, floor: Floor, shell: ShellLot, seed: int) -> int:
    """Say the registrations of a shell lot; the working day on which they are done."""
    rng, soft = chance(seed, f"balls of {shell.lot}"), chance(seed, "soft shells")
    workday = workday_of(shell.turned_ms) + 1
    began = on(workday, "11:30" if "P" in shell.lot else "07:30")
    station = f"ENG-{shell.station}"
    who = f"engraving-{shell.station}"
    serials: list[str] = []
    floor.shells[shell.lot] = shell

    def allot() -> None:
        story.settle()
        allotted = story.book.allot_serials(station, shell.pieces + SPARES, f"serials-{shell.lot}", story.people[who])
        serials.extend(allotted.serials)

    # The lot of which some are engraved the night before needs its numbers by then.
    story.do(on(workday - 1, "19:20") if shell.lot == bends.RIGHT_LOT else began - 65 * MINUTE, allot)
    count = shell.pieces - (LEFT_FOR_DEMO if shell.lot == f"SL-{bends.FRESH_ROUND}A" else 0)
    for place in range(1, count + 1):
        at = (on(workday - 1, "20:40") if _by_night(shell, place) else began) + place * EACH
        made = make_ball(rng, shell.model, shell.weight_class)
        if shell.lot == bends.SOFT_LOT:
            made = made._replace(hardness=soft.gauss(bends.SOFT_MIDDLE, bends.SOFT_SPREAD))
        shown = _as_shown(made, shell.station, at)
        readings = read_ball(rng, shown, shell.station, at)
        ball = _ball(rng, shell, place, made, readings)
        floor.balls[ball.unit] = ball
        story.say(at, who, ball.registered, partial(_registration, ball, shell, at, serials, readings))
    _reengrave(story, floor, shell, serials, began)
    return workday


def _as_shown(made: Made, station: int, at_ms: int) -> Made:
    """A ball as the gauges show it: one of them showed too little for some days."""
    if station == 1 and bends.LAST_GOOD_AT < at_ms < bends.FOUND_WRONG_AT:
        return made._replace(out_of_round=max(made.out_of_round + bends.ZERO_ERROR, 0.0))
    return made


def _ball(rng: random.Random, shell: ShellLot, place: int, made: Made, readings: tuple[Reading, ...]) -> FloorBall:
    failing = fails(readings)
    wanted = "prototype" if "P" in shell.lot else "second" if rng.random() < BLEMISHED else "first"
    soft = failing == "hardness" and any(
        shown_value(reading) >= SECOND_FROM for reading in readings if reading.quantity == "hardness"
    )
    if soft:
        failing, wanted = "", "second"
    unit = f"{shell.lot[3:]}-{place:02d}"
    return FloorBall(unit, shell.lot, "", made, "" if failing else wanted, failing, soft, registered=f"ball-{unit}")


def _registration(
    ball: FloorBall, shell: ShellLot, at_ms: int, serials: list[str], readings: tuple[Reading, ...]
) -> tuple[Record, ...]:
    """The records that register a ball under the next serial; all night, some named another lot."""
    ball.serial = serials.pop(0)
    at, station = told(at_ms), f"ENG-{shell.station}"
    engraved = BallEngraved(
        at=at,
        unit=ball.unit,
        lot=bends.NIGHT_LOT if _by_night(shell, int(ball.unit[-2:])) else shell.lot,
        serial=ball.serial,
        weight_class=shell.weight_class,
        station=station,
    )
    return engraved, Inspection(at=at, unit=ball.unit, station=station, readings=readings, temperature_c="21.5")


def _by_night(shell: ShellLot, place: int) -> bool:
    return shell.lot == bends.RIGHT_LOT and place <= bends.NIGHT_BALLS


def _reengrave(story: Story, floor: Floor, shell: ShellLot, serials: list[str], began: int) -> None:
    if shell.lot != bends.REENGRAVED_LOT:
        return
    for place in bends.REENGRAVED:
        ball = floor.balls[f"{shell.lot[3:]}-{place:02d}"]
        at_ms = began + place * EACH + 6 * MINUTE

        def records(ball: FloorBall = ball, at_ms: int = at_ms) -> tuple[Record, ...]:
            ball.serial = serials.pop()
            return (
                BallEngravedAnew(
                    at=told(at_ms),
                    unit=ball.unit,
                    serial=ball.serial,
                    station=f"ENG-{shell.station}",
                    reason="digit-cut-twice",
                ),
            )

        story.say(at_ms, f"engraving-{shell.station}", f"anew-{ball.unit}", records)
