"""The views are what the entries give, and can be made from them again at any time."""

from __future__ import annotations

from concurrent.futures import Future

import pytest

from ledger.line.rows import Hold, Lot, SerialRow, Unit
from ledger.store import rebuild
from ledger.store.answer import Entered
from ledger.store.engine import Store, open_store
from ledger.store.openings import erase_opening, openings_between
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, prepare_views, rebuild_views
from ledger.store.view_tables import VIEW_TABLES
from ledger.store.writer import Writer
from tests.plant import AT, registration, said
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
        erase_opening(store, one.index, one.opening.path)
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


def test_writers_are_not_stopped_by_a_rebuild(store: Store, told: Writer, monkeypatch: pytest.MonkeyPatch) -> None:
    """Entries written while a rebuild is on its way are in the views that it leaves."""
    monkeypatch.setattr(rebuild, "CHUNK", 4)
    written: list[int] = []
    catch_up = rebuild.Fold.catch_up

    def catch_up_while_writing(self: rebuild.Fold, *args: object) -> None:
        catch_up(self, *args)  # type: ignore[arg-type]  # passed on as they came
        if len(written) < 3 and self.done < 16:
            written.append(self.done)
            futures.append(told.submit(registration(100 + len(written)), "a-engraver"))

    futures: list[Future[Entered]] = []
    monkeypatch.setattr(rebuild.Fold, "catch_up", catch_up_while_writing)
    size = rebuild_views(store)
    monkeypatch.undo()
    for future in futures:
        future.result(30)
    assert (3, [], True) == (len(futures), compare_views(store), size >= 18)
