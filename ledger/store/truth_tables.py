"""The tables of the truth: what cannot be derived from anything else.

Dumb rows: they validate nothing and never leave this package.  The schema here and the one that the migrations make are
compared by a test.  What the entries say of lots, balls and holds lies in the views (`view_tables`), which can be
dropped and made anew.
"""

from __future__ import annotations

from sqlalchemy import LargeBinary, MetaData, Text
from sqlalchemy.orm import registry
from sqlmodel import Field, SQLModel

from ledger.store.whole_numbers import BIG


class TruthRow(SQLModel, registry=registry()):
    """Base: a registry of its own, so that no other table of the process is taken for one of these."""


class EntryRow(TruthRow, table=True):
    """One entry: its bytes as hashed, and its RFC 9162 leaf hash.

    On PostgreSQL a table of ranges (`ledger.store.entry_ranges`), where an archived range has no bytes.
    """

    __tablename__ = "entry"
    __table_args__ = {"postgresql_partition_by": 'RANGE ("index")'}

    index: int = Field(primary_key=True, sa_type=BIG, sa_column_kwargs={"autoincrement": False})
    hash: bytes = Field(sa_type=LargeBinary, nullable=False)
    bytes_: bytes = Field(sa_type=LargeBinary, nullable=False, sa_column_kwargs={"name": "bytes"})
    recorded_ms: int = Field(sa_type=BIG, nullable=False)


class OpeningRow(TruthRow, table=True):
    """What opens one sealed field: ``value`` is its canonical JSON. ``sealing`` is withheld or erasable."""

    __tablename__ = "opening"

    index: int = Field(primary_key=True, sa_type=BIG, sa_column_kwargs={"autoincrement": False})
    path: str = Field(primary_key=True, sa_type=Text)
    position: int = Field(sa_type=BIG, nullable=False)
    sealing: str = Field(sa_type=Text, nullable=False)
    salt: bytes = Field(sa_type=LargeBinary, nullable=False)
    value: bytes = Field(sa_type=LargeBinary, nullable=False)


class HeadRow(TruthRow, table=True):
    """The one row that says where the book ends.

    ``frontier`` is `ledger.book.frontier.Frontier.to_bytes`; ``checkpoint`` is the signed note of the last group before
    this one (a note is made after its group's commit, so it is stored with the next).
    """

    __tablename__ = "head"

    id: int = Field(primary_key=True, sa_type=BIG, sa_column_kwargs={"autoincrement": False})
    size: int = Field(sa_type=BIG, nullable=False)
    last_hash: bytes = Field(sa_type=LargeBinary, nullable=False)
    frontier: bytes = Field(sa_type=LargeBinary, nullable=False)
    recorded_ms: int = Field(sa_type=BIG, nullable=False)
    checkpoint: bytes | None = Field(sa_type=LargeBinary, nullable=True)


class TileRow(TruthRow, table=True):
    """One hash tile (C2SP tlog-tiles): level 0 when full, higher levels as wide as they are."""

    __tablename__ = "tile"

    level: int = Field(primary_key=True, sa_type=BIG, sa_column_kwargs={"autoincrement": False})
    number: int = Field(primary_key=True, sa_type=BIG, sa_column_kwargs={"autoincrement": False})
    width: int = Field(sa_type=BIG, nullable=False)
    hashes: bytes = Field(sa_type=LargeBinary, nullable=False)


class RequestRow(TruthRow, table=True):
    """An idempotency key that was used: the keyed digest of the clear request, and the entry that it became."""

    __tablename__ = "request"

    key: str = Field(primary_key=True, sa_type=Text)
    author: str = Field(primary_key=True, sa_type=Text)
    index: int = Field(sa_type=BIG, nullable=False)
    digest: bytes = Field(sa_type=LargeBinary, nullable=False)


class BlobRow(TruthRow, table=True):
    """A large fact that an entry names by digest. ``digest`` is SHA-256 in hex."""

    __tablename__ = "blob"

    digest: str = Field(primary_key=True, sa_type=Text)
    media_type: str = Field(sa_type=Text, nullable=False)
    length: int = Field(sa_type=BIG, nullable=False)
    bytes_: bytes = Field(sa_type=LargeBinary, nullable=False, sa_column_kwargs={"name": "bytes"})


class AccountRow(TruthRow, table=True):
    """Who may write or ask. The id is random; the name can be erased. ``roles`` is a sorted comma list."""

    __tablename__ = "account"

    account: str = Field(primary_key=True, sa_type=Text)
    name: str | None = Field(sa_type=Text, nullable=True)
    roles: str = Field(sa_type=Text, nullable=False)
    created_ms: int = Field(sa_type=BIG, nullable=False)
    closed_ms: int | None = Field(sa_type=BIG, nullable=True)


class TokenRow(TruthRow, table=True):
    """A bearer token, as its SHA-256 in hex alone."""

    __tablename__ = "token"

    digest: str = Field(primary_key=True, sa_type=Text)
    account: str = Field(sa_type=Text, nullable=False, index=True, foreign_key="account.account")
    created_ms: int = Field(sa_type=BIG, nullable=False)
    revoked_ms: int | None = Field(sa_type=BIG, nullable=True)


