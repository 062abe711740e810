"""Entry 0 and the keys of the book: introduced, rotated, revoked, each effective by tree size.

One key, one purpose.  A small-order public key is refused where the verifier line is read.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from ledger.book.signing import parse_verifier
from ledger.errors import Contradiction, UnknownSubject
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Id, Name, Record, Slug
from ledger.line.rows import BookKey
from ledger.line.state import Need, State

Purpose = Literal["checkpoint", "dossier", "station", "witness"]
KeyName = Annotated[str, Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9./_-]{0,79}\Z", description="key name, as in its line")]
VerifierLine = Annotated[str, Meta(min_length=1, max_length=300, description="C2SP signed-note verifier line")]


class BookOpened(Record, frozen=True, kw_only=True, tag="book-opened"):
    """Entry 0: the book's origin, the plant, and the key that signs its checkpoints."""

    origin: Annotated[str, Meta(min_length=1, max_length=100)]
    plant: Name
    verifier: VerifierLine


class KeyIntroduced(Record, frozen=True, kw_only=True, tag="key-introduced"):
    """A key may speak for one purpose, from this entry on."""

    key: KeyName
    purpose: Purpose
    verifier: VerifierLine
    station: Id | UnsetType = UNSET


class KeyRevoked(Record, frozen=True, kw_only=True, tag="key-revoked"):
    """A key speaks for no tree larger than the book before this entry."""

    key: KeyName
    reason: Slug


def _opened_check(record: BookOpened, _state: State, setting: Setting) -> list[Breach]:
    if setting.index != 0 or setting.position != 0:
        raise Contradiction(
            "a book is opened once", expected="entry 0", got=setting.address, where="origin", mend="start a new book"
        )
    _check_line(record.verifier, record.origin)
    return []


def _check_line(line: str, name: str) -> None:
    verifier = parse_verifier(line)
    if verifier.name != name:
        raise Contradiction(
            "the verifier line names another key",
            expected=name,
            got=verifier.name,
            where="verifier",
            mend="use its own name",
        )


def _opened_effects(fact: Fact, state: State) -> None:
    record: BookOpened = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        BookKey(key_name=record.origin, purpose="checkpoint", verifier=record.verifier, from_size=0, to_size=None)
    )


def _introduced_check(record: KeyIntroduced, state: State, _setting: Setting) -> list[Breach]:
    if state.one(BookKey, record.key) is not None:
        raise Contradiction(
            f"key {record.key} is known already", where="key", mend="give the new key a name of its own"
        )
    _check_line(record.verifier, record.key)
    return []


def _introduced_effects(fact: Fact, state: State) -> None:
    record: KeyIntroduced = fact.record  # type: ignore[assignment]  # the kind table pairs them
    row = BookKey(
        key_name=record.key, purpose=record.purpose, verifier=record.verifier, from_size=fact.index + 1, to_size=None
    )
    state.put(row)


def _revoked_check(record: KeyRevoked, state: State, _setting: Setting) -> list[Breach]:
    row = state.one(BookKey, record.key)
    if row is None:
        raise UnknownSubject(f"key {record.key} is not in the book", where="key", mend="correct the key name")
    if row.to_size is not None:
        raise Contradiction(f"key {record.key} is revoked already", where="key", mend="nothing is left to do")
    return []


def _revoked_effects(fact: Fact, state: State) -> None:
    record: KeyRevoked = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(BookKey, record.key, to_size=fact.index)


def _key_needs(record: KeyIntroduced | KeyRevoked, _state: State) -> Iterator[Need]:
    yield Need(BookKey, "key_name", record.key)


def _of_key(record: KeyIntroduced | KeyRevoked) -> Iterable[str]:
    return [f"key:{record.key}"]


KINDS = (
    Kind(
        BookOpened,
        "decision",
        lambda record, _state: [Need(BookKey, "key_name", record.origin)],
        _opened_check,
        _opened_effects,
        lambda record: [f"key:{record.origin}"],
    ),
    Kind(KeyIntroduced, "decision", _key_needs, _introduced_check, _introduced_effects, _of_key),
    Kind(KeyRevoked, "decision", _key_needs, _revoked_check, _revoked_effects, _of_key),
)
