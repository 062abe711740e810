"""The schema that the migrations make, on an empty store and on one that is up to date."""

from __future__ import annotations

import importlib

import pytest
from sqlalchemy import MetaData, Table, inspect

from ledger.errors import StoreUnavailable, Unsupported
from ledger.store.accounts import add_account
from ledger.store.engine import Store, open_store
from ledger.store.entry_ranges import entry_ranges
from ledger.store.migrations import LATEST
from ledger.store.migrations.run import upgrade
from ledger.store.triggers import trigger_names
from ledger.store.truth_tables import TRUTH
from ledger.store.view_tables import VIEW_TABLES
from tests.stores import every_row


def columns_of(store: Store, metadata: MetaData) -> dict[str, list[tuple[str, str, bool, bool]]]:
    """Name, type, whether it may be absent, whether it is of the key; for each column of each table."""
    inspector = inspect(store.engine)
    found = {}
    for name in metadata.tables:
        key = inspector.get_pk_constraint(name)["constrained_columns"]
        found[name] = [
            (column["name"], str(column["type"]), bool(column["nullable"]), column["name"] in key)
            for column in inspector.get_columns(name)
        ]
    return found


def indexes_of(store: Store, metadata: MetaData) -> dict[str, list[tuple[str | None, list[str | None]]]]:
    """Name and columns of each index of each table."""
    inspector = inspect(store.engine)
    return {
        name: [(one["name"], one["column_names"]) for one in inspector.get_indexes(name)] for name in metadata.tables
    }


def test_the_migrations_make_the_tables_of_the_truth(store: Store) -> None:
    """Every table, column and index that the migrations make is the one that the table classes describe, and no other.

    On PostgreSQL entries lie in ranges, each like the table that the class describes; only the whole may lack bytes.
    """
    made, ranges = (columns_of(store, TRUTH), indexes_of(store, TRUTH)), ranges_of(store)
    names = set(inspect(store.engine).get_table_names())
    assert {*TRUTH.tables, "alembic_version", *(table.name for table in VIEW_TABLES.values()), *ranges} == names
    with store.writing() as transaction:
        for table in reversed(TRUTH.sorted_tables):
            transaction.run(f'DROP TABLE "{table.name}"')
    TRUTH.create_all(store.engine)
    described = columns_of(store, TRUTH), indexes_of(store, TRUTH)
    if ranges:
        assert {"entry_0": described[0]["entry"]} == ranges
        described[0]["entry"] = [(name, kind, name == "bytes", key) for name, kind, _, key in described[0]["entry"]]
    assert made == described


def ranges_of(store: Store) -> dict[str, list[tuple[str, str, bool, bool]]]:
    """The ranges of the entries, with what `columns_of` tells of a table; none on SQLite."""
    with store.reading() as look:
        names = [one.name for one in entry_ranges(look)]
    metadata = MetaData()
    for name in names:
        Table(name, metadata)
    return columns_of(store, metadata)


def test_the_triggers_are_there(store: Store) -> None:
    """Every trigger of the list stands in the migrated store."""
    catalogue = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgname NOT LIKE '%truncated'",
    }
    with store.reading() as transaction:
        found = {row[0] for row in transaction.rows(catalogue[store.dialect.name])}
    assert trigger_names() <= found


def test_opening_again_changes_nothing(store: Store, url: str) -> None:
    """A store that is up to date opens as it is."""
    before = every_row(store)
    again = open_store(url)
    assert (before, LATEST) == (every_row(again), again.schema_version())
    again.close()


def test_an_empty_database_has_no_schema(url: str) -> None:
    """Opened without migrating, an empty database stays empty."""
    store = open_store(url, migrate=False)
    assert store.schema_version() is None
    store.close()


def test_a_store_of_a_newer_program_is_refused(store: Store, url: str) -> None:
    """A revision that this program does not know is not touched."""
    with store.writing() as transaction:
        transaction.run('UPDATE "alembic_version" SET "version_num" = \'9999\'')
    with pytest.raises(StoreUnavailable, match="not one that this program knows"):
        open_store(url)


@pytest.mark.parametrize(("found", "mend"), [("0002", "pourbook rebuild"), ("9999", "the version that last wrote it")])
def test_a_store_that_shall_not_be_migrated_is_refused_by_its_schema(store: Store, found: str, mend: str) -> None:
    """Whoever would read it as it stands is told which version it is of, and what to do."""
    store.check_schema()
    with store.writing() as transaction:
        transaction.run('UPDATE "alembic_version" SET "version_num" = ?', (found,))
    with pytest.raises(Unsupported, match=f"expected {LATEST}, got {found}") as refused:
        store.check_schema()
    assert mend in refused.value.mend


def test_an_earlier_store_is_brought_up_to_date(url: str) -> None:
    """A store of the first revision keeps its accounts and gains the tables of the second."""
    earlier = open_store(url, migrate=False)
    upgrade(earlier.engine, earlier.dialect, "0001")
    add_account(earlier, "Ann", ["quality"], 5)
    kept = every_row(earlier)["account"]
    earlier.close()
    later = open_store(url)
    assert (kept, LATEST, []) == (every_row(later)["account"], later.schema_version(), every_row(later)["session"])
    later.close()


@pytest.mark.parametrize("name", ["0001_truth", "0002_signing_in", "0003_published", "0004_ranges"])
def test_a_book_never_goes_back(name: str) -> None:
    """No revision can be taken back."""
    revision = importlib.import_module(f"ledger.store.migrations.versions.{name}")
    with pytest.raises(Unsupported):
        revision.downgrade()


@pytest.mark.parametrize(
    "address", ["mysql://localhost/book", "sqlite://", "sqlite:///:memory:", "no address", "oracle://x/y"]
)
def test_an_unknown_kind_of_store_is_refused(address: str) -> None:
    """Only SQLite files and PostgreSQL are stores, and a book in memory would be lost."""
    with pytest.raises(Unsupported):
        open_store(address)


@pytest.mark.parametrize("address", ["sqlite:////no/such/folder/book.db", "postgresql://nobody@127.0.0.1:1/none"])
def test_a_store_that_cannot_be_reached_is_told_as_such(address: str) -> None:
    """A missing folder or server is StoreUnavailable, and the message holds no address."""
    with pytest.raises(StoreUnavailable) as caught:
        open_store(address)
    assert address not in str(caught.value)
