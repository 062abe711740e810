"""What the book says of a ball's parts: the sizes of its model, opened for one question, and densities lot by lot.

The sizes are withheld: no view holds them, and nothing here is kept after the question.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

import msgspec

from ledger.application.lot_readings import gauges_of
from ledger.book.decimal_text import scaled
from ledger.conformity.estimate import Estimate
from ledger.conformity.lot_readings import standing_of_lot
from ledger.conformity.mass_by_construction import (
    block_density_of,
    densities_needed,
    density_estimate,
    envelope_of,
    mass_of,
)
from ledger.conformity.mass_model import Envelope, PredictedMass
from ledger.errors import MalformedQuantity
from ledger.line.construction import Construction, construction_of
from ledger.line.models import ModelDefined
from ledger.line.quantity import SCALE, format_number
from ledger.line.reading_rows import LotReading
from ledger.line.rows import Lot
from ledger.store.bodies import BodyReader
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges
from ledger.tracing.makings import MOST, Making, Makings


class DensityUsed(msgspec.Struct, frozen=True, kw_only=True):
    """The density of a lot as the book has it, in g/mL, with U (k = 2), and where both are from."""

    lot: str
    value: str
    expanded: str
    says: str
    fact: str


class Predicted(NamedTuple):
    """One combination of lots and the mass that it gives; or, with ``mass`` None, what is missing for it."""

    making: Making
    mass: PredictedMass | None
    densities: tuple[DensityUsed, ...]
    missing: tuple[str, ...]


class Predictions(NamedTuple):
    """What the balls of a piece of a lot should weigh, one a combination; ``missing``: what is missing for all of them."""

    each: tuple[Predicted, ...]
    missing: tuple[str, ...] = ()


class MassGround:
    """Looks up what predictions rest on, once a question; few queries a lot, none a ball."""

    def __init__(self, reader: Reader) -> None:
        """Nothing is looked up yet."""
        self._reader = reader
        self._makings = Makings(StoredEdges(reader))
        self._defined: dict[str, dict[int, ModelDefined]] = {}
        self._densities: dict[tuple[str, str], tuple[Estimate, DensityUsed] | str] = {}
        self._sizes: dict[tuple[str, int, int | None], Envelope | str] = {}
        self._found: dict[tuple[str, int | None, int | None], Predictions] = {}

    def predictions(self, lot: Lot, weight_class: int | None, place: int | None) -> Predictions:
        """What a ball of a shell lot should weigh, for each combination of lots that it may be made of."""
        key = lot.lot, weight_class, place if place is not None and self._makings.placed(lot.lot) else None
        found = self._found.get(key)
        if found is None:
            found = self._found[key] = self._predict(lot, weight_class, key[2])
        return found

    def _predict(self, lot: Lot, weight_class: int | None, place: int | None) -> Predictions:
        construction = self._construction(lot, weight_class)
        if isinstance(construction, str):
            return Predictions((), (construction,))
        envelope = self._envelope(lot, weight_class, construction)
        if isinstance(envelope, str):
            return Predictions((), (envelope,))
        makings = self._makings.of(lot.lot, place)
        if not makings:
            return Predictions((), (f"the book does not say of which blocks, cores and colours {lot.lot} is made",))
        if len(makings) > MOST:
            many = (
                f"more than {MOST} combinations of lots are possible: record the positions at which pieces were drawn"
            )
            return Predictions((), (many,))
        return Predictions(tuple(self._predicted(one, envelope, construction) for one in makings))

    def _construction(self, lot: Lot, weight_class: int | None) -> Construction | str:
        model, revision = lot.model or "", lot.revision
        if model not in self._defined:
            node = f"model:{model}"
            told = BodyReader(self._reader.transaction.dialect).told(self._reader.transaction, [node]).get(node, ())
            records = [row.fact.record for row in told]  # type: ignore[attr-defined]  # rows of Told
            self._defined[model] = {one.revision: one for one in records if isinstance(one, ModelDefined)}
        defined = self._defined[model].get(revision or 0)
        found = None if defined is None else construction_of(defined.construction, weight_class)
        if found is not None:
            return found
        of = "of no known class" if weight_class is None else f"of {weight_class} lb"
        return (
            f"the definition of {model} revision {revision} states no construction {of}: "
            "correct it (correction of the model-defined fact) to state one, or define the next revision with it"
        )

    def _envelope(self, lot: Lot, weight_class: int | None, construction: Construction) -> Envelope | str:
        key = lot.model or "", lot.revision or 0, weight_class
        if key not in self._sizes:
            try:
                self._sizes[key] = envelope_of(construction)
            except MalformedQuantity as error:
                self._sizes[key] = f"the construction of {lot.model} revision {lot.revision} cannot be: {error.problem}"
        return self._sizes[key]

    def _predicted(self, making: Making, envelope: Envelope, construction: Construction) -> Predicted:
        block = making.core.block
        found = {name: self._density(name, construction) for name in (*densities_needed(making), block.batch)}
        own = self._density(block.lot, construction)
        if not isinstance(own, str):
            found[block.lot] = own
            if block.batch not in densities_needed(making):
                del found[block.batch]
        missing = tuple(one for one in found.values() if isinstance(one, str))
        if missing:
            return Predicted(making, None, (), missing)
        known = {name: one for name, one in found.items() if not isinstance(one, str)}
        estimates = {name: one for name, (one, _) in known.items()}
        used = dict.fromkeys((block_density_of(making, estimates), *densities_needed(making)))
        try:
            mass = mass_of(envelope, making, estimates)
        except MalformedQuantity as error:
            return Predicted(making, None, (), (f"no mass can be predicted: {error.problem}",))
        return Predicted(making, mass, tuple(known[name][1] for name in used), ())

    def _density(self, name: str, construction: Construction) -> tuple[Estimate, DensityUsed] | str:
        key = name, str(construction.density_expanded)
        found = self._densities.get(key)
        if found is None:
            found = self._densities[key] = self._look_up(name, construction)
        return found

    def _look_up(self, name: str, construction: Construction) -> tuple[Estimate, DensityUsed] | str:
        rows: list[LotReading] = self._reader.rows(LotReading, "lot", name)
        read = standing_of_lot(rows, "component_density", gauges_of(self._reader, rows))
        if read is not None and read.usable and read.u_scaled is not None:
            says = f"read with {read.gauge}: {read.u_from}"
            return _used(name, read.value_scaled, read.u_scaled * 2, says, read.fact)
        lot = self._reader.one(Lot, name)
        measure = f"measure it (inspection of lot {name}, component_density, with a gauge whose calibration states U)"
        if lot is None or lot.density_micro is None:
            why = "" if read is None else f" that may be used ({read.why_unusable or read.u_from})"
            return f"the density of {name} is not on record{why}: {measure}"
        if isinstance(construction.density_expanded, str):
            says = "stated when it was made; U stated with the model's construction"
            return _used(name, lot.density_micro, scaled(construction.density_expanded, 6), says, lot.address)
        return f"the density of {name} is on record without its uncertainty: {measure}, or state density_expanded"


def _used(name: str, micro: int, expanded: int, says: str, fact: str) -> tuple[Estimate, DensityUsed]:
    value, wide = (format_number(Fraction(figure, SCALE)) for figure in (micro, expanded))
    used = DensityUsed(lot=name, value=value, expanded=wide, says=says, fact=fact)
    return density_estimate(name, micro / SCALE, expanded / 2 / SCALE, says), used
