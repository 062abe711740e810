"""The views: keys, look-ups and nodes fit the rows."""

from __future__ import annotations

import typing

import pytest

from ledger.line.kinds import PLAIN_KINDS
from ledger.line.rows import Row
from ledger.line.views import VIEW_OF, VIEWS, View
from ledger.line.vocabulary import KINDS
from tests.line.making import at, released_ball, stocked_plant


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.table)
def test_keys_and_look_ups_are_columns_of_the_row(view: View) -> None:
    """And the first of the key is asked by."""
    assert set(view.row.__struct_fields__) >= {*view.key, *view.lookups}
    assert view.key[0] in view.lookups


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.table)
def test_rows_hold_text_whole_numbers_and_booleans(view: View) -> None:
    """No floats and nothing nested: a rebuild gives the same rows to the byte."""
    allowed = {str, int, bool, str | None, int | None}
    assert set(typing.get_type_hints(view.row).values()) <= allowed


def test_every_row_class_is_a_view_of_its_own_table() -> None:
    """No table twice; each class of the line known. What the store keeps for itself is none of them."""
    tables = [view.table for view in VIEWS]
    assert sorted(set(tables)) == sorted(tables)
    of_the_line = {row for row in Row.__subclasses__() if not row.__module__.startswith("ledger.store.")}
    assert of_the_line == set(VIEW_OF)


def test_every_kind_is_in_the_table_once() -> None:
    """What is not corrected itself comes last: the plant's limits, and what speaks about facts."""
    assert len({kind.record for kind in KINDS}) == len(KINDS)
    assert PLAIN_KINDS == KINDS[: len(PLAIN_KINDS)]


def test_the_node_of_a_row_is_one_that_its_fact_is_about() -> None:
    """Each row of a told plant belongs to a node, sort and name."""
    plant = stocked_plant()
    released_ball(plant)
    nodes = {VIEW_OF[type(row)].node(row).partition(":")[0] for rows in plant.tables.listed().values() for row in rows}
    assert {"fact", "model", "lot", "unit", "gauge", "gauge-set", "serial", "counter", "rulebook"} == nodes
    assert at(1) == "2026-01-01T08:00:00.000+00:00"
