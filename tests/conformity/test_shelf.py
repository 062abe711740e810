"""ledger.conformity.shelf: rulebooks by name and by digest, a plant's own beside those that ship."""

from __future__ import annotations

import pytest

from ledger.conformity.rulebook import rulebook_digest, shipped_rulebooks
from ledger.conformity.shelf import Shelf, read_own_rulebook
from ledger.errors import MalformedRulebook, NotFound
from tests.conformity.balls import HARDNESS, HEAD

FIRST = (HEAD + HARDNESS).encode()
SECOND = FIRST.replace(b'"73"', b'"75"')


def test_an_empty_shelf_holds_what_ships() -> None:
    """Without a plant's own the shelf is the shipped rulebooks, found by either key."""
    shelf = Shelf()
    assert list(shipped_rulebooks().values()) == list(shelf.editions)
    for name, edition in shipped_rulebooks().items():
        assert edition is shelf.find(name)
        assert edition is shelf.find_digest(edition.digest)


def test_a_name_finds_the_edition_put_last_and_a_digest_any() -> None:
    """A later own edition supersedes the earlier by name, and both are found by digest."""
    shelf = Shelf([FIRST, SECOND])
    assert SECOND == shelf.find("house").raw
    assert FIRST == shelf.find_digest(rulebook_digest(FIRST)).raw
    assert 1 == [edition.rulebook.id for edition in shelf.editions].count("house")


def test_an_own_rulebook_cannot_pass_as_one_that_ships() -> None:
    """The id of a shipped rulebook is refused for another file, and its own file is taken."""
    shipped = shipped_rulebooks()["pba"]
    with pytest.raises(MalformedRulebook, match="pba is that of a rulebook that ships"):
        Shelf([FIRST.replace(b'id = "house"', b'id = "pba"')])
    assert shipped.digest == read_own_rulebook(shipped.raw).digest


def test_what_is_not_there_is_not_found() -> None:
    """An unknown name is refused with the names that are there, an unknown digest with what to do."""
    with pytest.raises(NotFound, match="usbc-2026"):
        Shelf([FIRST]).find("nobody")
    with pytest.raises(NotFound) as caught:
        Shelf().find_digest(rulebook_digest(FIRST))
    assert "give the file" in caught.value.mend
