"""Adopting a plant's own rulebook or checklist."""

from __future__ import annotations

import pytest

from ledger.application.adopted_files import checklists_seen, own_checklists
from ledger.application.adopting import checklist_adoption, rulebook_adoption
from ledger.conformity.checklist import parse_checklist, shipped_checklists
from ledger.conformity.rulebook import rulebook_digest, shipped_rulebooks
from ledger.errors import Forbidden, KeyReused, MalformedRulebook
from ledger.store.blobs import read_blob
from ledger.store.reader import open_reader
from tests.application.floor import Floor
from tests.application.own_files import BROKEN, BROKEN_LINE, CHECKLIST, OWN, STRICTER, adopt


def test_a_file_is_stored_and_then_said(floor: Floor) -> None:
    """The record names the id and the digest; the bytes are there by it; the author is who sent it."""
    entered = adopt(floor)
    entry = floor.book.entry(entered.index).entry
    (said,) = entry["said"]["records"]
    digest = rulebook_digest(OWN)
    assert ("rulebook-adopted", "own-limits", digest) == (said["kind"], said["rulebook"], said["digest"])
    assert (floor.lead.account, False) == (entry["author"], entered.repeated)
    assert OWN == read_blob(floor.book.store, digest).bytes


def test_the_same_file_again_is_the_same_entry(floor: Floor) -> None:
    """Under the same key or another, while it is in force; an edition in between makes it a new adoption."""
    first = adopt(floor)
    for key in ("adopt", "other"):
        again = adopt(floor, key=key)
        assert (first.index, first.entry_bytes, True) == (again.index, again.entry_bytes, again.repeated)
    adopt(floor, STRICTER, "second")
    assert (first.index, True) == (adopt(floor).index, adopt(floor).repeated)
    anew = adopt(floor, key="again")
    assert (True, False) == (anew.index > first.index, anew.repeated)


def test_a_key_of_something_else_is_refused(floor: Floor) -> None:
    """Another file under the key of the first."""
    adopt(floor)
    with pytest.raises(KeyReused):
        adopt(floor, STRICTER)


def test_a_file_that_is_wrong_names_its_line_and_the_mend(floor: Floor) -> None:
    """And nothing is entered or stored."""
    before = floor.book.standing().entries
    with pytest.raises(MalformedRulebook) as caught:
        adopt(floor, BROKEN)
    assert (f"rulebook line {BROKEN_LINE}", True) == (caught.value.where, f"line {BROKEN_LINE}" in caught.value.mend)
    with pytest.raises(MalformedRulebook) as caught:
        floor.book.adopt(checklist_adoption, CHECKLIST.replace(b"balls = 5", b"balls = 0"), "list", floor.lead)
    assert ("checklist line 9", True) == (caught.value.where, "line 9" in caught.value.mend)
    assert before == floor.book.standing().entries


def test_no_own_file_passes_as_one_that_ships(floor: Floor) -> None:
    """The id of a shipped rulebook or checklist is refused, but the shipped rulebook itself is taken."""
    with pytest.raises(MalformedRulebook, match="rulebook that ships"):
        adopt(floor, OWN.replace(b"own-limits", b"usbc-2026"))
    shipped = next(iter(shipped_checklists()))
    with pytest.raises(MalformedRulebook, match="checklist that ships"):
        checklist_adoption(CHECKLIST.replace(b"own-submission", shipped.encode()), 0)
    raw = shipped_rulebooks()["pba"].raw
    assert "pba" == rulebook_adoption(raw, 0).id


def test_only_quality_adopts(floor: Floor) -> None:
    """A station's file is neither entered nor stored."""
    station, _ = floor.book.open_account("Station", ("station",))
    for adoption in (rulebook_adoption, checklist_adoption):
        raw = OWN if adoption is rulebook_adoption else CHECKLIST
        with pytest.raises(Forbidden):
            floor.book.adopt(adoption, raw, "adopt", station)


def test_a_checklist_is_adopted_the_same_way(floor: Floor) -> None:
    """It stands beside those that ship; the one adopted last is in force."""
    first = floor.book.adopt(checklist_adoption, CHECKLIST, "list", floor.lead)[1].result(30)
    later = CHECKLIST.replace(b"balls = 5", b"balls = 7")
    floor.book.adopt(checklist_adoption, later, "list-2", floor.lead)[1].result(30)
    with open_reader(floor.book.store) as reader:
        (own,) = own_checklists(reader)
        seen = checklists_seen(reader)
    (said,) = floor.book.entry(first.index).entry["said"]["records"]
    assert ("checklist-adopted", "own-submission") == (said["kind"], said["checklist"])
    assert (rulebook_digest(later), parse_checklist(later)) == own
    assert [*shipped_checklists(), "own-submission"] == [one.checklist.id for one in seen]
