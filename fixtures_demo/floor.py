"""What the plant's people know of their balls while the story goes on: which are where, and which are to leave next.

It is the plant's memory, not the book: the book is told, and may refuse.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from fixtures_demo.readings import Made
from fixtures_demo.rounds import ShellLot


@dataclass
class FloorBall:
    """One ball on the floor. ``wanted``: the grade that it shall be released at, or empty for none.

    ``soft``: it read a little less than 73 Shore D.
    """

    unit: str
    lot: str
    serial: str
    made: Made
    wanted: str
    failing: str = ""
    soft: bool = False
    released_ms: int | None = None
    shipped_ms: int | None = None
    gone: bool = False
    registered: str = ""
    """The key of the submission that registered it."""


@dataclass
class Floor:
    """Every ball by unit; the lots that may not leave because someone said so; those whose release the book refused."""

    balls: dict[str, FloorBall] = field(default_factory=dict)
    shells: dict[str, ShellLot] = field(default_factory=dict)
    stopped: set[str] = field(default_factory=set)
    refused: set[str] = field(default_factory=set)

    def of_lot(self, lot: str) -> list[FloorBall]:
        """The balls of a shell lot, in order."""
        return [ball for ball in self.balls.values() if ball.lot == lot]

    def in_stock(self) -> list[FloorBall]:
        """Released balls that have not left."""
        return [ball for ball in self.balls.values() if ball.released_ms is not None and not ball.gone]

    def shipped(self) -> list[FloorBall]:
        """Balls that left for sale."""
        return [ball for ball in self.balls.values() if ball.shipped_ms is not None]
