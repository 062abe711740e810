"""Numbers looked up on each database: by many, by first places, by range, by model; and the question over them."""

from __future__ import annotations

import pytest

from ledger.application.finding import Asked, find_balls
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.serial_search import (
    Between,
    Shape,
    bearings_between,
    bearings_like,
    bearings_of,
    bearings_of_model,
    is_within_reach,
)
from ledger.store.writer import Writer
from tests.plant import registration

ANY = Between()


@pytest.fixture
def numbered(writer: Writer) -> Writer:
    """Thirty balls, P000001 to P000030."""
    for number in range(1, 31):
        writer.submit(registration(number), "a-lead").result(30)
    return writer


@pytest.mark.usefixtures("numbered")
def test_the_searches_agree(store: Store) -> None:
    """The same balls come by list, by shape, by range and by model."""
    serials = [f"P0000{number}" for number in range(10, 20)]
    shape = Shape((*"P00001", ""))
    with open_reader(store) as reader:
        assert serials == sorted(row.serial for row in bearings_of(reader, [*serials, "P999999"]))
        assert serials == [row.serial for row in bearings_like(reader, shape, ANY, 100).rows]
        between = bearings_between(reader, serials[0], serials[-1], ANY, 100)
        assert between is not None
        assert serials == [row.serial for row in between.rows]
        of_model = bearings_of_model(reader, shape, Between(model="M1"), 100)
        assert of_model is not None
        assert serials == [row.serial for row in of_model.rows]
        assert is_within_reach(reader, shape)


@pytest.mark.usefixtures("numbered")
def test_a_search_counts_what_it_does_not_list(store: Store) -> None:
    """More than the limit are counted, fewer are listed whole; the stretch narrows both."""
    with open_reader(store) as reader:
        few = bearings_like(reader, Shape(("P",), open=True), ANY, 4)
        assert (4, 30) == (len(few.rows), few.total)
        assert 0 == bearings_like(reader, Shape(("P",), open=True), Between(model="M9"), 4).total
        assert 0 == bearings_like(reader, Shape(("P",), open=True), Between(to_ms=0), 4).total
        assert 30 == bearings_like(reader, Shape(("P",), open=True), Between(weight_class=15, from_ms=0), 4).total


@pytest.mark.usefixtures("numbered")
def test_a_half_worn_number_is_found(store: Store) -> None:
    """Two unread places of seven leave the balls that fit."""
    with open_reader(store) as reader:
        found = find_balls(reader, Asked(serial="P0?00?7"))
    assert ["P000007", "P000017", "P000027"] == sorted(
        ball.serial for ball in found.balls if ball.how == "fits what was read"
    )
