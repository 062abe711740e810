"""Published checkpoints as the rest of the product asks for them: whole notes with cosignatures, and their time tokens.

For whoever hands evidence over::

    published_covering(reader, tree_size) -> PublishedCheckpoint | None
    publish_now(book, timeout_s) -> PublishedCheckpoint | None

A checkpoint is published once the witnesses of the policy have signed it too (`ledger.duties.publishing`).  ``note`` is
exactly what was published, and what the tokens are over: it goes out to the byte or not at all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from ledger.errors import NotFound
from ledger.store.published import Published, newest_published, newest_with_token, published_at, time_tokens
from ledger.store.reader import Reader, open_reader

if TYPE_CHECKING:
    from ledger.application.pourbook import Pourbook


class TokenSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A time token: the name of its authority, the RFC 3161 response (DER), and the time that it states."""

    authority: str
    response: bytes
    at_ms: int


class PublishedCheckpoint(msgspec.Struct, frozen=True, kw_only=True):
    """A published checkpoint of ``size`` entries; ``tokens`` by the name of their authority, often none."""

    size: int
    note: bytes
    published_ms: int
    tokens: tuple[TokenSeen, ...]


def published_covering(reader: Reader, tree_size: int) -> PublishedCheckpoint | None:
    """The published checkpoint for evidence about the first ``tree_size`` entries; None where none covers them.

    The newest with a time token if that covers them, else the newest. Two or three rows, whatever the book's size.
    """
    transaction = reader.transaction
    for found in (newest_with_token(transaction), newest_published(transaction)):
        if found is not None and found.size >= tree_size:
            return seen(reader, found)
    return None


def published_of_size(reader: Reader, size: int) -> PublishedCheckpoint | None:
    """The published checkpoint of exactly this size; None where none was published or it is no longer kept."""
    found = published_at(reader.transaction, size)
    return None if found is None else seen(reader, found)


def newest(reader: Reader) -> PublishedCheckpoint | None:
    """The newest published checkpoint; None before the first."""
    found = newest_published(reader.transaction)
    return None if found is None else seen(reader, found)


def published_note(reader: Reader) -> bytes:
    """The note of the newest published checkpoint. Raises NotFound before the first."""
    found = newest_published(reader.transaction)
    if found is None:
        raise NotFound("no checkpoint is published yet", mend="name witnesses in a policy, or wait for their quorum")
    return found.note


def publish_now(book: Pourbook, timeout_s: float) -> PublishedCheckpoint | None:
    """Have the book as it is now published, tokens included, and wait at most so long; best effort.

    Gives what covers it, or None where no witness policy is set or the quorum was not reached in time: then hand over
    the newest checkpoint of the book itself, and say that nobody else signed it. Raises StoreError alone.
    """
    with open_reader(book.store) as reader:
        size = reader.head().size
        found = published_covering(reader, size)
    publisher = book.publisher
    if publisher is None or (found is not None and (found.tokens or not publisher.plan.authorities)):
        return found
    publisher.publish_now(timeout_s)
    with open_reader(book.store) as reader:
        return published_covering(reader, size)


def seen(reader: Reader, found: Published) -> PublishedCheckpoint:
    """A published checkpoint with its tokens."""
    tokens = tuple(
        TokenSeen(authority=one.authority, response=one.response, at_ms=one.at_ms)
        for one in time_tokens(reader.transaction, found.size)
    )
    return PublishedCheckpoint(size=found.size, note=found.note, published_ms=found.published_ms, tokens=tokens)
