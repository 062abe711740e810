"""The facts that events are told from: which node each is about, its bodies, what of it may be told, what it held."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec
import pytest

from ledger.book.entry import Entry
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.event_facts import EventFacts, ToldEntry, holding_breaches, told_entry
from tests.evidence.small_dossier import SUBMISSIONS, book, made_book

UNITS = frozenset({"U-1", "U-2"})


def entries_of(submissions: Sequence[list[dict[str, Any]]], *, opened: bool = False) -> list[ToldEntry]:
    """The entries of a hand-made book, all of their fields opened or none."""
    made = made_book(submissions)
    return [
        told_entry(raw, {one.path: one.value for one in openings} if opened else {})
        for raw, openings in zip(made.raws, made.openings, strict=True)
    ]


def taken(entries: Sequence[ToldEntry], **more: Any) -> EventFacts:
    """Facts that have taken all entries."""
    facts = EventFacts(UNITS.__contains__, entries.__getitem__, **more)
    for told in entries:
        facts.take(told.entry, told.records)
    return facts


def test_facts_stand_under_what_their_events_are_about() -> None:
    """A ball's own facts; of a lot its making, and not what was made of it."""
    facts = taken(entries_of(SUBMISSIONS))
    assert ["8.0", "8.1"] == facts.facts_of("unit:U-1")
    assert ["4.0"] == facts.facts_of("lot:M1")
    assert ["7.0"] == facts.facts_of("lot:S1")
    assert [] == facts.facts_of("unit:U-9")
    assert [] == facts.facts_of("model:ROC")


def test_what_a_lot_went_into_is_known_where_it_is_asked_for() -> None:
    """Batches of a drum, pours of a batch, balls of a shell lot."""
    facts = taken(entries_of(SUBMISSIONS), uses=True)
    assert (["4.1"], ["5.0", "6.0", "6.1", "7.0"]) == (facts.uses_of("M1"), facts.uses_of("K1"))
    assert ["8.0", "9.0", "10.0"] == facts.uses_of("S1")
    assert [] == taken(entries_of(SUBMISSIONS)).uses_of("S1")


def test_a_corrected_fact_has_two_bodies_and_the_later_stands() -> None:
    """The first as it was said, at its own address; the second where the correction states it."""
    first, second = taken(entries_of(SUBMISSIONS)).bodies("9.1")
    assert ("9.1", False, "71") == (first.where, first.stands, first.record.readings[1].values[0])
    assert ("11.0.0", True, "76") == (second.where, second.stands, second.record.readings[1].values[0])


def test_a_correction_that_comes_after_the_bodies_were_asked_for_is_told() -> None:
    """What is kept of a fact is read again once another entry was taken."""
    entries = entries_of(SUBMISSIONS)
    facts = EventFacts(UNITS.__contains__, entries.__getitem__)
    for told in entries[:11]:
        facts.take(told.entry, told.records)
    assert ["9.1"] == [body.where for body in facts.bodies("9.1")]
    facts.take(entries[11].entry, entries[11].records)
    assert ["9.1", "11.0.0"] == [body.where for body in facts.bodies("9.1")]


def test_a_withdrawn_fact_has_a_last_body_without_record() -> None:
    """And the node still knows that it was said."""
    withdrawn = {"kind": "correction", "changes": [{"fact": "8.1"}], "reason": "typing-error", "at": "2025-02-11T08:00:00.000+00:00"}  # fmt: skip
    facts = taken(entries_of([*SUBMISSIONS, [withdrawn]]))
    assert [False, True] == [body.stands for body in facts.bodies("8.1")]
    assert facts.bodies("8.1")[-1].record is None
    assert "8.1" in facts.facts_of("unit:U-1")


def test_a_fact_moved_to_another_ball_is_known_of_both() -> None:
    """What was said of the one, and what stands of the other."""
    moved = {**SUBMISSIONS[8][1], "unit": "U-2"}
    change = {"kind": "correction", "changes": [{"fact": "8.1", "replacement": moved}], "reason": "typing-error", "at": "2025-02-11T08:00:00.000+00:00"}  # fmt: skip
    facts = taken(entries_of([*SUBMISSIONS, [change]]))
    assert "8.1" in facts.facts_of("unit:U-1")
    assert "8.1" in facts.facts_of("unit:U-2")


