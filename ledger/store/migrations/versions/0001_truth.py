"""The truth: entries, openings, head, tiles, requests, blobs, accounts, tokens, cosignatures, settings; and triggers."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from ledger.errors import Unsupported
from ledger.store.triggers import trigger_statements

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _number(name: str, *, key: bool = False, optional: bool = False) -> sa.Column[int]:
    return sa.Column(name, BIG, primary_key=key, nullable=optional, autoincrement=False)


def _text(name: str, *, key: bool = False, optional: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), primary_key=key, nullable=optional)


def _bytes(name: str, *, optional: bool = False) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary(), nullable=optional)


def upgrade() -> None:
    """Make every table of the truth, the empty head, and the triggers."""
    op.create_table("entry", _number("index", key=True), _bytes("hash"), _bytes("bytes"), _number("recorded_ms"))
    op.create_table(
        "opening", _number("index", key=True), _text("path", key=True), _number("position"), _text("sealing"), _bytes("salt"),
        _bytes("value"),
    )  # fmt: skip
    op.create_table(
        "head", _number("id", key=True), _number("size"), _bytes("last_hash"), _bytes("frontier"), _number("recorded_ms"),
        _bytes("checkpoint", optional=True),
    )  # fmt: skip
    op.create_table("tile", _number("level", key=True), _number("number", key=True), _number("width"), _bytes("hashes"))
    op.create_table("request", _text("key", key=True), _text("author", key=True), _number("index"), _bytes("digest"))
    op.create_table("blob", _text("digest", key=True), _text("media_type"), _number("length"), _bytes("bytes"))
    op.create_table(
        "account", _text("account", key=True), _text("name", optional=True), _text("roles"), _number("created_ms"),
        _number("closed_ms", optional=True),
    )  # fmt: skip
    op.create_table(
        "token", _text("digest", key=True), sa.Column("account", sa.Text(), sa.ForeignKey("account.account"), nullable=False),
        _number("created_ms"), _number("revoked_ms", optional=True),
    )  # fmt: skip
    op.create_index("ix_token_account", "token", ["account"])
    op.create_table(
        "cosignature", _number("size", key=True), _text("witness", key=True), _text("line"), _number("received_ms")
    )
    op.create_table("setting", _text("name", key=True), _text("value"))
    # SHA-256 of nothing is the hash before entry 0; an empty frontier is eight zero bytes.
    head = sa.table("head", *(sa.column(name) for name in ("id", "size", "last_hash", "frontier", "recorded_ms")))
    genesis = bytes.fromhex("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")
    op.bulk_insert(head, [{"id": 1, "size": 0, "last_hash": genesis, "frontier": bytes(8), "recorded_ms": 0}])
    for statement in trigger_statements(op.get_bind().dialect.name):
        op.execute(sa.text(statement.replace(":", "\\:")))


def downgrade() -> None:
    """A book never goes back. Raises Unsupported."""
    raise Unsupported("a book's schema does not go back", mend="restore a backup of the earlier release beside it")
