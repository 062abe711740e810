"""Signing in with a browser: passwords, sessions, failed sign-ins, devices."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from ledger.errors import Unsupported

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _number(name: str, *, optional: bool = False) -> sa.Column[int]:
    return sa.Column(name, BIG, nullable=optional)


def _text(name: str, *, key: bool = False, optional: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), primary_key=key, nullable=optional)


def _account(*, key: bool = False) -> sa.Column[str]:
    return sa.Column("account", sa.Text(), sa.ForeignKey("account.account"), primary_key=key, nullable=False)


def upgrade() -> None:
    """Make the four tables and their indexes."""
    op.create_table(
        "password", _account(key=True), _text("sign_name"), _text("hash"), _number("set_ms"), _number("must_change")
    )
    op.create_index("ix_password_sign_name", "password", ["sign_name"], unique=True)
    op.create_table(
        "session", _text("digest", key=True), _account(), _number("created_ms"), _number("seen_ms"),
        _number("ended_ms", optional=True), _text("language", optional=True),
    )  # fmt: skip
    op.create_index("ix_session_account", "session", ["account"])
    op.create_table("sign_in", _text("name", key=True), _number("failures"), _number("last_ms"))
    op.create_table(
        "device", _text("device", key=True), _account(), _text("name"), _text("stage", optional=True), _number("made_ms"),
        _text("code", optional=True), _number("code_until_ms"), _text("digest", optional=True),
        _number("enrolled_ms", optional=True), _number("ended_ms", optional=True),
    )  # fmt: skip
    op.create_index("ix_device_account", "device", ["account"])
    op.create_index("ix_device_code", "device", ["code"], unique=True)
    op.create_index("ix_device_digest", "device", ["digest"], unique=True)


def downgrade() -> None:
    """A book never goes back. Raises Unsupported."""
    raise Unsupported("a book's schema does not go back", mend="restore a backup of the earlier release beside it")
