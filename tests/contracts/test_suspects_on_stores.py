"""The set below a suspect on each database: the questions that find it, and the index that counts it."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.application.consignees import consignees_of
from ledger.application.suspect_set import SuspectSet
from ledger.line.suspects import Span, Suspect
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.suspects import (
    balls_per_lot,
    count_by_place,
    count_named,
    engraved_lots,
    named_units,
    poured_in,
    sent_to,
    units_in,
)
from ledger.store.writer import Writer
from tests.plant import AT, registration, said

BALLS = [f"U-{number:06d}" for number in range(1, 13)]


@pytest.fixture
def stocked(writer: Writer) -> Writer:
    """Twelve balls of SL-1, of which two went to SHOP-1 and one to a lab, and one was worked at POL-1."""
    for number in range(1, 13):
        writer.submit(registration(number), "a-lead").result(30)
    shop = {"kind": "consignee-registered", "at": AT, "consignee": "SHOP-1", "name": "A shop", "market": "north"}
    sent = {"kind": "shipment", "at": AT, "purpose": "sample"}
    worked = {"kind": "unit-worked", "at": AT, "unit": BALLS[4], "step": "polished", "station": "POL-1"}
    writer.submit(said("shop", shop, worked), "a-lead").result(30)
    first = {**sent, "shipment": "SH-1", "units": BALLS[:2], "to": "SHOP-1"}
    second = {**sent, "shipment": "SH-2", "units": BALLS[2:3], "consignee": "A lab"}
    writer.submit(said("sent", first, second), "a-lead").result(30)
    return writer


def below(reader: Reader, **fields: Any) -> list[str]:
    """Every ball below a suspect."""
    return [one.ball.unit for one in SuspectSet(reader, Suspect(**fields)).balls()]


@pytest.mark.usefixtures("stocked")
def test_balls_are_counted_where_they_are(store: Store) -> None:
    """By state and shipment, lot by lot, and with the consignee of each shipment."""
    expected = {("engraved", None): 9, ("shipped", "SH-1"): 2, ("shipped", "SH-2"): 1}
    with open_reader(store) as reader:
        assert expected == count_by_place(reader, ["SL-1", "SL-none"])
        assert ({}, {"SL-1": 12}) == (count_by_place(reader, []), balls_per_lot(reader, ["SL-1", "CL-1"]))
        sent = sent_to(reader, ["SH-1", "SH-2", "SH-none"])
        assert {"SH-1": "SHOP-1", "SH-2": None} == {shipment: one[1] for shipment, one in sent.items()}
        assert [("SHOP-1", 2)] == [(one.consignee, one.balls) for one in consignees_of(reader)]


@pytest.mark.usefixtures("stocked")
def test_balls_are_found_by_what_touched_them(store: Store) -> None:
    """By engraving, step, reading and serial; instants at both ends of a span count."""
    with open_reader(store) as reader:
        at_ms = reader.transaction.rows('SELECT max("engraved_ms") FROM "unit"')[0][0]
        assert [("SL-1", 12, 12)] == engraved_lots(reader, "E1", Span(from_ms=at_ms, to_ms=at_ms))
        assert [] == engraved_lots(reader, "E1", Span(from_ms=at_ms + 1))
        hits = [one.engraved_there for one in units_in(reader, ["SL-1"], ("E1", Span(to_ms=at_ms)))]
        assert [True] * 12 == hits
        polished, gauge = Suspect(sort="station", name="POL-1"), Suspect(sort="gauge", name="G1")
        assert ({BALLS[4]}, set()) == tuple(named_units(reader, polished, lots) for lots in (["SL-1"], ["CL-1"]))
        assert ({"SL-1": 1}, {"SL-1": 12}) == (count_named(reader, polished), count_named(reader, gauge))
        assert (set(BALLS), set()) == (named_units(reader, gauge, ["SL-1", "CL-1"]), named_units(reader, gauge, []))
        assert {} == count_named(reader, Suspect(sort="mould", name="MS-1"))
        began = reader.transaction.rows('SELECT "began_ms" FROM "lot" WHERE "lot" = \'SL-1\'')[0][0]
        assert {"SL-1"} == poured_in(reader, Span(from_ms=began, to_ms=began))
        assert set() == poured_in(reader, Span(to_ms=began - 1))


@pytest.mark.usefixtures("stocked")
@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"sort": "shell-lot", "name": "SL-1"}, BALLS),
        ({"sort": "block-lot", "name": "BL-1"}, BALLS),
        ({"sort": "station", "name": "E1"}, BALLS),
        ({"sort": "station", "name": "POL-1"}, BALLS[4:5]),
        ({"sort": "gauge", "name": "G1"}, BALLS),
        ({"sort": "serials", "serial_prefix": "P00001"}, BALLS[9:]),
        ({"sort": "serials", "first_serial": "P000002", "last_serial": "P000004"}, BALLS[1:4]),
    ],
)
def test_the_set_is_the_same_on_each_database(store: Store, fields: dict[str, Any], expected: list[str]) -> None:
    """In the order of lots and units, and counted as it is listed."""
    with open_reader(store) as reader:
        assert expected == below(reader, **fields)
        counts = SuspectSet(reader, Suspect(**fields)).counts()
        assert (len(expected), 0) == (counts["certain"].total(), counts["possible"].total())


@pytest.mark.usefixtures("stocked")
def test_the_count_has_an_index_that_holds_all_it_asks(store: Store) -> None:
    """The state and shipment of a ball stand beside its lot; SQLite's plan says that it reads nothing else."""
    with open_reader(store) as reader:
        if store.dialect.name == "sqlite":
            text = 'EXPLAIN QUERY PLAN SELECT "state", "away", count(*) FROM "unit" WHERE "lot" = ? GROUP BY 1, 2'
            assert "USING COVERING INDEX" in str(reader.transaction.rows(text, ("SL-1",)))
        else:
            rows = reader.transaction.rows("SELECT indexdef FROM pg_indexes WHERE tablename = 'unit'")
            assert any("(lot, state, away, " in definition for (definition,) in rows)
