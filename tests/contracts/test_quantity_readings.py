"""The readings of a quantity on every store: by pages, in unit order, of the balls that a selection takes in."""

from __future__ import annotations

import pytest

from ledger.store import quantity_readings as readings
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from ledger.store.writer import Writer
from tests.plant import registration


def test_pages_hold_every_reading_once(store: Store, writer: Writer, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the size of a page; none of a quantity that was not read, of another lot, or that no ball has."""
    for number in range(1, 8):
        writer.submit(registration(number), "a-engraver").result(30)
    with open_reader(store) as reader:
        for size in (1, 3, 7, 4_096):
            monkeypatch.setattr(readings, "CHUNK", size)
            pages = list(readings.quantity_readings(reader, Selection(model="M1"), "mass"))
            found = [(one.unit, one.serial, one.lot, one.value, one.weight_class) for page in pages for one in page]
            assert [(f"U-{n:06d}", f"P{n:06d}", "SL-1", 15_050_000, 15) for n in range(1, 8)] == found
            assert size >= max(map(len, pages))
        one = list(readings.quantity_readings(reader, Selection(limit=2), "mass"))
        assert ["U-000001", "U-000002"] == [row.unit for page in one for row in page]
        for quantity, selection in (
            ("hardness", Selection()),
            ("component_density", Selection()),
            ("mass", Selection(lot="SL-9")),
            ("mass", Selection(from_ms=2**42)),
        ):
            assert [] == list(readings.quantity_readings(reader, selection, quantity))
