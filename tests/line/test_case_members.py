"""Whether a suspect touches one ball, by the rows above it."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.line.balls import BallEngravedAnew, UnitStarted, UnitWorked
from ledger.line.case_members import member_needs, touches
from ledger.line.inspections import Inspection
from ledger.line.lot_changes import LotChanged, LotWorked
from ledger.line.rows import SerialRow
from ledger.line.state import State
from ledger.line.suspects import Suspect
from tests.line.making import allot, at, blocks, cores, engrave, inspection, reading, ready_plant, shells
from tests.line.plant import Plant


@pytest.fixture
def plant() -> Plant:
    """SL-1 of CL-1 in places 1 to 5 and of CL-2 in 6 to 10; from its piece 8 on in M-2. U-1 is its piece 1, U-9 its 9."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", 10), blocks("BL-2", 10, line="L-2"))
    plant.submit(cores("CL-1", ("BL-1", 10)), cores("CL-2", ("BL-2", 10), mixer="MX-2"))
    plant.submit(shells("SL-1", ("CL-1", 5, 1, 5), ("CL-2", 5, 6, 10)))
    plant.submit(LotChanged(at=at(7, "08:05"), lot="SL-1", count=7, what="mould-set", to="M-2"))
    plant.submit(LotWorked(at=at(8, "12:00"), began_at=at(8, "11:00"), lot="SL-1", step="turned", station="TURN-1"))
    plant.submit(UnitStarted(at=at(9), unit="U-1", lot="SL-1", station="LATHE-1", place=1))
    plant.submit(UnitWorked(at=at(9, "09:00"), unit="U-1", step="polished", station="POL-1"))
    engrave(plant, "U-1", at=at(9, "10:00"))
    engrave(plant, "U-9", at=at(9, "11:00"), place=9)
    for instant, value in ((at(10), "15.1"), (at(11), "15.0")):
        plant.submit(inspection("U-1", reading("mass", value), at=instant))
    plant.submit(Inspection(at=at(6), lot="CL-2", station="Q-1", readings=(reading("hardness", "75"),)))
    return plant


def touched(plant: Plant, **fields: Any) -> list[bool]:
    """Whether the suspect touches U-1 and U-9."""
    suspect, found = Suspect(**fields), []
    for unit in ("U-1", "U-9"):
        state = State()
        plant._load(state, lambda state=state, unit=unit: member_needs(suspect, unit, state))
        found.append(touches(suspect, unit, state))
    return found


def serials(plant: Plant, unit: str) -> list[str]:
    """The numbers that a ball bears or bore, oldest first."""
    rows = [row for row in plant.tables.rows[SerialRow].values() if isinstance(row, SerialRow) and row.unit == unit]
    return [row.serial for row in sorted(rows, key=lambda row: row.since_ms)]


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"sort": "material-lot", "name": "RESIN"}, [True, True]),
        ({"sort": "block-lot", "name": "BL-1"}, [True, False]),
        ({"sort": "core-lot", "name": "CL-2"}, [False, True]),
        ({"sort": "shell-lot", "name": "SL-1"}, [True, True]),
        ({"sort": "shell-lot", "name": "SL-9"}, [False, False]),
        ({"sort": "week", "name": "2026-W02"}, [True, True]),
        ({"sort": "week", "name": "2026-W01"}, [False, False]),
        ({"sort": "mould", "name": "M-2"}, [False, True]),
        ({"sort": "mould", "name": "M-1", "from_at": at(7)}, [True, False]),
        ({"sort": "mould", "name": "M-1", "to_at": at(3, "08:00")}, [True, True]),
        ({"sort": "mould", "name": "M-1", "to_at": at(3, "07:59")}, [False, False]),
        ({"sort": "station", "name": "L-2"}, [False, True]),
        ({"sort": "station", "name": "MX-2"}, [False, True]),
        ({"sort": "station", "name": "TURN-1"}, [True, True]),
        ({"sort": "station", "name": "TURN-1", "from_at": at(8, "12:00")}, [True, True]),
        ({"sort": "station", "name": "TURN-1", "from_at": at(8, "12:01")}, [False, False]),
        ({"sort": "station", "name": "LATHE-1"}, [True, False]),
        ({"sort": "station", "name": "POL-1", "to_at": at(9, "09:00")}, [True, False]),
        ({"sort": "station", "name": "ENGRAVE-1", "from_at": at(9, "11:00")}, [False, True]),
        ({"sort": "gauge", "name": "G-MASS"}, [True, False]),
        ({"sort": "gauge", "name": "G-MASS", "from_at": at(10), "to_at": at(10)}, [True, False]),
        ({"sort": "gauge", "name": "G-MASS", "to_at": at(9)}, [False, False]),
        ({"sort": "gauge", "name": "G-HARD"}, [False, True]),
        ({"sort": "gauge", "name": "G-HARD", "from_at": at(7)}, [False, False]),
    ],
)
def test_a_suspect_touches_the_balls_below_it(plant: Plant, fields: dict[str, Any], expected: list[bool]) -> None:
    """By lot, mould, station, gauge and span; positions clear a ball of the lots and stretches that it is not of."""
    assert expected == touched(plant, **fields)


def test_a_number_counts_that_a_ball_bore_once(plant: Plant) -> None:
    """By its beginning, by a range of its length, and by when it was engraved."""
    old = serials(plant, "U-1")[0]
    plant.submit(BallEngravedAnew(at=at(15), unit="U-1", serial=allot(plant)[0], station="E", reason="worn"))
    new = serials(plant, "U-1")[1]
    for serial in (old, new):
        assert True is touched(plant, sort="serials", serial_prefix=serial)[0]
        assert True is touched(plant, sort="serials", first_serial=serial, last_serial=serial)[0]
    assert False is touched(plant, sort="serials", serial_prefix=old, from_at=at(10))[0]
    assert True is touched(plant, sort="serials", serial_prefix=new, from_at=at(15))[0]


def test_a_ball_that_is_not_there_is_not_touched() -> None:
    """No row, no ball."""
    suspect, state = Suspect(sort="batch", name="MIX-B"), State()
    plant = ready_plant()
    plant._load(state, lambda: member_needs(suspect, "U-0", state))
    assert False is touches(suspect, "U-0", state)
