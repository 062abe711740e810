"""Entries by ranges of their index, on PostgreSQL: the table that stands becomes the first range, to whatever it holds.

Nothing is copied, so a large store takes this in the time in which its indexes are read once.  On SQLite nothing changes.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import context, op

from ledger.errors import Unsupported
from ledger.store.entry_ranges import ENTRY_RANGE, range_functions
from ledger.store.triggers import entry_trigger_statements

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_RANGED = (
    'CREATE TABLE "entry" ("index" bigint NOT NULL, "hash" bytea NOT NULL, "bytes" bytea, '
    '"recorded_ms" bigint NOT NULL, PRIMARY KEY ("index")) PARTITION BY RANGE ("index")'
)

# The rights that roles had on the table are those on the whole from now on, and none on a range.
_RIGHTS = """
DO $$
DECLARE
    held record;
    who text;
BEGIN
    FOR held IN SELECT DISTINCT a.grantee FROM pg_class c, aclexplode(c.relacl) a
        WHERE c.oid = '"entry"'::regclass AND a.grantee <> c.relowner LOOP
        who := CASE WHEN held.grantee = 0 THEN 'PUBLIC' ELSE quote_ident(pg_get_userbyid(held.grantee)) END;
        EXECUTE format('REVOKE ALL ON TABLE "entry" FROM %s', who);
    END LOOP;
    FOR held IN SELECT a.grantee, a.privilege_type FROM pg_class c, aclexplode(c.relacl) a
        WHERE c.oid = '"entry_0"'::regclass AND a.grantee <> c.relowner LOOP
        who := CASE WHEN held.grantee = 0 THEN 'PUBLIC' ELSE quote_ident(pg_get_userbyid(held.grantee)) END;
        EXECUTE format('GRANT %s ON TABLE "entry" TO %s', held.privilege_type, who);
        IF held.privilege_type = 'INSERT' THEN
            EXECUTE format('GRANT EXECUTE ON FUNCTION next_entry_range() TO %s', who);
        END IF;
    END LOOP;
END $$
"""


def upgrade() -> None:
    """Put the table of entries into a table of ranges as its first one."""
    bind = op.get_bind()
    if bind.dialect.name != "postgresql":
        return
    width = context.config.attributes.get("entry_range", ENTRY_RANGE)
    schema = str(bind.scalar(sa.text("SELECT current_schema()")))
    size = int(bind.scalar(sa.text('SELECT COALESCE(MAX("index"), -1) + 1 FROM "entry"')) or 0)
    names = bind.scalars(
        sa.text("SELECT tgname FROM pg_trigger WHERE tgrelid = '\"entry\"'\\:\\:regclass AND NOT tgisinternal")
    )
    statements = [
        *(f'DROP TRIGGER "{name}" ON "entry"' for name in sorted(names)),
        'ALTER TABLE "entry" RENAME TO "entry_0"',
        'ALTER INDEX "entry_pkey" RENAME TO "entry_0_pkey"',
        _RANGED,
        *range_functions(schema, width),
        *entry_trigger_statements(),
        _RIGHTS,
        "SELECT guard_entry_range('\"entry_0\"')",
        f'ALTER TABLE "entry" ATTACH PARTITION "entry_0" FOR VALUES FROM (MINVALUE) TO ({(size // width + 1) * width})',
    ]
    for statement in statements:
        op.execute(sa.text(statement.replace(":", "\\:")))


def downgrade() -> None:
    """A book never goes back. Raises Unsupported."""
    raise Unsupported("a book's schema does not go back", mend="restore a backup of the earlier release beside it")
