"""What predictions rest on is looked up once."""

from __future__ import annotations

import msgspec

from ledger.application.mass_ground import MassGround
from ledger.line.rows import Lot
from ledger.store.reader import Reader, open_reader
from tests.application.floor import Floor, blocks
from tests.application.recipes import SIZES, batches, core_lot, revised, shell_lot


def lot_row(reader: Reader, lot: str) -> Lot:
    """A lot's row."""
    row = reader.one(Lot, lot)
    assert row is not None
    return row


def test_a_place_counts_only_where_positions_were_recorded(floor: Floor) -> None:
    """Balls at any place of a lot without positions share one prediction; a class has its own."""
    lighter = {**SIZES, "weight_class": 14, "block_volume_cm3": "800"}
    revised(floor, SIZES, lighter)
    batches(floor)
    floor.say(blocks("BL-1", 3, 80))
    floor.say(core_lot("CL-1", "BL-1", 80))
    floor.say(shell_lot("SL-1", ("CL-1", 40)), shell_lot("SL-2", ("CL-1", 40, 1, 40)))
    with open_reader(floor.book.store) as reader:
        ground = MassGround(reader)
        one, two = lot_row(reader, "SL-1"), lot_row(reader, "SL-2")
        assert ground.predictions(one, 15, 1) is ground.predictions(one, 15, 2)
        assert ground.predictions(two, 15, 1) is not ground.predictions(two, 15, 2)
        fifteen, fourteen = (ground.predictions(one, pounds, None).each[0].mass for pounds in (15, 14))
        assert fifteen is not None
        assert fourteen is not None
        assert 100 * (2.1 - 1.05) == round(fifteen.total.value - fourteen.total.value, 6)


def test_a_lot_that_is_made_of_nothing_known_has_no_prediction(floor: Floor) -> None:
    """A block lot is not made of cores; that is said, and nothing is guessed."""
    revised(floor)
    batches(floor)
    floor.say(blocks("BL-1", 3, 40))
    floor.say(core_lot("CL-1", "BL-1", 40))
    floor.say(shell_lot("SL-1", ("CL-1", 40)))
    with open_reader(floor.book.store) as reader:
        core = lot_row(reader, "CL-1")
        found = MassGround(reader).predictions(msgspec.structs.replace(core, model="M1", revision=2), 15, None)
    assert ((), "of which blocks, cores and colours CL-1 is made" in found.missing[0]) == (found.each, True)
