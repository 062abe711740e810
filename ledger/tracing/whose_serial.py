"""Which plants a serial can be of, by a directory alone: no plant is asked, and none is ruled out by its silence.

The number is taken as the warranty desk takes it (`ledger.warranty.partial_serial`): ``?`` for a place that cannot be
read, look-alikes by wear after what was read, the check character of the own scheme held against what was read.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import NamedTuple

from ledger.errors import MalformedLink
from ledger.line.gs1 import pad_gtin, parse_link
from ledger.tracing.plants import Issued, Plant
from ledger.tracing.serial_space import OWN_SPACE
from ledger.warranty.look_alikes import LOOK_ALIKE_CAUTION
from ledger.warranty.partial_serial import Guess, Pattern, guesses, parse_pattern

OWN_CAUTION = "the own scheme is every plant's, and two plants may bear one number of it: ask them, or read the label for the product"
"""Told where the answer rests on the own scheme and more than one plant has it."""


class Number(NamedTuple):
    """A number as it was typed or scanned, and the product (14 digits, or empty). A scanned one has no look-alikes."""

    pattern: Pattern
    gtin: str = ""
    scanned: bool = False


def read_number(typed: str, gtin: str = "") -> Number:
    """A number with ? for each place that cannot be read, or the address in a label's code, whose product ``gtin`` overrides.

    Raises MalformedSerial, MalformedLink.
    """
    named = pad_gtin(gtin) if gtin else ""
    if not typed.strip().lower().startswith(("http://", "https://")):
        return Number(parse_pattern(typed), named)
    link = parse_link(typed.strip())
    if link.serial is None:
        raise MalformedLink("label names no ball", expected="an address with /21/ and the number", where="serial")
    return Number(Pattern(link.serial, tuple(link.serial)), named or link.gtin14, scanned=True)


class CanBe(NamedTuple):
    """A plant that the number can be of, by which of its serials, and the reading of the number that gives it."""

    plant: Plant
    issued: Issued
    guess: Guess

    @property
    def as_read(self) -> bool:
        """Whether no place was taken for a look-alike."""
        return not self.guess.alike


def whose_serial(
    plants: Sequence[Plant], pattern: Pattern, *, alike: bool = True, made_on: dt.date | None = None, gtin: str = ""
) -> list[CanBe]:
    """The plants that the number can be of, likeliest reading first, then in the directory's order; each plant once.

    ``made_on``: the day of engraving where it is known.  ``gtin``: of the label; a plant that lists products, and not this
    one, is left out.  An empty answer means that the directory knows none, not that there is none.
    """
    waiting = [plant for plant in plants if not gtin or not plant.gtins or gtin in plant.gtins]
    found: list[CanBe] = []
    for guess in guesses(pattern, alike=alike):
        if guess.scheme == "own" and next(guess.serials(), None) is None:
            continue
        taken = [(plant, issued) for plant in waiting if (issued := _by(plant, guess, made_on)) is not None]
        found += [CanBe(plant, issued, guess) for plant, issued in taken]
        gone = {plant.id for plant, _ in taken}
        waiting = [plant for plant in waiting if plant.id not in gone]
        if not waiting:
            break
    return found


def cautions_of(found: Sequence[CanBe]) -> tuple[str, ...]:
    """What the answer rests on, where it rests on more than the directory."""
    cautions = [OWN_CAUTION] if sum(one.issued.space == OWN_SPACE for one in found) > 1 else []
    return (*cautions, LOOK_ALIKE_CAUTION) if any(not one.as_read for one in found) else tuple(cautions)


def _by(plant: Plant, guess: Guess, made_on: dt.date | None) -> Issued | None:
    """The first of a plant's serials that a reading can be one of."""
    for issued in plant.issued:
        if issued.space.scheme == guess.scheme and issued.on(made_on) and issued.space.holds(guess.places):
            return issued
    return None
