"""Balls and rulebooks that the tests of this folder judge."""

from __future__ import annotations

import datetime as dt
from typing import Any

from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import Rulebook, parse_rulebook
from ledger.line.quantity import scaled_reading

HEAD = """format = 1
id = "house"
body = "Plant"
edition = "1"
title = "Test limits"
made_event = "engraving"
"""

HARDNESS = """
[[requirement]]
id = "hardness"
row = "PLANT-1"
quantity = "hardness"
operator = ">="
limits = ["73"]
unit = "shore_d"
clock = "manufacture"
source = "plant standard"
provenance = "read"
"""


def reading(text: str, unit: str, quantity: str, **more: Any) -> Measured:
    """A measured value from typed text."""
    return Measured(value_scaled=scaled_reading(text, unit, quantity), unit=unit, **more)


def ball(readings: dict[str, Measured] | None = None, **more: Any) -> BallFacts:
    """A 15 lb symmetric ball made in 2024 of a model approved in 2023, unless said otherwise."""
    facts: dict[str, Any] = {
        "core": "symmetric",
        "weight_class": 15,
        "made_on": dt.date(2024, 5, 6),
        "approved_on": dt.date(2023, 3, 1),
        "readings": readings or {},
    }
    return BallFacts(**(facts | more))


def requirement(**more: Any) -> Requirement:
    """A hardness limit of 73 Shore D that applies to every ball, unless said otherwise."""
    fields: dict[str, Any] = {
        "id": "hardness",
        "row": "PLANT-1",
        "quantity": "hardness",
        "operator": ">=",
        "limits": ("73",),
        "unit": "shore_d",
        "clock": "manufacture",
        "source": "plant standard",
        "provenance": "read",
    }
    return Requirement(**(fields | more))


def rulebook(text: str) -> Rulebook:
    """A rulebook of the common head and the given requirements."""
    return parse_rulebook(HEAD + text)
