"""The views are what the entries give, and can be made from them again at any time."""

from __future__ import annotations

import pytest

from ledger.book.instant import Instant, format_instant
from ledger.line.rows import FactRow, Hold, Lot, SerialRow, Unit
from ledger.store import rebuild
from ledger.store.answer import Entered
from ledger.store.engine import Store, open_store
from ledger.store.openings import openings_between
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, prepare_views, rebuild_views
from ledger.store.view_tables import VIEW_TABLES
from ledger.store.writer import Writer
from tests.plant import AT, erasure, registration, said
from tests.stores import every_row

VIEWS = {table.name for table in VIEW_TABLES.values()}


def rows_of_views(store: Store) -> dict[str, list[object]]:
    """All rows of all views."""
    return {name: rows for name, rows in every_row(store).items() if name in VIEWS}


@pytest.fixture
def told(writer: Writer) -> Writer:
    """A book with balls, a hold, one ball engraved with the wrong number and corrected, one withdrawn, one over-drawn lot."""
    for number in range(6):
        writer.submit(registration(number), "a-engraver").result(30)
    hold = {"kind": "hold-placed", "at": AT, "hold": "H1", "reason": "suspect", "node": "lot:SL-1"}
    writer.submit(said("hold", hold), "a-lead").result(30)
    right = {
        "kind": "ball-engraved", "at": AT, "unit": "U-000002", "lot": "SL-1", "serial": "P777", "weight_class": 15,
        "station": "E1", "scheme": "prior",
    }  # fmt: skip
    changes = [{"fact": "11.0", "replacement": right}, {"fact": "12.1"}]
    correction = {"kind": "correction", "at": AT, "reason": "mistyped", "changes": changes}
    writer.submit(said("correct", correction), "a-lead").result(30)
    writer.submit(registration(8), "a-engraver").result(30)
    return writer


def test_a_correction_is_seen_in_the_views(store: Store, told: Writer) -> None:
    """The corrected ball bears the right number, a withdrawn reading is gone, and what is told later goes on from there."""
    with open_reader(store) as reader:
        unit, lot = reader.one(Unit, "U-000002"), reader.one(Lot, "SL-1")
        wrong = reader.rows(SerialRow, "serial", "P000002")
        fact = reader.fact("11.0")
        assert reader.fact("12.1") is None
        history = [told.address for told in reader.facts_about("unit:U-000002")]
    assert unit is not None
    assert lot is not None
    assert fact is not None
    assert ("P777", [], 7, "16.0.0", ["11.0", "11.1"]) == (unit.serial, wrong, lot.used, fact.body, history)


def test_a_rebuild_gives_the_same_rows(store: Store, told: Writer) -> None:
    """Every row of every view is the same after the views were made anew, and the writer goes on."""
    before = rows_of_views(store)
    assert [] == compare_views(store)
    assert 18 == rebuild_views(store)
    assert before == rows_of_views(store)
    told.submit(registration(9), "a-engraver").result(30)
    assert [] == compare_views(store)
    assert 19 == rebuild_views(store)


