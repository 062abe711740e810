"""The triggers that keep the truth as it was written.

``entry``: no UPDATE, no DELETE (on SQLite also none through INSERT OR REPLACE, by ``recursive_triggers``), no index but
the next one, on PostgreSQL no TRUNCATE, and the same on each range of it (`ledger.store.entry_ranges`), where the primary key
keeps an index from coming twice.  ``opening``: no UPDATE, and DELETE only of erasable ones.  ``head``: one row,
never deleted, never smaller.  ``tile``: a full tile never changes.  ``request``: never changes.  ``published`` and
``time_token``: no UPDATE, since what others were shown stays as it was; older ones may be left out in time.

They stop mistakes and casual tampering.  Who owns the database can drop them; then the chain, the tree and the
checkpoints that others hold show what was done.
"""

from __future__ import annotations

NEXT_INDEX = '(SELECT COALESCE(MAX("index"), -1) + 1 FROM "entry")'

_SQLITE: tuple[tuple[str, str, str, str], ...] = (
    ("entry_never_updated", 'UPDATE ON "entry"', "", "an entry is never changed"),
    ("entry_never_deleted", 'DELETE ON "entry"', "", "an entry is never deleted"),
    ("entry_only_next", 'INSERT ON "entry"', f'NEW."index" IS NOT {NEXT_INDEX}', "an entry has the next index"),
    ("opening_never_updated", 'UPDATE ON "opening"', "", "an opening is never changed"),
    ("opening_kept", 'DELETE ON "opening"', "OLD.\"sealing\" <> 'erasable'", "only an erasable opening is deleted"),
    ("head_never_deleted", 'DELETE ON "head"', "", "the head is never deleted"),
    ("head_one_row", 'INSERT ON "head"', 'NEW."id" <> 1', "there is one head"),
    (
        "head_never_smaller",
        'UPDATE ON "head"',
        'NEW."size" < OLD."size" OR NEW."id" <> 1',
        "the book never gets shorter",
    ),
    (
        "tile_full_never_updated",
        'UPDATE ON "tile"',
        'OLD."width" = 256 OR NEW."width" < OLD."width"',
        "a full tile is never changed",
    ),
    ("tile_never_deleted", 'DELETE ON "tile"', "", "a tile is never deleted"),
    ("request_never_updated", 'UPDATE ON "request"', "", "a used key is never changed"),
    ("request_never_deleted", 'DELETE ON "request"', "", "a used key is never deleted"),
)

_PUBLISHED: tuple[tuple[str, str, str, str], ...] = (
    ("published_never_updated", 'UPDATE ON "published"', "", "a published checkpoint is never changed"),
    ("time_token_never_updated", 'UPDATE ON "time_token"', "", "a time token is never changed"),
)

_TRUNCATE_REFUSED = ("entry", "opening", "head", "tile", "request")


def trigger_statements(dialect: str) -> list[str]:
    """The statements that make the triggers, for ``sqlite`` or ``postgresql``."""
    return _sqlite_statements() if dialect == "sqlite" else _postgres_statements()


def trigger_names() -> frozenset[str]:
    """Names of the row triggers that a migrated store has, on either database."""
    return frozenset(name for name, _, _, _ in (*_SQLITE, *_PUBLISHED))


def published_trigger_statements(dialect: str) -> list[str]:
    """The statements that make the triggers of what is published, in a store that has those of the truth."""
    if dialect == "sqlite":
        return _sqlite_statements(_PUBLISHED)
    return [
        f"CREATE TRIGGER \"{name}\" BEFORE {event} FOR EACH ROW EXECUTE FUNCTION refuse_change('{message}')"
        for name, event, _, message in _PUBLISHED
    ]


def entry_trigger_statements() -> list[str]:
    """The statements that make the triggers of the entries anew on PostgreSQL, where ranges take them over."""
    return [one for one in _postgres_triggers() if ' ON "entry" ' in one]


def _sqlite_statements(triggers: tuple[tuple[str, str, str, str], ...] = _SQLITE) -> list[str]:
    return [
        f'CREATE TRIGGER "{name}" BEFORE {event}{f" WHEN {when}" if when else ""} '
        f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
        for name, event, when, message in triggers
    ]


def _postgres_statements() -> list[str]:
    refuse = (
        "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION USING MESSAGE = TG_ARGV[0], ERRCODE = 'restrict_violation'; END $$"
    )
    # A subquery is not allowed in WHEN, so the next index is found in the function.
    only_next = (
        "CREATE FUNCTION refuse_gap() RETURNS trigger LANGUAGE plpgsql AS "
        f'$$ BEGIN IF NEW."index" IS DISTINCT FROM {NEXT_INDEX} THEN '
        "RAISE EXCEPTION USING MESSAGE = TG_ARGV[0], ERRCODE = 'restrict_violation'; END IF; RETURN NEW; END $$"
    )
    return [refuse, only_next, *_postgres_triggers()]


def _postgres_triggers() -> list[str]:
    rows = [
        f'CREATE TRIGGER "{name}" BEFORE {event} FOR EACH ROW '
        + ("" if name == "entry_only_next" or not when else f"WHEN ({when}) ")
        + f"EXECUTE FUNCTION {'refuse_gap' if name == 'entry_only_next' else 'refuse_change'}('{message}')"
        for name, event, when, message in _SQLITE
    ]
    tables = [
        f'CREATE TRIGGER "{table}_never_truncated" BEFORE TRUNCATE ON "{table}" '
        f"FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('{table} is never emptied')"
        for table in _TRUNCATE_REFUSED
    ]
    return [*rows, *tables]
