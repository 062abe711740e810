"""Looking a plant's own rulebooks up by what was adopted."""

from __future__ import annotations

import pytest

from ledger.application.adopted_files import RulebooksHere, find_rulebook, own_checklists, rulebooks_here
from ledger.conformity.rulebook import rulebook_digest, shipped_rulebooks
from ledger.errors import NotFound
from ledger.store.blobs import put_blob
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.application.floor import Floor, at
from tests.application.own_files import BROKEN, OWN, STRICTER, adopt, doubted, judged_by_own


def here(floor: Floor) -> RulebooksHere:
    """The rulebooks at hand now."""
    with open_reader(floor.book.store) as reader:
        return rulebooks_here(reader)


def said_adopted(floor: Floor, name: str, raw: bytes) -> str:
    """An adoption said as a record, whatever the file is or whether it is there."""
    digest = rulebook_digest(raw)
    floor.say({"kind": "rulebook-adopted", "at": at(5), "rulebook": name, "digest": digest})
    return digest


def test_what_ships_is_there_whether_or_not_it_is_adopted(floor: Floor) -> None:
    """Adopted or not is told apart; only what is adopted is in force."""
    found = here(floor)
    assert list(shipped_rulebooks()) == [edition.rulebook.id for edition in found.editions]
    assert ["usbc-2026"] == [edition.rulebook.id for edition in found.in_force(["pba", "usbc-2026", "nobody"])]


def test_an_own_rulebook_judges_by_name_or_digest(ready: Floor) -> None:
    """The name finds the edition in force, a digest any that was adopted."""
    ready.ball("U-1", "P-1")
    adopt(ready)
    adopt(ready, STRICTER, "second")
    first, second = rulebook_digest(OWN), rulebook_digest(STRICTER)
    with open_reader(ready.book.store) as reader:
        assert (second, first) == (find_rulebook(reader, "own-limits").digest, find_rulebook(reader, first).digest)
        with pytest.raises(NotFound, match="own-limits"):
            find_rulebook(reader, "nobody")
    answer = ready.book.conformity(Selection(), "own-limits")
    assert (second, 1) == (answer.digest, answer.tally.balls)


def test_a_plan_that_names_an_own_rulebook_is_judged_by_it(ready: Floor) -> None:
    """Beside the body's, in the order of the plan."""
    judged_by_own(ready)
    doubted(ready, "U-1", "P-1", expanded="0.2")
    assert ["usbc-2026", "own-limits"] == [by.rulebook for by in ready.book.judged("U-1")]
    assert ["does_not_conform"] == _after(ready, STRICTER)


def _after(floor: Floor, raw: bytes) -> list[str]:
    adopt(floor, raw, "stricter")
    return [by.outcome for by in floor.book.judged("U-1") if by.rulebook == "own-limits"]


def test_a_file_that_is_not_here_judges_nothing(ready: Floor) -> None:
    """Its adoption stands; the name says which file is missing, and does not fall back to the edition before."""
    judged_by_own(ready)
    ready.ball("U-1", "P-1")
    unseen = STRICTER + b"# no other test sends this one\n"
    digest = said_adopted(ready, "own-limits", unseen)
    assert ["usbc-2026"] == [by.rulebook for by in ready.book.judged("U-1")]
    with pytest.raises(NotFound) as caught:
        here(ready).find("own-limits")
    assert (True, True) == (digest in str(caught.value.expected), "POST /rulebooks" in caught.value.mend)
    put_blob(ready.book.store, unseen, "application/toml")
    assert digest == here(ready).find("own-limits").digest


def test_a_blob_that_is_no_such_rulebook_is_passed_over(ready: Floor) -> None:
    """A broken file, and a lenient one adopted under the name of a body's: nothing is judged by either."""
    ready.ball("U-1", "P-1")
    for raw in (BROKEN, OWN, b"a photo"):
        put_blob(ready.book.store, raw, "application/toml")
    said_adopted(ready, "own-limits", BROKEN)
    said_adopted(ready, "usbc-2026", OWN)
    found = here(ready)
    assert list(shipped_rulebooks()) == [edition.rulebook.id for edition in found.editions]
    assert [] == found.in_force(["usbc-2026", "own-limits"])
    assert [] == ready.book.judged("U-1")
    ready.say({"kind": "checklist-adopted", "at": at(6), "checklist": "own", "digest": rulebook_digest(b"a photo")})
    with open_reader(ready.book.store) as reader:
        assert [] == own_checklists(reader)