def test_limits_that_change_leave_what_was_marked(store: Store, told: Writer, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each fact keeps the marks of its own entry, corrected later or not, whether folded live, together, or in chunks."""
    hour_ms = 3_600_000
    with open_reader(store) as reader:
        now_ms = reader.head().recorded_ms

    def received(lot: str) -> str:
        when = format_instant(Instant(now_ms - 2 * hour_ms))
        drum = {"kind": "material-received", "at": when, "lot": lot, "material": "Resin", "kg": "9"}
        entered: Entered = told.submit(said(lot, drum), "a-lead").result(30)
        return entered.addresses[0]

    def limited(key: str, late_s: int) -> None:
        rules = {"kind": "plant-rules-set", "at": AT, "late_s": late_s}
        told.submit(said(key, rules), "a-lead").result(30)

    first = received("MT-11")
    limited("slow", 86_400)
    second = received("MT-12")
    limited("quick", 60)
    third = received("MT-13")
    again = {"kind": "material-received", "at": AT, "lot": "MT-12", "material": "Resin", "kg": "8"}
    again["at"] = format_instant(Instant(now_ms - 3 * hour_ms))
    changes = [{"fact": second, "replacement": again}]
    correction = {"kind": "correction", "at": AT, "reason": "mistyped", "changes": changes}
    told.submit(said("correct-again", correction), "a-lead").result(30)
    with open_reader(store) as reader:
        found = [reader.one(FactRow, address) for address in (first, second, third)]
    assert [(True, ""), (False, "23.0.0"), (True, "")] == [(row.late, row.body) for row in found if row is not None]
    assert [] == compare_views(store)
    monkeypatch.setattr(rebuild, "CHUNK", 2)
    assert [] == compare_views(store)


def test_a_rebuild_in_small_chunks_gives_the_same_rows(
    store: Store, told: Writer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """How many entries are folded at once makes no difference."""
    monkeypatch.setattr(rebuild, "CHUNK", 3)
    assert [] == compare_views(store)


def test_a_changed_view_row_is_named(store: Store, told: Writer) -> None:
    """A row that was changed by hand is found, from both sides; a rebuild puts it right."""
    with store.writing() as transaction:
        transaction.run('UPDATE "unit" SET "serial" = \'FORGED\' WHERE "unit" = \'U-000001\'')
    differences = compare_views(store)
    assert [("unit", "standing"), ("unit", "entries")] == [(one.view, one.only) for one in differences]
    rebuild_views(store)
    assert [] == compare_views(store)


def test_a_missing_view_row_is_named(store: Store, told: Writer) -> None:
    """A row that was taken away by hand is found."""
    with store.writing() as transaction:
        transaction.run('DELETE FROM "hold" WHERE "hold" = \'H1\'')
    assert [("hold", "entries")] == [(one.view, one.only) for one in compare_views(store)]


def test_views_of_another_shape_are_made_anew_when_a_store_is_opened(store: Store, told: Writer, url: str) -> None:
    """A store whose views are of an earlier program opens with this program's views."""
    before = rows_of_views(store)
    told.stop()
    with store.writing() as transaction:
        transaction.run('UPDATE "setting" SET "value" = \'earlier\' WHERE "name" = \'views-digest\'')
        transaction.run('DELETE FROM "unit"')
    reopened = open_store(url)
    assert (before, False) == (rows_of_views(reopened), prepare_views(reopened))
    reopened.close()


def test_erasing_an_opening_changes_no_view(store: Store, told: Writer) -> None:
    """Erasable fields never reach a view: with every one erased a rebuild gives the same rows."""
    with store.reading() as transaction:
        openings = openings_between(transaction, 0, 100)
    erasable = [one for one in openings if one.sealing == "erasable"]
    assert ["seen by a person"] == [one.opening.value for one in erasable]
    for one in erasable:
        told.submit(said("erase", erasure(one.index, one.opening.path)), "a-lead").result(30)
    assert [] == compare_views(store)


def test_a_state_for_asking_holds_what_a_check_reads(store: Store, told: Writer) -> None:
    """What a station asks about is checked against the book without entering anything."""
    from ledger.line.fold import check_record  # noqa: PLC0415  # this one test asks
    from ledger.line.kind import Setting  # noqa: PLC0415

    record = registration(20).records[0]
    with open_reader(store) as reader:
        state = reader.state_for([record])
        assert ["suspect"] == [hold.reason for hold in reader.rows(Hold, "node", "lot:SL-1")]
    assert [] == check_record(record, state, Setting(now_ms=1, author="a", index=1, position=0, asking=True))


def test_many_rows_are_read_in_one_query(store: Store, told: Writer) -> None:
    """Rows of many values come back by value, with an empty list where there is none."""
    with open_reader(store) as reader:
        found = reader.rows_of(Unit, "unit", ["U-000001", "U-NONE", "U-000001"])
    assert {"U-000001": 1, "U-NONE": 0} == {value: len(rows) for value, rows in found.items()}
