"""The temperature log of one rack: a reading every five minutes, and none for part of the night. Invented."""

from __future__ import annotations

import math

from fixtures_demo import bends
from fixtures_demo.days import HOUR, MINUTE, on, told
from fixtures_demo.plant import chance
from fixtures_demo.story import Story
from ledger.application.temperature_logs import LogAsked

EVERY_MS = 5 * MINUTE
FROM_MS, TO_MS = on(61, "08:40"), on(62, "12:55")
SILENT_MS = on(62, "02:10"), on(62, "02:57")
"""The logger's battery was changed late: no reading between the two."""
READ_OUT_MS = on(62, "13:40")


def log_text(seed: int) -> str:
    """The file of the logger: instant and degrees Celsius, warmer at first, colder at night."""
    rng = chance(seed, "temperature log")
    lines = ["instant,temperature_c"]
    for at in range(FROM_MS, TO_MS + 1, EVERY_MS):
        if SILENT_MS[0] < at < SILENT_MS[1]:
            continue
        hours = (at - FROM_MS) / HOUR
        degrees = 22.4 + 1.6 * math.exp(-hours / 3) - 0.7 * math.sin(hours * math.pi / 14) + rng.gauss(0, 0.08)
        lines.append(f"{told(at)},{degrees:.1f}")
    return "\n".join(lines) + "\n"


def tell_cure_log(story: Story, seed: int) -> None:
    """Send the log of a final cure when the rack is taken down."""
    raw = log_text(seed).encode()

    def send() -> None:
        story.settle()
        asked = LogAsked(bends.LOGGED_LOT, "final-cure", raw)
        _, waiting = story.book.log_temperature(asked, f"log-{bends.LOGGED_LOT}", story.people["finishing"])
        waiting.result()

    story.do(READ_OUT_MS, send)