class PasswordRow(TruthRow, table=True):
    """An account's password as its Argon2 text; ``sign_name`` is `ledger.access.passwords.sign_in_name` of the account's name."""

    __tablename__ = "password"

    account: str = Field(primary_key=True, sa_type=Text, foreign_key="account.account")
    sign_name: str = Field(sa_type=Text, nullable=False, index=True, unique=True)
    hash: str = Field(sa_type=Text, nullable=False)
    set_ms: int = Field(sa_type=BIG, nullable=False)
    must_change: int = Field(sa_type=BIG, nullable=False)


class SessionRow(TruthRow, table=True):
    """A person signed in with a browser; the cookie as its SHA-256 in hex alone."""

    __tablename__ = "session"

    digest: str = Field(primary_key=True, sa_type=Text)
    account: str = Field(sa_type=Text, nullable=False, index=True, foreign_key="account.account")
    created_ms: int = Field(sa_type=BIG, nullable=False)
    seen_ms: int = Field(sa_type=BIG, nullable=False)
    ended_ms: int | None = Field(sa_type=BIG, nullable=True)
    language: str | None = Field(sa_type=Text, nullable=True)


class SignInRow(TruthRow, table=True):
    """Failed sign-ins under one name, whether or not there is such an account; the name as a keyed digest alone."""

    __tablename__ = "sign_in"

    name: str = Field(primary_key=True, sa_type=Text)
    failures: int = Field(sa_type=BIG, nullable=False)
    last_ms: int = Field(sa_type=BIG, nullable=False)


class DeviceRow(TruthRow, table=True):
    """A device that stands for an account without a password: first by a code for minutes, then by its cookie."""

    __tablename__ = "device"

    device: str = Field(primary_key=True, sa_type=Text)
    account: str = Field(sa_type=Text, nullable=False, index=True, foreign_key="account.account")
    name: str = Field(sa_type=Text, nullable=False)
    stage: str | None = Field(sa_type=Text, nullable=True)
    made_ms: int = Field(sa_type=BIG, nullable=False)
    code: str | None = Field(sa_type=Text, nullable=True, index=True, unique=True)
    code_until_ms: int = Field(sa_type=BIG, nullable=False)
    digest: str | None = Field(sa_type=Text, nullable=True, index=True, unique=True)
    enrolled_ms: int | None = Field(sa_type=BIG, nullable=True)
    ended_ms: int | None = Field(sa_type=BIG, nullable=True)


class CosignatureRow(TruthRow, table=True):
    """A witness's signature line over the checkpoint of a tree size."""

    __tablename__ = "cosignature"

    size: int = Field(primary_key=True, sa_type=BIG, sa_column_kwargs={"autoincrement": False})
    witness: str = Field(primary_key=True, sa_type=Text)
    line: str = Field(sa_type=Text, nullable=False)
    received_ms: int = Field(sa_type=BIG, nullable=False)


class PublishedRow(TruthRow, table=True):
    """A published checkpoint: the whole note with the witnesses' lines, exactly as it was published."""

    __tablename__ = "published"

    size: int = Field(primary_key=True, sa_type=BIG, sa_column_kwargs={"autoincrement": False})
    note: bytes = Field(sa_type=LargeBinary, nullable=False)
    published_ms: int = Field(sa_type=BIG, nullable=False)


class TimeTokenRow(TruthRow, table=True):
    """An RFC 3161 response (DER) of a time stamping authority over the published note of a size, to the byte."""

    __tablename__ = "time_token"

    size: int = Field(primary_key=True, sa_type=BIG, sa_column_kwargs={"autoincrement": False})
    authority: str = Field(primary_key=True, sa_type=Text)
    response: bytes = Field(sa_type=LargeBinary, nullable=False)
    at_ms: int = Field(sa_type=BIG, nullable=False)
    received_ms: int = Field(sa_type=BIG, nullable=False)


class WitnessStandingRow(TruthRow, table=True):
    """How a witness stands, by its verifier line: what it last signed, when it was last asked, what is wrong with it."""

    __tablename__ = "witness_standing"

    verifier: str = Field(primary_key=True, sa_type=Text)
    size: int = Field(sa_type=BIG, nullable=False)
    asked_ms: int = Field(sa_type=BIG, nullable=False)
    cosigned_ms: int | None = Field(sa_type=BIG, nullable=True)
    fault: str = Field(sa_type=Text, nullable=False)
    alarm: str = Field(sa_type=Text, nullable=False)


class SettingRow(TruthRow, table=True):
    """A value that belongs to this store: the origin, the digest of the views, the key of the request digests."""

    __tablename__ = "setting"

    name: str = Field(primary_key=True, sa_type=Text)
    value: str = Field(sa_type=Text, nullable=False)


TRUTH: MetaData = TruthRow.metadata
