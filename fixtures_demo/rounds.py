"""The plan of production: 38 rounds, each one block lot, one core lot and two shell lots of about 40 balls.

A round starts about every day and a half: blocks on its day 0, cores on day 2, shells on days 4 and 5; each shell lot is
turned a working day after its pour, engraved and read a working day after that, and released a working day later.
"""

from __future__ import annotations

from typing import NamedTuple

from fixtures_demo.days import on
from fixtures_demo.models import CLASSES, MODEL_OF, MODELS, DemoModel
from fixtures_demo.plant import chance

ROUNDS = 38
PACE = 1.55
"""Working days between two rounds."""


class Round(NamedTuple):
    """The plan of one round. ``name`` stands in its lots' ids; ``cores_in`` are the cores that go into each shell lot.

    ``rejects``: of blocks, of cores, and of each shell lot.  ``block_s``: seconds until the blocks were demoulded.
    ``given``: cores that another round's shell lot takes.  ``said_late_ms``: how late its core pour was reported.
    """

    name: str
    model: DemoModel
    weight_class: int
    blocks_ms: int
    block_s: int
    cores_ms: int
    shells_ms: tuple[int, ...]
    cores_in: tuple[int, ...]
    rejects: tuple[int, ...]
    revision: int = 1
    given: int = 0
    said_late_ms: int = 0

    @property
    def cores(self) -> int:
        """Good cores of its core lot."""
        return sum(self.cores_in) + self.given

    def shell_lot(self, side: int) -> str:
        """The id of its first or second shell lot."""
        return f"SL-{self.name}{'AB'[side]}"


class ShellLot(NamedTuple):
    """A shell lot that waits to be engraved; ``station`` is where, 1 or 2."""

    lot: str
    model: DemoModel
    weight_class: int
    pieces: int
    turned_ms: int
    station: int


def plan_rounds(seed: int) -> list[Round]:
    """Every round as it was meant to be, in order."""
    rng = chance(seed, "rounds")
    rounds = []
    for number in range(ROUNDS):
        day = int(number * PACE)
        rejects = (rng.choice((0, 0, 1, 2)), rng.choice((0, 1, 1, 2)), rng.choice((0, 0, 1)), rng.choice((0, 0, 1, 2)))
        cores = 83 - rejects[0] - rejects[1]
        rounds.append(
            Round(
                name=f"{number + 1:03d}",
                model=MODELS[number // 2 % len(MODELS)],
                weight_class=rng.choices(CLASSES, (3, 5, 2))[0],
                blocks_ms=on(day, "07:30"),
                block_s=rng.randrange(340, 420),
                cores_ms=on(day + 2, "07:30"),
                shells_ms=(on(day + 4, "08:30"), on(day + 5, "08:30")),
                cores_in=(cores // 2, cores - cores // 2),
                rejects=rejects,
            )
        )
    return rounds


def prototype_round() -> Round:
    """Eight balls of a second construction of one model, which no body has approved."""
    return Round(
        name="P01",
        model=MODEL_OF["HAYBARN"],
        weight_class=15,
        blocks_ms=on(20, "10:30"),
        block_s=362,
        cores_ms=on(22, "10:30"),
        shells_ms=(on(24, "11:30"),),
        cores_in=(8,),
        rejects=(0, 0, 0),
        revision=2,
    )
