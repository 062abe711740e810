"""The truth stays as it was written: each verb of tampering is refused by the database itself."""

from __future__ import annotations

import pytest

from ledger.store.engine import Store
from ledger.store.writer import Writer
from tests.plant import registration
from tests.stores import every_row

EVERYWHERE = {
    "update an entry": 'UPDATE "entry" SET "bytes" = "hash" WHERE "index" = 3',
    "delete an entry": 'DELETE FROM "entry" WHERE "index" = 9',
    "delete all entries": 'DELETE FROM "entry"',
    "leave a gap": 'INSERT INTO "entry" SELECT "index" + 100, "hash", "bytes", "recorded_ms" FROM "entry" WHERE "index" = 3',
    "enter twice": 'INSERT INTO "entry" SELECT "index", "hash", "bytes", "recorded_ms" FROM "entry" WHERE "index" = 3',
    "enter before": 'INSERT INTO "entry" SELECT -1, "hash", "bytes", "recorded_ms" FROM "entry" WHERE "index" = 3',
    "update on conflict": 'INSERT INTO "entry" SELECT "index", "hash", "bytes", "recorded_ms" FROM "entry" WHERE "index" = 3 '
    'ON CONFLICT ("index") DO UPDATE SET "bytes" = excluded."hash"',
    "update an opening": "UPDATE \"opening\" SET \"value\" = \"salt\" WHERE \"sealing\" = 'erasable'",
    "delete a withheld opening": "DELETE FROM \"opening\" WHERE \"sealing\" = 'withheld'",
    "delete the head": 'DELETE FROM "head"',
    "shorten the book": 'UPDATE "head" SET "size" = "size" - 1',
    "add a head": 'INSERT INTO "head" SELECT 2, "size", "last_hash", "frontier", "recorded_ms", "checkpoint" FROM "head"',
    "change a used key": 'UPDATE "request" SET "index" = 0',
    "forget a used key": 'DELETE FROM "request"',
}  # fmt: skip

ONLY_SQLITE = {
    "replace an entry": 'INSERT OR REPLACE INTO "entry" SELECT "index", "hash", "hash", "recorded_ms" FROM "entry" '
    'WHERE "index" = 3',
    "replace the last entry": 'INSERT OR REPLACE INTO "entry" SELECT "index", "hash", "hash", "recorded_ms" FROM "entry" '
    'WHERE "index" = 9',
    "replace the head": 'INSERT OR REPLACE INTO "head" SELECT 1, 0, "last_hash", "frontier", 0, NULL FROM "head"',
    "replace by update": 'UPDATE OR REPLACE "entry" SET "index" = 3 WHERE "index" = 4',
}

ONLY_POSTGRESQL = {
    "truncate entries": 'TRUNCATE "entry"',
    "truncate all": 'TRUNCATE "entry", "opening", "head", "tile", "request" CASCADE',
    "truncate openings": 'TRUNCATE "opening"',
    "truncate the head": 'TRUNCATE "head"',
    "truncate keys": 'TRUNCATE "request"',
}


MESSAGES = {
    "an entry is never changed",
    "an entry is never deleted",
    "an entry has the next index",
    "an opening is never changed",
    "only an erasable opening is deleted",
    "the head is never deleted",
    "there is one head",
    "the book never gets shorter",
    "a full tile is never changed",
    "a tile is never deleted",
    "a used key is never changed",
    "a used key is never deleted",
    'duplicate key value violates unique constraint "entry_0_pkey"',
    *(f"{table} is never emptied" for table in ("entry", "opening", "head", "tile", "request")),
}


def refusal(store: Store, statement: str) -> str | None:
    """What the database says when it refuses a statement; None when it does not."""
    transaction = store.transaction()
    try:
        transaction.begin_write()
        transaction.run(statement)
        transaction.commit()
    except store.dialect.errors as error:
        return str(error).partition("\n")[0]
    finally:
        transaction.rollback()
        transaction.close()
    return None


@pytest.mark.parametrize("statement", EVERYWHERE.values(), ids=EVERYWHERE.keys())
def test_tampering_is_refused(store: Store, writer: Writer, statement: str) -> None:
    """The statement is refused by a trigger, or a key where it enters twice, and every row is as before."""
    writer.submit(registration(1), "a-engraver").result(30)
    before = every_row(store)
    assert refusal(store, statement) in MESSAGES
    assert before == every_row(store)


def test_tampering_in_a_database_s_own_words_is_refused(store: Store, writer: Writer) -> None:
    """Verbs that only one of the databases has are refused by a trigger there."""
    writer.submit(registration(1), "a-engraver").result(30)
    before = every_row(store)
    own = {"sqlite": ONLY_SQLITE, "postgresql": ONLY_POSTGRESQL}[store.dialect.name]
    assert {} == {name: said for name, one in own.items() if (said := refusal(store, one)) not in MESSAGES}
    assert before == every_row(store)


def test_an_erasable_opening_may_be_deleted(store: Store, writer: Writer) -> None:
    """The one thing that may be taken away is an opening that was made to be erased."""
    writer.submit(registration(1), "a-engraver").result(30)
    assert None is refusal(store, 'DELETE FROM "opening" WHERE "sealing" = \'erasable\'')


def test_a_full_tile_never_changes(store: Store) -> None:
    """A tile of 256 hashes is final, a narrower one may only grow."""
    assert None is refusal(store, _tile(1, 0, 256))
    assert None is refusal(store, _tile(1, 1, 5))
    assert None is refusal(store, 'UPDATE "tile" SET "width" = 6 WHERE "number" = 1')
    assert None is not refusal(store, 'UPDATE "tile" SET "width" = 4 WHERE "number" = 1')
    assert None is not refusal(store, 'UPDATE "tile" SET "hashes" = "hashes" WHERE "number" = 0')
    assert None is not refusal(store, 'DELETE FROM "tile"')


def _tile(level: int, number: int, width: int) -> str:
    return f'INSERT INTO "tile" SELECT {level}, {number}, {width}, "last_hash" FROM "head"'  # noqa: S608  # numbers
