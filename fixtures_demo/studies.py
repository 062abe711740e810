"""The studies of the two hardness gauges: three people read ten pieces three times each. Invented, on no real gauge."""

from __future__ import annotations

from fixtures_demo.days import on, told
from fixtures_demo.gauges import MEASURES
from fixtures_demo.story import Story
from ledger.line.gauge_studied import GaugeStudied

PIECES = tuple(f"HM-{number:02d}" for number in range(1, 11))
PEOPLE = ("P-1", "P-2", "P-3")

# Of each person three rounds, ten pieces a round, in Shore D.
STUDIES: dict[str, tuple[tuple[str, ...], ...]] = {
    "HD-1": (
        (
            "69.5 72.0 72.5 73.5 74.5 74.5 76.5 77.5 80.0 79.5",
            "70.0 71.0 72.5 72.5 75.0 75.5 76.5 79.0 79.5 78.5",
            "70.5 73.0 73.5 73.5 75.0 75.5 76.5 78.0 78.5 81.0",
        ),
        (
            "70.0 71.5 72.5 74.0 74.5 75.0 77.0 78.0 79.5 79.5",
            "69.0 72.0 72.0 73.0 74.5 76.5 76.5 78.0 78.0 78.0",
            "69.5 71.5 72.5 73.0 74.0 75.5 76.0 77.5 78.5 80.5",
        ),
        (
            "70.5 71.5 72.5 75.0 75.5 75.5 77.0 78.5 79.5 79.5",
            "70.5 71.5 72.5 73.5 75.0 76.5 76.5 79.0 77.5 79.5",
            "70.5 71.0 74.0 73.5 75.0 76.0 76.5 77.5 78.0 80.0",
        ),
    ),
    "HD-2": (
        (
            "70.0 71.0 71.5 73.0 74.5 76.0 77.0 78.5 78.5 80.5",
            "70.0 72.5 73.5 72.5 73.5 75.0 77.0 79.0 79.5 80.0",
            "70.0 70.5 73.0 72.5 75.0 76.0 77.0 78.0 78.5 79.0",
        ),
        (
            "69.5 71.5 74.0 74.5 75.0 76.0 77.0 80.0 79.5 80.5",
            "70.0 71.5 73.5 72.5 74.5 75.5 78.0 78.5 79.0 79.5",
            "70.0 72.5 73.0 74.5 75.5 75.5 76.5 77.5 79.5 81.0",
        ),
        (
            "69.5 70.5 73.0 74.0 74.5 76.5 76.0 77.5 78.5 78.5",
            "70.0 71.5 72.0 73.0 73.5 76.0 75.5 78.5 79.0 81.0",
            "70.0 71.5 72.0 73.0 74.5 75.5 75.0 79.0 79.5 80.0",
        ),
    ),
}

POOLED = True
"""People and pieces do not act on each other here beyond chance, in either study (p above 0.25)."""


def tell_studies(story: Story) -> None:
    """Say the two studies, on the fourth day."""
    for number, (gauge, readings) in enumerate(STUDIES.items()):
        at = on(3, f"{13 + 2 * number}:00")
        record = GaugeStudied(
            at=told(at),
            gauge=gauge,
            unit=MEASURES["hardness"].unit,
            parts=PIECES,
            operators=PEOPLE,
            trials=len(readings[0]),
            readings=tuple(tuple(tuple(trial.split()) for trial in person) for person in readings),
            pooled=POOLED,
        )
        story.say(at, "gauges", f"studied-{gauge}", [record])
