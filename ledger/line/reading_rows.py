"""The view rows of gauges and of what they read.

As in ``rows``: text, whole numbers, booleans or nothing; measured values in whole millionths of the unit measured in.
"""

from __future__ import annotations

from ledger.line.rows import Row


class Gauge(Row, frozen=True, kw_only=True):
    """A gauge and how it stands; whether its readings may be used follows from its calibrations.

    Range, resolution and repeatability (standard deviation of one reading) in millionths of its unit.  ``definition``:
    which of the things of the quantity's name it measures, where that was stated.
    """

    gauge: str
    quantity: str
    unit: str
    resolution_micro: int
    state: str
    address: str
    low_micro: int | None = None
    high_micro: int | None = None
    definition: str | None = None
    repeat_micro: int | None = None


class Calibration(Row, frozen=True, kw_only=True):
    """One calibration or shift check of a gauge, as found; ``left_micro`` is the bias that the calibration left.

    ``k_micro``: the coverage factor of ``expanded_micro``, in millionths.
    """

    calibration: str
    gauge: str
    at_ms: int
    due_ms: int
    good: bool
    expanded_micro: int | None
    bias_micro: int | None
    kind: str
    left_micro: int | None = None
    k_micro: int = 2_000_000


class GaugeStudy(Row, frozen=True, kw_only=True):
    """A study of a gauge: standard deviations in whole millionths of ``unit``, as `gauge_study` computes them.

    ``grr``: repeatability and reproducibility together.  ``repeat_df``: degrees of freedom of the repeatability.
    """

    study: str
    gauge: str
    at_ms: int
    unit: str
    repeatability: int
    reproducibility: int
    grr: int
    part_variation: int
    operators: int
    trials: int
    parts: int
    repeat_df: int
    pooled: bool


class GaugeSet(Row, frozen=True, kw_only=True):
    """A gauge of a set that inspections of balls used together; ``used`` names the set, as `GaugeUse` does."""

    gauge_set: str
    gauge: str
    used: str


class GaugeUse(Row, frozen=True, kw_only=True):
    """A ball was inspected with a set of gauges, whatever stands of the readings now.

    One row an inspection, not a gauge: a station uses the same few sets for ever, and a row a reading would be half of what
    a registration writes.  ``lot`` is the ball's own, copied so that uses are counted by lot from an index alone.
    """

    unit: str
    used: str
    address: str
    lot: str
    at_ms: int


class Measured(Row, frozen=True, kw_only=True):
    """The readings of a unit that stand now, one row a unit: value and stated expanded uncertainty a quantity.

    ``manner`` and ``sources`` are canonical JSON, read and written by `standing_readings`: how each quantity was read, of
    which there are few in a plant, and when, by which fact.  A reading voided by rework, or withdrawn, is absent.
    ``lot``, ``weight_class``, ``began_ms`` and ``engraved_ms`` are the unit's own, copied so that many balls are judged
    from this view alone.  ``first_ms`` and ``last_ms``: least and greatest instant of the readings that stand.
    ``coldest`` and ``warmest``: thousandths of a degree Celsius over those of them that state a temperature; None where
    none does.
    ``voided`` is canonical JSON: quantity -> instant ms of the last rework that can have changed it; no reading taken
    before it stands, however late it is reported.
    """

    unit: str
    lot: str
    manner: str = "{}"
    sources: str = "{}"
    voided: str = "{}"
    weight_class: int | None
    began_ms: int
    engraved_ms: int | None
    first_ms: int | None = None
    last_ms: int | None = None
    coldest: int | None = None
    warmest: int | None = None
    mass: int | None = None
    circumference: int | None = None
    diameter: int | None = None
    out_of_round: int | None = None
    hardness: int | None = None
    roughness: int | None = None
    rg_low: int | None = None
    rg_mid: int | None = None
    rg_high: int | None = None
    differential: int | None = None
    mid_differential: int | None = None
    top_weight: int | None = None
    static_imbalance: int | None = None
    pin_to_cg: int | None = None
    pin_to_low_axis: int | None = None
    mark_to_high_axis: int | None = None
    friction: int | None = None
    oil_absorption: int | None = None
    mass_u: int | None = None
    circumference_u: int | None = None
    diameter_u: int | None = None
    out_of_round_u: int | None = None
    hardness_u: int | None = None
    roughness_u: int | None = None
    rg_low_u: int | None = None
    rg_mid_u: int | None = None
    rg_high_u: int | None = None
    differential_u: int | None = None
    mid_differential_u: int | None = None
    top_weight_u: int | None = None
    static_imbalance_u: int | None = None
    pin_to_cg_u: int | None = None
    pin_to_low_axis_u: int | None = None
    mark_to_high_axis_u: int | None = None
    friction_u: int | None = None
    oil_absorption_u: int | None = None


class LotReading(Row, frozen=True, kw_only=True):
    """A reading that names no unit: it belongs to the lot."""

    lot_reading: str
    lot: str
    quantity: str
    value: int
    unit_of: str
    expanded: int | None
    gauge: str
    at_ms: int

    @property
    def address(self) -> str:
        """The address of the inspection that it is of."""
        return self.lot_reading.rpartition(".")[0]
