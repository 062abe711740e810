"""What the service's own database role may do on PostgreSQL: add to the truth, and never change, delete or unlock it.

The owner of the tables makes and migrates them and rebuilds views; the service signs in as another role, which can
neither drop a trigger nor switch it off, so that whoever gets hold of the service cannot rewrite an entry in passing.
Who owns the database still can; against that stand the chain, the tree and the checkpoints that others hold.
"""

from __future__ import annotations

import re

from ledger.errors import MalformedInput, Unsupported
from ledger.store.dialect import quoted
from ledger.store.engine import Store
from ledger.store.truth_tables import TRUTH
from ledger.store.view_tables import VIEW_TABLES

_NAME = re.compile(r"[a-z_][a-z0-9_]{0,62}", re.ASCII)

_ONLY: dict[str, str] = {
    "entry": "SELECT, INSERT",
    "request": "SELECT, INSERT",
    "opening": "SELECT, INSERT, DELETE",
    "head": "SELECT, UPDATE",
    "tile": "SELECT, INSERT, UPDATE",
    "published": "SELECT, INSERT, DELETE",
    "time_token": "SELECT, INSERT, DELETE",
    "cosignature": "SELECT, INSERT, DELETE",
    "blob": "SELECT, INSERT, DELETE",
}
"""Tables of the truth on which the service has less than every right. Openings and files are deleted by erasures, and
triggers say which; older checkpoints without a token are left out in time."""

_ALL = "SELECT, INSERT, UPDATE, DELETE"

_NONE_ON_RANGES = (
    "DO $$ DECLARE made regclass; BEGIN FOR made IN SELECT inhrelid FROM pg_inherits WHERE inhparent = '\"entry\"'::regclass "
    "LOOP EXECUTE format('REVOKE ALL ON TABLE %s FROM \"{role}\"', made); END LOOP; END $$"
)
"""Rights on the ranges of the entries are those on the whole; a right on one of them would go round these."""


def grant_statements(role: str) -> list[str]:
    """The statements by which the owner lets ``role``, which exists, serve a book. Raises MalformedInput for its name."""
    if not _NAME.fullmatch(role):
        raise MalformedInput(
            "not the name of a role", expected="lower-case letters, digits and underscores", got=role, where="role"
        )
    to = quoted(role)
    statements = [f"GRANT USAGE ON SCHEMA public TO {to}", f'GRANT SELECT ON "alembic_version" TO {to}']
    for name in TRUTH.tables:
        statements.append(f"REVOKE ALL ON {quoted(name)} FROM {to}")
        statements.append(f"GRANT {_ONLY.get(name, _ALL)} ON {quoted(name)} TO {to}")
    statements += [_NONE_ON_RANGES.format(role=role), f"GRANT EXECUTE ON FUNCTION next_entry_range() TO {to}"]
    statements += [f"GRANT {_ALL} ON {quoted(table.name)} TO {to}" for table in VIEW_TABLES.values()]
    # Views that the owner makes anew are other tables.
    statements.append(f"ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT {_ALL} ON TABLES TO {to}")
    return statements


def grant_service(store: Store, role: str) -> None:
    """Run these statements, together or not at all. Raises Unsupported for SQLite, where a file has no roles."""
    statements = grant_statements(role)
    if store.dialect.name != "postgresql":
        raise Unsupported("a file has no roles", expected="a PostgreSQL store", mend="use the rights of the file")
    with store.writing(moved_too=True) as transaction:
        for statement in statements:
            transaction.run(statement)
