"""Published checkpoints: whole notes with their cosignatures, time tokens over them, and how each witness stands."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from ledger.errors import Unsupported
from ledger.store.triggers import published_trigger_statements

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _number(name: str, *, key: bool = False, optional: bool = False) -> sa.Column[int]:
    return sa.Column(name, BIG, primary_key=key, nullable=optional, autoincrement=False)


def _text(name: str, *, key: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), primary_key=key, nullable=False)


def _bytes(name: str) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary(), nullable=False)


def upgrade() -> None:
    """Make the three tables and the triggers that keep what was published as it was."""
    op.create_table("published", _number("size", key=True), _bytes("note"), _number("published_ms"))
    op.create_table(
        "time_token", _number("size", key=True), _text("authority", key=True), _bytes("response"), _number("at_ms"),
        _number("received_ms"),
    )  # fmt: skip
    op.create_table(
        "witness_standing", _text("verifier", key=True), _number("size"), _number("asked_ms"),
        _number("cosigned_ms", optional=True), _text("fault"), _text("alarm"),
    )  # fmt: skip
    for statement in published_trigger_statements(op.get_bind().dialect.name):
        op.execute(sa.text(statement.replace(":", "\\:")))


def downgrade() -> None:
    """A book never goes back. Raises Unsupported."""
    raise Unsupported("a book's schema does not go back", mend="restore a backup of the earlier release beside it")
