"""The view rows of where things were made: the moulds and machines of a pour, and the stations that a ball passed."""

from __future__ import annotations

from ledger.line.rows import Row


class Made(Row, frozen=True, kw_only=True):
    """What a lot was poured with from its piece ``after`` + 1 on: the pour itself (``after`` 0), or a change in mid-lot.

    A change says only what changed; the rest is None and stays as it was (`ledger.line.makings` puts the two together).
    ``from_ms`` to ``to_ms``: pour to demoulding, or the instant of the change twice.
    """

    made: str
    lot: str
    after: int
    line: str | None
    mould_set: str | None
    mixer: str | None
    from_ms: int
    to_ms: int


class UnitStep(Row, frozen=True, kw_only=True):
    """A ball went on the lathe, or was worked, at a station. Where it was engraved stands in its `Unit` row."""

    unit_step: str
    unit: str
    step: str
    station: str
    at_ms: int
