"""Entries by ranges of their index, on PostgreSQL: one partition of ``entry`` a range, the next one made in good time.

The first range begins below every index, so that what has a wrong one is refused by the trigger and not for want of a
range.  A range is made by a function of the database, which the service's role may call and which makes the range that
follows the last one and nothing else: that role may make no tables (`ledger.store.service_role`).  How wide a range is
stands in that function since the migration, where the service's role cannot reach it.
On SQLite entries lie in one table and there are no ranges.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from ledger.store.dialect import quoted
from ledger.store.transaction import Transaction

ENTRY_RANGE = 1 << 20
"""Entries of a range in a new store: some gigabytes at most, and a multiple of a tile's 256."""

_ROWS = (
    'SELECT c."relname", pg_get_expr(c."relpartbound", c."oid"), a."attnotnull" FROM pg_inherits i '
    'JOIN pg_class c ON c."oid" = i."inhrelid" '
    'JOIN pg_attribute a ON a."attrelid" = c."oid" AND a."attname" = \'bytes\' '
    'WHERE i."inhparent" = \'"entry"\'::regclass'
)
_BOUNDS = re.compile(r"FOR VALUES FROM \((?:MINVALUE|'(\d+)')\) TO \('(\d+)'\)")


class EntryRange(NamedTuple):
    """The entries from ``start`` up to ``stop``, in a table of this name; ``archived``: their bytes lie elsewhere."""

    start: int
    stop: int
    name: str
    archived: bool


def entry_ranges(transaction: Transaction) -> list[EntryRange]:
    """The ranges in order; none on SQLite."""
    if transaction.dialect.name != "postgresql":
        return []
    found = []
    for name, bounds, live in transaction.rows(_ROWS):
        match = _BOUNDS.fullmatch(bounds)
        if match is not None:
            found.append(EntryRange(int(match[1] or 0), int(match[2]), name, not live))
    return sorted(found)


class Room:
    """How far the ranges reach, as one writer knows it, so that the next one is made before the head is there."""

    def __init__(self) -> None:
        """Nothing is known yet."""
        self._enough = self._stop = 0

    def forget(self) -> None:
        """Ask the store again."""
        self._enough = self._stop = 0

    def is_due(self, size: int) -> bool:
        """Whether a book of this size is in the last quarter of its last range, as far as is known here."""
        return size >= self._enough

    def make(self, transaction: Transaction, size: int, *, needed: int = 0) -> None:
        """Have a range after the one that a book of ``size`` is in the last quarter of, and room for ``needed`` entries."""
        ranges = entry_ranges(transaction)
        if not ranges:
            self._enough = self._stop = 1 << 62
            return
        while not self._reaches(ranges[-1], size, needed):
            transaction.run("SELECT next_entry_range()")
            before, ranges = ranges[-1], entry_ranges(transaction)
            if ranges[-1] == before:
                break

    def _reaches(self, last: EntryRange, size: int, needed: int) -> bool:
        self._stop = last.stop
        self._enough = last.stop - (last.stop - last.start) // 4
        return size < self._enough and size + needed <= last.stop

    def lacks(self, size: int, needed: int) -> bool:
        """Whether so many entries more would not find a range, as far as is known here."""
        return size + needed > self._stop


def range_functions(schema: str, width: int) -> list[str]:
    """The statements that make the functions of the database; ``width`` entries a range."""
    return [
        _GUARD,
        "REVOKE ALL ON FUNCTION guard_entry_range(regclass) FROM PUBLIC",
        _NEXT.format(schema=quoted(schema), width=width),
        "REVOKE ALL ON FUNCTION next_entry_range() FROM PUBLIC",
        _ONLY_NEXT,
    ]


_GUARD = """
CREATE FUNCTION guard_entry_range(made regclass) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    held oid;
BEGIN
    -- Rights are those on "entry": what default privileges give on a range itself would go round them.
    FOR held IN SELECT DISTINCT a.grantee FROM pg_class c, aclexplode(c.relacl) a
        WHERE c.oid = made AND a.grantee <> c.relowner LOOP
        EXECUTE format('REVOKE ALL ON TABLE %s FROM %s', made,
            CASE WHEN held = 0 THEN 'PUBLIC' ELSE quote_ident(pg_get_userbyid(held)) END);
    END LOOP;
    -- Triggers on rows come from "entry" with the attachment; those on TRUNCATE do not.
    EXECUTE format('CREATE TRIGGER "entry_never_truncated" BEFORE TRUNCATE ON %s '
        'FOR EACH STATEMENT EXECUTE FUNCTION refuse_change(''entry is never emptied'')', made);
END $$
"""

_NEXT = """
CREATE FUNCTION next_entry_range() RETURNS void LANGUAGE plpgsql SECURITY DEFINER
SET search_path = {schema}, pg_temp AS $$
DECLARE
    width CONSTANT bigint := {width};
    size bigint;
    first bigint;
    made text;
BEGIN
    LOCK TABLE ONLY "entry" IN SHARE UPDATE EXCLUSIVE MODE;
    SELECT max(substring(pg_get_expr(c.relpartbound, c.oid) from 'TO \\(''([0-9]+)''\\)')::bigint) INTO first
        FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid WHERE i.inhparent = '"entry"'::regclass;
    SELECT COALESCE((SELECT "index" FROM "entry" ORDER BY "index" DESC LIMIT 1), -1) + 1 INTO size;
    -- Some to spare, and no more: whoever may call this shall not fill the disk with empty tables.
    IF first >= size + GREATEST(2 * width, 8192) THEN
        RETURN;
    END IF;
    made := format('entry_%s', first);
    EXECUTE format('CREATE TABLE %I ("index" bigint NOT NULL PRIMARY KEY, "hash" bytea NOT NULL, '
        '"bytes" bytea NOT NULL, "recorded_ms" bigint NOT NULL)', made);
    PERFORM guard_entry_range(made::regclass);
    -- Attached, and not made as a partition at once: so readers and writers of "entry" wait for nothing.
    EXECUTE format('ALTER TABLE "entry" ATTACH PARTITION %I FOR VALUES FROM (%L) TO (%L)', made, first, first + width);
END $$
"""

# One look-up in one range, however many there are: what follows an entry that stands is the next one or stands already,
# since no entry was ever entered otherwise; and what stands already the primary key refuses.
_ONLY_NEXT = """
CREATE OR REPLACE FUNCTION refuse_gap() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW."index" IS NULL
        OR (NEW."index" <> 0 AND NOT EXISTS (SELECT 1 FROM "entry" WHERE "index" = NEW."index" - 1)) THEN
        RAISE EXCEPTION USING MESSAGE = TG_ARGV[0], ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END $$
"""