def test_sealed_fields_are_told_where_they_are_opened() -> None:
    """Kilograms and the supplier; a person's note never."""
    told = {
        body.fact: body for fact in ("4.0", "4.1") for body in taken(entries_of(SUBMISSIONS, opened=True)).bodies(fact)
    }
    assert {"supplier"} == told["4.0"].told
    assert ("Supplier A", frozenset({"draws/0/kg"})) == (
        told["4.0"].opened("supplier", told["4.0"].record.supplier),
        told["4.1"].told,
    )
    closed = taken(entries_of(SUBMISSIONS)).bodies("4.1")[0]
    assert (frozenset(), msgspec.UNSET) == (closed.told, closed.opened("draws/0/kg", closed.record.draws[0].kg))
    model = told_entry(book().raws[2], {one.path: one.value for one in book().openings[2]}).records[0]
    assert model.note is msgspec.UNSET


def test_a_record_that_fits_no_kind_is_refused() -> None:
    """In one sentence, naming the file."""
    raw = book().raws[8].replace(b'"kind":"ball-engraved"', b'"kind":"ball-engrafed"')
    with pytest.raises(MalformedDossier, match=r"entries/8\.json"):
        told_entry(raw, {}, "entries/8.json")


@pytest.mark.parametrize("fact", ["8.7", "8.2000", "9" * 17 + ".0", "9" * 30 + ".0", "8." + "9" * 5_000])
def test_a_correction_of_what_is_no_fact_ends_in_an_error_of_ours(fact: str) -> None:
    """Or in nothing: a book refuses it, and a file that claims to be of one may still say it."""
    change = {"kind": "correction", "changes": [{"fact": fact, "replacement": SUBMISSIONS[8][1]}], "reason": "typing-error", "at": "2025-02-11T08:00:00.000+00:00"}  # fmt: skip
    facts = taken(entries_of([*SUBMISSIONS, [change]]))
    known = facts.facts_of("unit:U-1")
    assert known[:2] == ["8.0", "8.1"]
    for address in known[2:]:
        with pytest.raises(DossierRejected, match="no such record"):
            facts.bodies(address)


def breached(*breaches: dict[str, Any]) -> Entry:
    """An entry with breaches."""
    entry = entries_of(SUBMISSIONS)[8].entry
    assert isinstance(entry, Entry)
    return msgspec.structs.replace(entry, breaches=list(breaches))


def test_breaches_that_hold_have_the_ids_of_their_holds() -> None:
    """Numbered among those of one record, or of one change, as the book numbers them."""
    node = {"node": "unit:U-1", "said": "x"}
    entry = breached(
        {**node, "record": 1, "code": "first", "holds": False},
        {**node, "record": 0, "code": "other"},
        {**node, "record": 1, "code": "second"},
        {**node, "record": 1, "code": "of-a-change", "change": 2},
    )
    assert [("B8.1.1", "second")] == [(one.hold, one.code) for one in holding_breaches(entry, 1)]
    assert [("B8.1.2.0", "of-a-change")] == [(one.hold, one.code) for one in holding_breaches(entry, 1, 2)]


def test_a_hold_s_end_is_about_what_it_held() -> None:
    """A lifted hold names no ball; who placed it did, or the breach that opened it."""
    at = "2025-02-12T08:00:00.000+00:00"
    placed = {"kind": "hold-placed", "at": at, "hold": "H-1", "reason": "suspect", "node": "unit:U-1"}
    lifted = [{"kind": "hold-lifted", "at": at, "hold": hold, "reason": "clear"} for hold in ("H-1", "H-UNKNOWN")]
    facts = taken(entries_of([*SUBMISSIONS, [placed, *lifted]]))
    assert ["8.0", "8.1", "13.0", "13.1"] == facts.facts_of("unit:U-1")
