"""One entry in words: its fields, what is sealed and erased, its breaches, and what a correction changed."""

from __future__ import annotations

import json
from typing import Any

import pytest

from ledger.application.entry_list import PAGE, Wanted, entry_page
from ledger.application.entry_told import EntryTold, entry_told
from ledger.errors import NotFound
from ledger.store.reader import open_reader
from tests.application.floor import Floor, claimed, corrected, erasure, held, inspected


def told(floor: Floor, index: int) -> EntryTold:
    """An entry of the plant's book."""
    with open_reader(floor.book.store) as reader:
        return entry_told(reader, index)


def entry_of(floor: Floor, index: int) -> Any:
    """The entry itself, read apart."""
    return json.loads(floor.book.entry_bytes(index))


def listed(floor: Floor, **wanted: Any) -> list[int]:
    """The entries of a page."""
    with open_reader(floor.book.store) as reader:
        return [line.index for line in entry_page(reader, Wanted(**wanted)).lines]


def test_what_was_said_is_told_field_by_field(ready: Floor) -> None:
    """Every plain field of every record stands there by its path, with hash, author, time and what it is about."""
    index = ready.ball("U-1", "P-1").index
    entry, found = entry_of(ready, index), told(ready, index)

    assert (entry["recorded_at"], entry["prev"], entry["said"]["key"]) == (found.recorded_at, found.prev, found.key)
    assert (found.hash, "Lead", False) == (ready.book.entry(index).hash, found.name, found.signed)
    assert [record["kind"] for record in entry["said"]["records"]] == [fact.kind for fact in found.facts]
    fields = {field.path: field.value for field in found.facts[0].fields}
    assert {"unit": "U-1", "serial": "P-1", "lot": "SL-1", "weight_class": "15"}.items() <= fields.items()
    assert "unit:U-1" in found.facts[0].nodes
    assert all(fact.standing and not fact.corrected_by and not fact.changes for fact in found.facts)


def test_sealed_fields_are_marked_and_erased_ones_lead_to_what_erased_them(ready: Floor) -> None:
    """A withheld and an erasable value are told with their sealing; an erased one names the fact; a lost one is damage."""
    index = ready.say(held("H-1", node="lot:DRUM", note="seen by a person")).index
    fields = {field.path: field for field in told(ready, index).facts[0].fields}
    assert ("seen by a person", "erasable") == (fields["note"].value, fields["note"].sealing)
    gone = ready.say(erasure(index, "0/note")).addresses[0]
    fields = {field.path: field for field in told(ready, index).facts[0].fields}
    assert (None, gone) == (fields["note"].value, fields["note"].erased_by)

    sealed = {
        field.path: field.sealing
        for number in range(ready.book.check().entries)
        for fact in told(ready, number).facts
        for field in fact.fields
        if field.sealing
    }
    assert {"withheld", "erasable"} == set(sealed.values())


def test_a_correction_is_told_from_both_sides(ready: Floor) -> None:
    """The corrected fact and the correction show the same fields before and after; a withdrawn fact stands no more."""
    first, second = ready.ball("U-1", "P-1"), ready.ball("U-2", "P-2")
    entered = ready.say(
        corrected(
            {"fact": first.addresses[1], "replacement": inspected("U-1", 80, mass="15.2")},
            {"fact": second.addresses[1]},
        )
    )
    changed, withdrawn = told(ready, first.index).facts[1], told(ready, second.index).facts[1]
    correction = told(ready, entered.index).facts[0]

    assert (True, entered.addresses[0]) == (changed.standing, changed.corrected_by)
    assert (False, entered.addresses[0]) == (withdrawn.standing, withdrawn.corrected_by)
    (mass,) = (change for change in changed.changes if change.after == "15.2")
    assert "15.1" == mass.before
    assert mass in correction.changes
    assert all(change.after is None for change in withdrawn.changes)
    assert {*changed.changes, *withdrawn.changes} == set(correction.changes)


def test_breaches_are_told_as_the_entry_states_them(ready: Floor) -> None:
    """Code, words, node and whether it holds are those of the entry."""
    index = ready.say(claimed("C-1", serial="NO-SUCH")).index
    (breach, *_) = entry_of(ready, index)["breaches"]
    (seen, *_) = told(ready, index).facts[0].breaches
    assert (breach["code"], breach["said"], breach["node"], breach.get("holds", True)) == (
        seen.code, seen.said, seen.node, seen.holds,
    )  # fmt: skip


def test_a_list_is_by_number_of_a_ball_and_before_a_correction_too(ready: Floor) -> None:
    """A ball is found by its number or its unit, and by what was about it once; the newest come first, a page at most."""
    first, second = ready.ball("U-1", "P-1"), ready.ball("U-2", "P-2")
    read_later = ready.say(inspected("U-1", 80, mass="15.2"))
    assert listed(ready, ball="P-1") == listed(ready, ball="U-1") == [read_later.index, first.index]
    assert {first.index, second.index} <= set(listed(ready, lot="SL-1"))
    ready.say(corrected({"fact": read_later.addresses[0], "replacement": inspected("U-2", 80, mass="15.2")}))
    assert [read_later.index, first.index] == [
        index for index in listed(ready, ball="U-1") if index <= read_later.index
    ]
    assert read_later.index in listed(ready, ball="P-2")
    assert [first.index] == listed(ready, ball="U-1", below=read_later.index)
    assert [read_later.index] == listed(ready, ball="U-1", kind="inspection", below=read_later.index + 1)[:1]
    assert [] == listed(ready, lot="NO-SUCH")
    assert listed(ready)[:1] == [ready.book.check().entries - 1]
    assert len(listed(ready)) <= PAGE


@pytest.mark.parametrize("index", [-1, 10**6])
def test_an_entry_that_is_not_there_is_not_found(ready: Floor, index: int) -> None:
    """No entry has this index."""
    with pytest.raises(NotFound):
        told(ready, index)
