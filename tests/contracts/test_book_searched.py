"""Entries found by node and kind, and checks of the book kept, on each database."""

from __future__ import annotations

from ledger.application.entry_list import Wanted, entry_page
from ledger.store import entry_search
from ledger.store.accounts import add_account
from ledger.store.book_checks import KEPT, put_check, read_check, read_checks
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.writer import Writer
from tests.plant import registration

BALLS = 3


def said_by_balls(writer: Writer) -> list[int]:
    """The entries of three registrations."""
    return [writer.submit(registration(number), "a-line").result(30).index for number in range(1, BALLS + 1)]


def test_entries_are_found_by_node_and_by_kind(store: Store, writer: Writer) -> None:
    """The newest come first, below the index asked for, each once though it says two things of a node."""
    first, second, third = said_by_balls(writer)
    with open_reader(store) as reader:
        transaction = reader.transaction
        about = entry_search.indexes_about(transaction, ["lot:SL-1"], third, 1)
        assert [second] == about
        assert [first] == entry_search.indexes_about(transaction, ["unit:U-000001"], third + 1, 9, kind="inspection")
        assert [] == entry_search.indexes_about(transaction, ["unit:U-000001"], third + 1, 9, kind="shipment")
        assert [third, second, first] == entry_search.indexes_of_rare_kind(transaction, "ball-engraved")
        assert [third, first] == [row[0] for row in entry_search.these_entries(transaction, [first, third])]
        assert [second, first] == [row[0] for row in entry_search.newest_entries(transaction, third, 2)]
        assert [] == entry_search.these_entries(transaction, [])


def test_names_are_those_kept(store: Store) -> None:
    """An account has its name or None; one that is not known is left out."""
    account = add_account(store, "Ann Lead", ["quality"], 5).account
    with store.writing() as transaction:
        transaction.run('UPDATE "account" SET "name" = NULL WHERE "account" <> ?', (account,))
    with open_reader(store) as reader:
        assert {account: "Ann Lead"} == entry_search.names_of(reader.transaction, [account, "a-none"])


def test_a_frequent_kind_is_looked_through(store: Store, writer: Writer) -> None:
    """Where there are more facts of a kind than are read from the index, the newest entries are gone through, as far as said."""
    entries = said_by_balls(writer)
    with open_reader(store) as reader:
        rare = entry_page(reader, Wanted(kind="ball-engraved"))
        frequent = entry_page(reader, Wanted(kind="ball-engraved"), rare=1)
        stepped = entry_page(reader, Wanted(kind="material-received"), rare=0, looked=2)
    assert rare == frequent
    assert sorted(entries, reverse=True) == [line.index for line in rare.lines]
    assert ((), entries[1], entries[1]) == (stepped.lines, stepped.older, stepped.through)


def test_checks_are_kept_newest_first(store: Store) -> None:
    """As many as are kept, the newest first; the oldest go; one kept again is replaced."""
    for number in range(KEPT + 5):
        put_check(store, f"{number:014d}-a", f"check {number}")
    put_check(store, f"{KEPT:014d}-a", "again")
    with open_reader(store) as reader:
        kept = read_checks(reader.transaction)
        assert (KEPT, f"check {KEPT + 4}") == (len(kept), kept[0])
        assert "again" == read_check(reader.transaction, f"{KEPT:014d}-a")
        assert None is read_check(reader.transaction, f"{0:014d}-a")
