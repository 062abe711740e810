"""The form of an inspection: a field of values, a gauge and a statistic for each quantity, and the conditions of all.

Fields are ``value.{quantity}``, ``gauge.{quantity}``, ``stat.{quantity}``, ``spacing.{quantity}`` and the conditions of the
record by their own names.  What is wrong with one quantity does not hide what is wrong with another.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from api.pages.stations.acts import base
from api.pages.stations.typed import Typed
from api.pages.stations.typed_reading import typed_number, typed_values
from ledger.application.registers import GaugeSeen
from ledger.errors import LedgerError, MalformedInput, UnknownSubject

VALUE, GAUGE, STATISTIC, SPACING = "value.", "gauge.", "stat.", "spacing."
CONDITIONS = ("surface", "temperature_c", "humidity_percent", "delay_s")


class ReadingsTyped(NamedTuple):
    """The readings as JSON objects, and by field what is wrong with those that could not be read."""

    readings: tuple[dict[str, Any], ...]
    wrong: dict[str, LedgerError]


def readings_typed(typed: Typed, gauges: Mapping[str, GaugeSeen]) -> ReadingsTyped:
    """Every quantity for which something was typed; ``gauges`` by id."""
    readings, wrong = [], dict[str, LedgerError]()
    for name in dict.fromkeys(name for name, _ in typed.pairs() if name.startswith(VALUE)):
        quantity = name.removeprefix(VALUE)
        try:
            reading = _reading(typed, quantity, gauges)
        except LedgerError as error:
            wrong[error.where] = error
            continue
        if reading is not None:
            readings.append(reading)
    return ReadingsTyped(tuple(readings), wrong)


def inspection_record(typed: Typed, at: str, station: str, readings: tuple[dict[str, Any], ...]) -> dict[str, Any]:
    """The one record of a form, as a JSON object. Raises MalformedInput for conditions that are no numbers."""
    conditions = {name: text for name in CONDITIONS if (text := _condition(typed, name))}
    return base(typed, "inspection", at, unit=typed.id("unit"), station=station, readings=list(readings), **conditions)


def _reading(typed: Typed, quantity: str, gauges: Mapping[str, GaugeSeen]) -> dict[str, Any] | None:
    text = typed.exact(VALUE + quantity)
    if not text.strip():
        return None
    name = typed.id(GAUGE + quantity)
    if not name:
        raise MalformedInput(
            "no gauge is chosen", where=GAUGE + quantity, mend="choose the gauge that took the reading"
        )
    gauge = gauges.get(name)
    if gauge is None:
        raise UnknownSubject(f"gauge {name} is not in the book", where=GAUGE + quantity, mend="choose another gauge")
    values = typed_values(text, quantity=quantity, unit=gauge.unit, where=VALUE + quantity)
    reading: dict[str, Any] = {"quantity": quantity, "unit": gauge.unit, "values": values, "gauge": name}
    if len(values) > 1:
        reading["statistic"] = typed.text(STATISTIC + quantity) or "mean"
        if typed.text(SPACING + quantity):
            reading["spacing_mm"] = typed_number(typed.text(SPACING + quantity), where=SPACING + quantity)
    return reading


def _condition(typed: Typed, name: str) -> str:
    if name == "surface":
        return "-".join(typed.text(name).lower().split())
    return typed_number(typed.text(name), where=name)
