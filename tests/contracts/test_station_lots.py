"""What a station looks up, on each database: open lots of a stage, the last facts about a node, names."""

from __future__ import annotations

import pytest

from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.station_lots import facts_after, last_facts, names_of, newest_lot, open_lots
from ledger.store.writer import Writer
from tests.plant import registration, said

LATER = "2026-03-03T08:00:00.000+00:00"


@pytest.fixture
def stocked(writer: Writer) -> Writer:
    """SL-1 of which three balls were engraved and a lot of 500 was split off, which lost all its pieces but one."""
    for number in range(1, 4):
        writer.submit(registration(number), "a-lead").result(30)
    split = {"kind": "lot-split", "at": LATER, "lot": "SL-1", "into": "SL-2", "count": 500}
    lost = {"kind": "pieces-lost", "at": LATER, "lot": "SL-2", "count": 499, "how": "scrap", "reason": "test"}
    for key, record in (("split", split), ("lost", lost)):
        writer.submit(said(key, record), "a-lead").result(30)
    return writer


def test_open_lots_are_those_with_something_left(stocked: Writer, store: Store) -> None:
    """The newest first, as many as asked; an empty, closed or other stage's lot is not among them."""
    with open_reader(store) as reader:
        transaction = reader.transaction
        assert ["SL-2", "SL-1"] == sorted((lot.lot for lot in open_lots(transaction, "shell", 5)), reverse=True)
        assert 1 == len(open_lots(transaction, "shell", 1))
        assert [[], ["BT-1"]] == [[lot.lot for lot in open_lots(transaction, stage, 5)] for stage in ("core", "batch")]
        newest, none = newest_lot(transaction, "core"), newest_lot(transaction, "imported")
        assert ("CL-1", None) == (newest.lot if newest else "", none)
    empty = {"kind": "pieces-lost", "at": LATER, "lot": "SL-2", "count": 1, "how": "scrap", "reason": "test"}
    stocked.submit(said("empty", empty), "a-lead").result(30)
    with open_reader(store) as reader:
        assert ["SL-1"] == [lot.lot for lot in open_lots(reader.transaction, "shell", 5)]


def test_last_facts_come_newest_first(stocked: Writer, store: Store) -> None:
    """As many as asked; a withdrawn one keeps its place, and no longer stands after another."""
    with open_reader(store) as reader:
        rows = last_facts(reader.transaction, "lot:SL-2", 9)
        assert ["pieces-lost", "lot-split"] == [row.kind for row in rows]
        lost, split = rows
        assert ["pieces-lost"] == [row.kind for row in last_facts(reader.transaction, "lot:SL-2", 1)]
        after = facts_after(reader.transaction, "lot:SL-2", (split.index, split.position), 5)
        assert [lost.address] == after
        assert [] == facts_after(reader.transaction, "lot:SL-2", (lost.index, lost.position), 5)
    undone = {"kind": "correction", "at": LATER, "changes": [{"fact": lost.address}], "reason": "not-done"}
    stocked.submit(said("undone", undone), "a-lead").result(30)
    with open_reader(store) as reader:
        rows = last_facts(reader.transaction, "lot:SL-2", 9)
        assert [(lost.address, False), (split.address, True)] == [(row.address, row.standing) for row in rows]
        assert [] == facts_after(reader.transaction, "lot:SL-2", (split.index, split.position), 5)


def test_names_are_of_known_accounts(store: Store) -> None:
    """An account that the store does not know has no row, and none asked is none found."""
    with open_reader(store) as reader:
        assert {} == names_of(reader.transaction, ["a-nobody"]) == names_of(reader.transaction, [])
