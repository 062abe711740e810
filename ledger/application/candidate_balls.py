"""One ball that a number may mean, with what tells it from the others: model, colours, weight, when made, where it is."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Literal, NamedTuple

import msgspec

from ledger.application.histories import instant_text
from ledger.application.imported_sources import imported_sources, source_words
from ledger.conformity.from_rows import day_of
from ledger.line.moulding import ShellsPoured
from ledger.line.rows import Body, Lot, Model, SerialRow, Unit
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.store.serial_search import Between, former_rows
from ledger.warranty.partial_serial import Guess

How = Literal["as read", "fits what was read", "by look-alike", "in the stretch asked for"]


class PlaceTaken(msgspec.Struct, frozen=True, kw_only=True):
    """A place, from 1, in which the number of a ball is not what was read; ``read`` is empty where nothing was."""

    place: int
    read: str
    bears: str


class BallCandidate(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A ball that it may be. ``serial`` is the number that fits, ``bears`` the one that it bears now.

    ``share``: its likelihood against all balls found together, three figures; only ``as read`` rests on no guess.
    ``differs``: the places that tell it apart.  ``until``: when that number was engraved over.
    """

    unit: str
    serial: str
    how: How
    state: str
    made_on: str
    own_scheme: bool
    bears: str | None = None
    share: str = ""
    differs: tuple[PlaceTaken, ...] = ()
    until: str = ""
    other_numbers: tuple[str, ...] = ()
    model: str | None = None
    model_name: str = ""
    brand: str = ""
    colours: tuple[str, ...] = ()
    weight_class_lb: int | None = None
    grade: str | None = None
    shipment: str | None = None
    says: tuple[str, ...] = ()


class Found(NamedTuple):
    """A bearing of a number, and how it came to be looked at: None for one of a stretch."""

    row: SerialRow
    guess: Guess | None

    @property
    def likelihood(self) -> Fraction:
        """That of its number; nothing where none was guessed."""
        return Fraction(0) if self.guess is None else self.guess.likelihood


def units_within(reader: Reader, found: Sequence[Found], between: Between) -> list[Found]:
    """The likeliest bearing of each ball of a stretch, likeliest first; among alike ones the newest ball first."""
    ordered = sorted(found, key=lambda one: (-one.likelihood, -one.row.since_ms, one.row.serial_row))
    best = {one.row.unit: one for one in reversed(ordered)}
    kept = [one for one in ordered if best[one.row.unit] is one]
    if between == Between():
        return kept
    units, lots = _units_and_lots(reader, kept)
    return [
        one
        for one in kept
        if (unit := units.get(one.row.unit)) is not None
        and between.admits(lots[unit.lot].model, unit.weight_class, _made_ms(unit))
    ]


def candidates_of(
    reader: Reader, found: Sequence[Found], rest: Fraction, *, gtin: str = ""
) -> tuple[BallCandidate, ...]:
    """The balls of some bearings, in their order. ``rest``: the likelihood of all that were found; ``gtin``: a label's."""
    units, lots = _units_and_lots(reader, found)
    models: dict[str, Model] = {
        row.model: row for row in rows_with(reader, Model, "model", {lot.model for lot in lots.values() if lot.model})
    }
    colours = _colours(reader, lots)
    sources = imported_sources(reader, units)
    numbers = former_rows(reader, [one.row.unit for one in found]) if found else {}
    balls = []
    for one in found:
        unit = units.get(one.row.unit)
        if unit is None:
            continue
        lot, source = lots[unit.lot], sources.get(unit.unit)
        model = models.get(lot.model or "")
        differs = _differs(one)
        ball = BallCandidate(
            unit=unit.unit,
            serial=one.row.serial,
            how=_how(one),
            share=f"{float(one.likelihood / rest):.3g}" if rest else "",
            differs=differs,
            bears=unit.serial,
            until="" if one.row.until_ms is None else instant_text(one.row.until_ms),
            own_scheme=one.row.own_scheme,
            other_numbers=_others(one.row, numbers[unit.unit]),
            model=lot.model,
            model_name="" if model is None else model.name,
            brand="" if model is None else model.brand,
            colours=colours.get(lot.lot, ()) if source is None else tuple(filter(None, source.colours.split(","))),
            weight_class_lb=unit.weight_class,
            made_on=day_of(_made_ms(unit)).isoformat(),
            state=unit.state,
            grade=unit.grade,
            shipment=unit.away,
        )
        said = (*_said(ball, model, gtin), *(() if source is None else (source_words(source),)))
        balls.append(msgspec.structs.replace(ball, says=said))
    return tuple(balls)


def _units_and_lots(reader: Reader, found: Sequence[Found]) -> tuple[dict[str, Unit], dict[str, Lot]]:
    units: dict[str, Unit] = {row.unit: row for row in rows_with(reader, Unit, "unit", {one.row.unit for one in found})}
    lots: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", {one.lot for one in units.values()})}
    return units, lots


def _made_ms(unit: Unit) -> int:
    return unit.began_ms if unit.engraved_ms is None else unit.engraved_ms


def _colours(reader: Reader, lots: dict[str, Lot]) -> dict[str, tuple[str, ...]]:
    """The colours of each lot, as its pour says; none of a lot that was not poured here, or goes on from others."""
    bodies: dict[str, Body] = {row.address: row for row in rows_with(reader, Body, "address", _addresses(lots))}
    poured = {name: bodies[lot.address].fact.record for name, lot in lots.items() if lot.address in bodies}
    return {
        name: tuple(dict.fromkeys(colour.colour for colour in record.colours))
        for name, record in poured.items()
        if isinstance(record, ShellsPoured)
    }


def _addresses(lots: dict[str, Lot]) -> list[str]:
    return sorted({lot.address for lot in lots.values()})


def _how(one: Found) -> How:
    if one.guess is None:
        return "in the stretch asked for"
    if one.guess.alike:
        return "by look-alike"
    return "fits what was read" if one.guess.unread else "as read"


def _differs(one: Found) -> tuple[PlaceTaken, ...]:
    if one.guess is None:
        return ()
    wanted = sorted({*one.guess.alike, *one.guess.unread})
    return tuple(
        PlaceTaken(place=place, read=one.guess.read[place - 1], bears=one.row.serial[place - 1]) for place in wanted
    )


def _others(row: SerialRow, rows: Sequence[SerialRow]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(other.serial for other in rows if other.serial != row.serial))


def _said(ball: BallCandidate, model: Model | None, gtin: str) -> tuple[str, ...]:
    """What must be known of a ball before it is taken for the one that is meant."""
    said = [
        f"place {one.place} was not read: here it is {one.bears}"
        if not one.read
        else f"if place {one.place} was a {one.bears} read as {one.read}"
        for one in ball.differs
    ]
    if ball.until:
        said.append(f"it bore this number until {ball.until}, and bears {ball.bears} now")
    if gtin and (model is None or model.gtin != gtin):
        said.append(f"the label is of GTIN {gtin}, and this ball's model has {model.gtin if model else 'none'}")
    return tuple(said)
