"""Erasures: which fields and names may be erased, and what the book remembers of it."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.corrections import Correction
from ledger.line.erasure_rows import ErasedField, ErasedName
from ledger.line.erasures import Erasure, NameErasure
from ledger.line.rows import About
from tests.line.making import at, material
from tests.line.plant import Plant
from tests.line.test_corrections import correction


def erasure(entry: int, *fields: str, **more: Any) -> Erasure:
    """An erasure of fields, on request."""
    return Erasure(**{"at": at(40), "entry": entry, "fields": fields, "basis": "request", "reason": "asked", **more})


def name_erasure(account: str = "a-mary", **more: Any) -> NameErasure:
    """An erasure of a name."""
    return NameErasure(**{"at": at(40), "account": account, "basis": "expiry", "reason": "left-us", **more})


def noted_plant() -> Plant:
    """A plant with two drums in one entry, each with a note and the first with a supplier, and a third drum without."""
    plant = Plant()
    plant.submit(material("D-1", note="brought by Bob", supplier="Acme"), material("D-2", note="brought by Ann"))
    plant.submit(material("D-3"))
    return plant


def test_an_erasure_is_remembered_field_by_field() -> None:
    """With the fact that said each, and the fact that erased it; the history of both facts shows it."""
    plant = noted_plant()
    entered = plant.submit(erasure(0, "0/note", "1/note"))
    assert [
        ErasedField(field="0/0/note", entry=0, path="0/note", fact="0.0", address="2.0"),
        ErasedField(field="0/1/note", entry=0, path="1/note", fact="0.1", address="2.0"),
    ] == plant.tables.listed()["ErasedField"]
    assert (2, ()) == (entered.at, entered.breaches)
    assert ["fact:0.0", "fact:0.1"] == sorted(row.node for row in plant.tables.where(About, "address", "2.0"))


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (erasure(0, "0/supplier"), RuleStands, "fields[0]"),
        (erasure(0, "0/note", "0/supplier"), RuleStands, "fields[1]"),
        (erasure(1, "0/note"), UnknownSubject, "fields[0]"),
        (erasure(0, "0/lot"), UnknownSubject, "fields[0]"),
        (erasure(0, "7/note"), UnknownSubject, "fields[0]"),
        (erasure(2, "0/note"), RuleStands, "entry"),
        (erasure(9, "0/note"), RuleStands, "entry"),
        (erasure(0, "0/note", "0/note"), Contradiction, "fields"),
        (name_erasure("a-nobody"), UnknownSubject, "account"),
    ],
    ids=[
        "withheld",
        "one of them withheld",
        "no note",
        "not sealed",
        "no record",
        "itself",
        "later",
        "twice",
        "nobody",
    ],
)
def test_what_cannot_be_erased_is_refused(record: Any, error: type[Exception], where: str) -> None:
    """Withheld fields, fields that there are not, entries to come; the refusal names the field and the mend."""
    refusal = noted_plant().refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_nothing_is_erased_twice() -> None:
    """The refusal names the erasure that stands; another field of the same entry can still be erased."""
    plant = noted_plant()
    plant.submit(erasure(0, "0/note"))
    refusal = plant.refused(erasure(0, "1/note", "0/note"))
    assert (Contradiction, True, "fields[1]") == (type(refusal), "fact 2.0" in str(refusal), refusal.where)
    plant.submit(erasure(0, "1/note"), name_erasure())
    assert Contradiction is type(plant.refused(name_erasure()))
    assert [ErasedName(account="a-mary", address="3.1")] == plant.tables.listed()["ErasedName"]


def test_a_note_of_an_erasure_or_of_a_correction_can_be_erased() -> None:
    """All free text can, wherever it was said."""
    plant = noted_plant()
    plant.submit(erasure(0, "0/note", note="Bob asked for it"))
    plant.submit(correction(("1.0", material("D-3", note="brought by Bob")), note="as Bob says"))
    plant.submit(erasure(2, "0/note"), erasure(3, "0/note", "0/changes/0/replacement/note"))
    fields = [row.field for row in plant.tables.rows[ErasedField].values() if isinstance(row, ErasedField)]
    assert ["0/0/note", "2/0/note", "3/0/changes/0/replacement/note", "3/0/note"] == sorted(fields)


def test_an_erasure_is_not_corrected() -> None:
    """What is gone cannot be called back, nor be said not to have been erased."""
    plant = noted_plant()
    plant.submit(erasure(0, "0/note"))
    refusal = plant.refused(correction(("2.0", None)))
    assert (Contradiction, True) == (type(refusal), "not corrected" in str(refusal))


def test_correcting_an_erased_fact_leaves_the_erasure() -> None:
    """Both stand in the book, and a rebuild gives the same rows."""
    plant = noted_plant()
    plant.submit(erasure(0, "0/note"))
    plant.submit(Correction(at=at(41), reason="typed-wrong", changes=correction(("0.0", None)).changes))
    assert ["0/0/note"] == [row.field for row in plant.tables.where(ErasedField, "fact", "0.0")]
    assert plant.tables.listed() == plant.rebuilt().listed() == plant.refolded().listed()


@given(st.lists(st.sets(st.sampled_from(["0/note", "1/note", "0/supplier", "0/lot"]), min_size=1), max_size=5))
def test_a_field_is_erased_once_or_never(asked: list[set[str]]) -> None:
    """Whatever is asked for: all fields of an erasure or none, erasable ones alone, each by the first that names it."""
    plant, erased = noted_plant(), dict[str, str]()
    for fields in asked:
        record = erasure(0, *sorted(fields))
        if fields <= {"0/note", "1/note"} - erased.keys():
            address = plant.submit(record).address
            erased |= dict.fromkeys(fields, address)
        else:
            plant.refused(record)
    rows = plant.tables.where(ErasedField, "fact", "0.0") + plant.tables.where(ErasedField, "fact", "0.1")
    assert erased == {row.path: row.address for row in rows}
    assert {"0/0/note", "0/1/note", "0/0/supplier"} - plant.openings.keys() == {f"0/{path}" for path in erased}
    assert plant.tables.listed() == plant.rebuilt().listed()


@pytest.mark.parametrize(
    "path", ["note", "0", "0/", "/0/note", "00/note", "0//note", "0/no te", "0/note\n", "1000/note"]
)
def test_a_path_of_another_form_is_not_read(path: str) -> None:
    """A path is as the openings of an entry name it."""
    said = {**msgspec.to_builtins(erasure(0, "0/note")), "fields": [path]}
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(said, Erasure)
