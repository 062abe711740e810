"""Entry 0 and the keys of the book: introduced, rotated, revoked, each effective by tree size.

One key, one purpose.  A small-order public key is refused where the verifier line is read.  A key is rotated by
introducing another under its name and then revoking the first: between the two both speak, and checkpoints of those
sizes bear both signatures, so that whoever knows the old key can follow to the new one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal, get_args

from msgspec import UNSET, Meta, UnsetType

from ledger.book.key_terms import KeyTerm
from ledger.book.signing import Verifier, parse_verifier
from ledger.errors import Contradiction, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Id, Name, Record, Slug
from ledger.line.rows import BookKey
from ledger.line.state import Need, State

Purpose = Literal["checkpoint", "dossier", "station", "witness", "credential"]
KeyName = Annotated[str, Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9./_-]{0,79}\Z", description="key name, as in its line")]
KeyId = Annotated[str, Meta(pattern=r"^[0-9a-f]{8}\Z", description="key id, the eight digits in its verifier line")]
VerifierLine = Annotated[str, Meta(min_length=1, max_length=300, description="C2SP signed-note verifier line")]


class BookOpened(Record, frozen=True, kw_only=True, tag="book-opened"):
    """Entry 0: the book's origin, the plant, and the key that signs its checkpoints."""

    origin: Annotated[str, Meta(min_length=1, max_length=100)]
    plant: Name
    verifier: VerifierLine


class KeyIntroduced(Record, frozen=True, kw_only=True, tag="key-introduced"):
    """A key may speak for one purpose, from this entry on; beside it the key of that name that it takes over from."""

    key: KeyName
    purpose: Purpose
    verifier: VerifierLine
    station: Id | UnsetType = UNSET


class KeyRevoked(Record, frozen=True, kw_only=True, tag="key-revoked"):
    """A key speaks for no tree larger than the book before this entry. ``id`` says which of two that bear one name."""

    key: KeyName
    reason: Slug
    id: KeyId | UnsetType = UNSET


def checkpoint_terms(keys: Iterable[BookKey]) -> list[KeyTerm]:
    """Which checkpoint key signs which sizes, oldest first."""
    rows = sorted((row for row in keys if row.purpose == "checkpoint"), key=lambda row: (row.from_size, row.book_key))
    return [KeyTerm(parse_verifier(row.verifier), row.from_size, row.to_size) for row in rows]


def _opened_check(record: BookOpened, _state: State, setting: Setting) -> list[Breach]:
    if setting.index != 0 or setting.position != 0:
        raise Contradiction(
            "a book is opened once", expected="entry 0", got=setting.address, where="origin", mend="start a new book"
        )
    _checked_line(record.verifier, record.origin)
    return []


def _checked_line(line: str, name: str) -> Verifier:
    verifier = parse_verifier(line)
    if verifier.name != name:
        raise Contradiction(
            "the verifier line names another key",
            expected=name,
            got=verifier.name,
            where="verifier",
            mend="use its own name",
        )
    return verifier


def _row(line: str, purpose: Purpose, from_size: int) -> BookKey:
    verifier = parse_verifier(line)
    return BookKey(
        book_key=f"{verifier.name}+{verifier.key_id.hex()}",
        key_name=verifier.name,
        purpose=purpose,
        verifier=line,
        from_size=from_size,
        to_size=None,
    )


def _opened_effects(fact: Fact, state: State) -> None:
    record: BookOpened = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(_row(record.verifier, "checkpoint", 0))


def _introduced_needs(record: KeyIntroduced, _state: State) -> Iterator[Need]:
    for purpose in get_args(Purpose):
        yield Need(BookKey, "purpose", purpose)
    yield Need(BookKey, "key_name", record.key)


def _introduced_check(record: KeyIntroduced, state: State, _setting: Setting) -> list[Breach]:
    verifier = _checked_line(record.verifier, record.key)
    for purpose in get_args(Purpose):
        for row in state.where(BookKey, "purpose", purpose):
            known = parse_verifier(row.verifier)
            if known.public == verifier.public:
                mend = "make a new key; one key has one purpose, one name and one term"
                raise Contradiction(
                    f"this public key is known already, as {known.name} for {purpose}", where="key", mend=mend
                )
    named = state.where(BookKey, "key_name", record.key)
    if named and named[0].purpose != record.purpose:
        raise Contradiction(
            f"key {record.key} is known for another purpose",
            expected=named[0].purpose,
            got=record.purpose,
            where="purpose",
            mend="give the new key a name of its own, or the purpose of the key that it takes over from",
        )
    if record.purpose == "checkpoint" and not named and state.where(BookKey, "purpose", "checkpoint"):
        raise Contradiction(
            "a checkpoint key is named as the book",
            expected=state.where(BookKey, "purpose", "checkpoint")[0].key_name,
            got=record.key,
            where="key",
            mend="make the new key under the book's origin",
        )
    return []


def _introduced_effects(fact: Fact, state: State) -> None:
    record: KeyIntroduced = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(_row(record.verifier, record.purpose, fact.index + 1))


def _revoked_needs(record: KeyRevoked, _state: State) -> Iterator[Need]:
    yield Need(BookKey, "key_name", record.key)
    yield Need(BookKey, "purpose", "checkpoint")


def _meant(record: KeyRevoked, state: State) -> list[BookKey]:
    """The keys that a revocation may mean: of its name, of its id where it gives one."""
    rows = state.where(BookKey, "key_name", record.key)
    return [row for row in rows if record.id in (UNSET, row.book_key.rpartition("+")[2])]


def _revoked_check(record: KeyRevoked, state: State, _setting: Setting) -> list[Breach]:
    rows = _meant(record, state)
    if not rows:
        raise UnknownSubject(f"key {record.key} is not in the book", where="key", mend="correct the key name or its id")
    speaking = [row for row in rows if row.to_size is None]
    if not speaking:
        raise Contradiction(f"key {record.key} is revoked already", where="key", mend="nothing is left to do")
    if len(speaking) > 1:
        raise MalformedRecord(
            f"two keys named {record.key} speak now",
            expected="the id of one of " + ", ".join(sorted(row.book_key for row in speaking)),
            where="id",
            mend="give the eight digits of the key that shall end",
        )
    _check_one_left(speaking[0], state)
    return []


def _check_one_left(ending: BookKey, state: State) -> None:
    others = [row for row in state.where(BookKey, "purpose", "checkpoint") if row.to_size is None and row != ending]
    if ending.purpose == "checkpoint" and not others:
        raise RuleStands(
            "no key would sign the book's checkpoints",
            expected="another checkpoint key that speaks",
            got=ending.book_key,
            where="key",
            mend="introduce the new key first (key-introduced, same name), in the same submission if need be",
        )


def _revoked_effects(fact: Fact, state: State) -> None:
    record: KeyRevoked = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for row in _meant(record, state):
        if row.to_size is None:
            state.alter(BookKey, row.book_key, to_size=fact.index)


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
    Kind(KeyIntroduced, "decision", _introduced_needs, _introduced_check, _introduced_effects, _of_key),
    Kind(KeyRevoked, "decision", _revoked_needs, _revoked_check, _revoked_effects, _of_key),
)
