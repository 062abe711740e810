"""The texts of manners beside the readings, on every store: kept once, named by what they say, and checked."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.line.reading_rows import Measured
from ledger.store import rebuild
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.readings_table import ReadingManner, manner_name
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.selections import every_row
from ledger.store.writer import Writer
from tests.plant import AT, registration, said

PLAIN = '{"mass":["lb","G1","single",1]}'
SANDED = '{"mass":["lb","G1","single",1,"sanded"]}'


def weighed(number: int, **stated: str) -> dict[str, Any]:
    """A ball weighed again."""
    reading = {"quantity": "mass", "unit": "lb", "gauge": "G1", "values": ["15.1"]}
    unit = f"U-{number:06d}"
    return {"kind": "inspection", "at": AT, "unit": unit, "station": "E1", "readings": [reading], **stated}


def texts(store: Store) -> dict[str, str]:
    """Every text that is kept, by its name."""
    with open_reader(store) as reader:
        return {row.manner: row.text for row in every_row(reader.transaction, ReadingManner)}


def names(*expected: str) -> dict[str, str]:
    """What is kept for some manners."""
    return {manner_name(text): text for text in expected}


@pytest.fixture
def balls(writer: Writer) -> Writer:
    """Four balls read alike, of which one was read sanded, and then as the others again."""
    for number in range(4):
        writer.submit(registration(number), "a-engraver").result(30)
    for number, stated in enumerate(({"surface": "sanded"}, {})):
        writer.submit(said(f"again-{number}", weighed(2, **stated)), "a-engraver").result(30)
    return writer


def test_a_text_is_kept_once(store: Store, balls: Writer) -> None:
    """Every ball names it, and its row says it whole."""
    assert names(PLAIN, SANDED) == texts(store)
    with open_reader(store) as reader:
        assert [PLAIN] * 4 == [row.manner for row in every_row(reader.transaction, Measured)]
    balls.submit(said("sanded", weighed(3, surface="sanded")), "a-engraver").result(30)
    assert names(PLAIN, SANDED) == texts(store)
    with open_reader(store) as reader:
        row = reader.one(Measured, "U-000003")
    assert row is not None
    assert row.manner == SANDED


@pytest.mark.usefixtures("balls")
def test_a_text_that_no_ball_needs_makes_no_difference(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Folded live, together or in chunks, the views are the same, whichever texts came by."""
    assert [] == compare_views(store)
    rebuild_views(store)
    assert names(PLAIN) == texts(store)
    assert [] == compare_views(store)
    monkeypatch.setattr(rebuild, "CHUNK", 1)
    assert [] == compare_views(store)


@pytest.mark.parametrize("change", ['UPDATE "manner" SET "text" = \'{}\'', 'DELETE FROM "manner"'])
@pytest.mark.usefixtures("balls")
def test_a_text_that_is_not_its_name_s_is_found(store: Store, change: str) -> None:
    """Changed or taken away by hand, it is named as a difference; a rebuild puts it right."""
    with store.writing() as transaction:
        transaction.run(change)
    found = compare_views(store)
    assert ("manner", "entries", (manner_name(PLAIN), PLAIN)) in {(one.view, one.only, one.row) for one in found}
    rebuild_views(store)
    assert [] == compare_views(store)
