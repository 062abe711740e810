"""A lease is held by one at a time, renewed by its holder, and moves on when it is not."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from ledger.store.engine import Store, open_store
from ledger.store.leases import end_lease, take_lease
from tests.stores import fresh_file


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store in a file."""
    opened = open_store(fresh_file(tmp_path))
    yield opened
    opened.close()


def test_the_first_takes_it_and_others_wait(store: Store) -> None:
    """While a lease runs, nobody else gets it."""
    assert [True, False, False] == [
        take_lease(store, "duty", holder, at, 100) for holder, at in (("one", 0), ("two", 0), ("two", 99))
    ]


def test_the_holder_renews_it(store: Store) -> None:
    """A lease that its holder takes again runs from then on."""
    assert [True, True, False, True] == [
        take_lease(store, "duty", holder, at, 100)
        for holder, at in (("one", 0), ("one", 90), ("two", 189), ("two", 190))
    ]


def test_it_moves_when_it_ran_out(store: Store) -> None:
    """A lease ends at its last instant, and the holder before has then to wait."""
    take_lease(store, "duty", "one", 0, 100)
    assert [True, False] == [take_lease(store, "duty", holder, 100, 100) for holder in ("two", "one")]


def test_giving_it_up_frees_it_at_once(store: Store) -> None:
    """A lease that was given up is anybody's; one that another holds is not given up by a stranger."""
    take_lease(store, "duty", "one", 0, 100)
    end_lease(store, "duty", "two")
    assert not take_lease(store, "duty", "two", 1, 100)
    end_lease(store, "duty", "one")
    assert take_lease(store, "duty", "two", 1, 100)


def test_giving_up_what_nobody_holds_is_no_error(store: Store) -> None:
    """Ending a lease that does not run does nothing."""
    end_lease(store, "duty", "one")
    assert take_lease(store, "duty", "two", 0, 100)


def test_leases_of_different_duties_are_apart(store: Store) -> None:
    """Each duty has its own lease."""
    assert [True, True] == [take_lease(store, duty, duty, 0, 100) for duty in ("one", "two")]


def test_of_many_that_ask_at_once_one_gets_it(store: Store) -> None:
    """Eight threads ask for one lease: seven are told no."""
    with ThreadPoolExecutor(8) as pool:
        taken = list(pool.map(lambda n: take_lease(store, "duty", f"holder-{n}", 0, 100), range(8)))
    assert 1 == sum(taken)


def test_a_holder_may_have_spaces_in_its_name(store: Store) -> None:
    """The end of a lease is read from behind its holder's name."""
    take_lease(store, "duty", "a b 7", 0, 100)
    assert [False, True] == [take_lease(store, "duty", holder, 50, 100) for holder in ("a b", "a b 7")]
