"""What each piece of a lot was poured with."""

from __future__ import annotations

from ledger.book.instant import instant_ms
from ledger.line.balls import UnitStarted, UnitWorked
from ledger.line.lot_changes import LotChanged, LotWorked
from ledger.line.making_rows import Made, UnitStep
from ledger.line.makings import makings_of
from ledger.line.rows import LotStep, Unit
from ledger.line.suspects import Suspect
from tests.line.independent_fold import check_views
from tests.line.making import at, engrave, stocked_plant
from tests.line.plant import Plant


def makings(plant: Plant, lot: str) -> list[tuple[object, ...]]:
    """First and last piece, line, mould set and mixer of each stretch of a lot."""
    rows = [row for row in plant.tables.rows[Made].values() if isinstance(row, Made) and row.lot == lot]
    return [making[:5] for making in makings_of(rows)]


def changed(count: int, what: str, to: str) -> LotChanged:
    """A change in mid-lot of SL-1."""
    return LotChanged(at=at(7, "08:05"), lot="SL-1", count=count, what=what, to=to)  # type: ignore[arg-type]  # tried


def test_a_pour_says_what_all_its_pieces_were_made_with() -> None:
    """Line, mould set and mixer, from pour to demoulding."""
    plant = stocked_plant()
    assert [(1, None, "L-1", "M-1", "MX-1")] == makings(plant, "SL-1")
    row = next(row for row in plant.tables.rows[Made].values() if isinstance(row, Made) and row.lot == "SL-1")
    assert (instant_ms(at(7, "08:00")), instant_ms(at(7, "08:10"))) == (row.from_ms, row.to_ms)


def test_changes_in_mid_lot_divide_its_pieces() -> None:
    """Whichever was reported first: a piece has what changed before it, and the rest as it was."""
    plant = stocked_plant()
    plant.submit(changed(12, "mixer", "MX-2"))
    plant.submit(changed(5, "mould-set", "M-2"), changed(6, "shift", "NIGHT"))
    assert [(1, 5, "L-1", "M-1", "MX-1"), (6, 12, "L-1", "M-2", "MX-1"), (13, None, "L-1", "M-2", "MX-2")] == (
        makings(plant, "SL-1")
    )
    check_views(plant)


def test_of_two_changes_at_one_count_the_later_said_stands() -> None:
    """An empty stretch between them is none."""
    plant = stocked_plant()
    plant.submit(changed(5, "mould-set", "M-2"), changed(5, "mould-set", "M-3"))
    assert [(1, 5, "L-1", "M-1", "MX-1"), (6, None, "L-1", "M-3", "MX-1")] == makings(plant, "SL-1")


def test_a_making_is_with_its_mould_line_and_mixer() -> None:
    """A mould suspect goes by the set, a station suspect by line or mixer."""
    plant = stocked_plant()
    rows = [row for row in plant.tables.rows[Made].values() if isinstance(row, Made) and row.lot == "SL-1"]
    one = makings_of(rows)[0]
    fits = [("mould", "M-1"), ("station", "L-1"), ("station", "MX-1")]
    misses = [("mould", "L-1"), ("station", "M-1"), ("station", "L-2")]
    assert all(one.is_with(Suspect(sort=sort, name=name)) for sort, name in fits)  # type: ignore[arg-type]  # sorts
    assert not any(one.is_with(Suspect(sort=sort, name=name)) for sort, name in misses)  # type: ignore[arg-type]  # sorts


def test_the_station_of_a_step_is_kept() -> None:
    """Of a whole lot, of one ball, and of its engraving."""
    plant = stocked_plant()
    plant.submit(LotWorked(at=at(9), began_at=at(9), lot="SL-1", step="turned", station="TURN-1"))
    plant.submit(UnitStarted(at=at(9), unit="U-1", lot="SL-1", station="LATHE-1"))
    plant.submit(UnitWorked(at=at(9), unit="U-1", step="polished", station="POL-1"))
    engrave(plant, "U-1")
    steps = [row for row in plant.tables.rows[LotStep].values() if isinstance(row, LotStep)]
    units = [row for row in plant.tables.rows[UnitStep].values() if isinstance(row, UnitStep)]
    assert ["TURN-1"] == [row.station for row in steps]
    assert [("U-1", "started", "LATHE-1"), ("U-1", "polished", "POL-1")] == [
        (row.unit, row.step, row.station) for row in units
    ]
    engraved: Unit = plant.row(Unit, "U-1")
    assert "ENGRAVE-1" == engraved.engraved_by
    check_views(plant)
