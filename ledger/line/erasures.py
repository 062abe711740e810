"""Erasures: the openings of erasable fields, or the name of an account, are destroyed, and the book says so.

What was sealed still stands in its entry as a digest, which says nothing without the salt that went with the opening.
An erasure cannot be corrected or taken back.  Who deletes is the store, in the transaction that enters the erasure; what
the deletion reaches, and what it does not (copies made before), is said in `ledger.store.erasing`.

Withheld fields (recipes, suppliers, consignees) are never erased: checks and views rest on them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

from msgspec import Meta

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.erasure_rows import AccountName, ErasedField, ErasedName, FieldOpening, field_name
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Record, Slug
from ledger.line.state import Need, State

FieldPath = Annotated[
    str,
    Meta(
        pattern=r"^(0|[1-9][0-9]{0,2})(/[A-Za-z0-9_.-]{1,40}){1,8}\Z",
        description="path of a sealed field, as its entry's openings name it: 0/note",
    ),
]
EntryIndex = Annotated[int, Meta(ge=0, le=9_007_199_254_740_991)]
AccountId = Annotated[
    str, Meta(pattern=r"^[A-Za-z][A-Za-z0-9._-]{0,63}\Z", description="account id, as entries name it")
]

Basis = Literal["request", "expiry", "mistake"]
"""Why it may be erased: a person asked, the time for which it was kept is over, or it should not have been said."""


class Erasure(Record, frozen=True, kw_only=True, tag="erasure"):
    """Erasable fields of an earlier entry are erased for ever, all that are named or none."""

    entry: EntryIndex
    fields: Annotated[tuple[FieldPath, ...], Meta(min_length=1, max_length=500)]
    basis: Basis
    reason: Slug


class NameErasure(Record, frozen=True, kw_only=True, tag="name-erasure"):
    """Whose account it is, is erased for ever; the id stays in what was said under it."""

    account: AccountId
    basis: Basis
    reason: Slug


def _needs(record: Erasure, _state: State) -> Iterator[Need]:
    for path in record.fields:
        name = field_name(record.entry, path)
        yield Need(ErasedField, "field", name)
        yield Need(FieldOpening, "field", name)


def _check(record: Erasure, state: State, setting: Setting) -> list[Breach]:
    if len(set(record.fields)) != len(record.fields):
        raise Contradiction("a field is erased twice at once", where="fields", mend="name each field once")
    if record.entry >= setting.index:
        raise RuleStands(
            "an erasure names an entry before it",
            expected=f"an index below {setting.index}",
            got=record.entry,
            where="entry",
            mend="name the entry that stands already",
        )
    for place, path in enumerate(record.fields):
        _check_field(record.entry, path, f"fields[{place}]", state)
    return []


def _check_field(entry: int, path: str, where: str, state: State) -> None:
    name = field_name(entry, path)
    erased = state.one(ErasedField, name)
    if erased is not None:
        raise Contradiction(
            f"field {path} of entry {entry} is erased already, by fact {erased.address}",
            where=where,
            mend="leave it out; nothing is left to erase",
        )
    opening = state.one(FieldOpening, name)
    if opening is None:
        raise UnknownSubject(
            f"entry {entry} has no sealed field {path}",
            where=where,
            mend="name a path that the openings of the entry list",
        )
    if opening.sealing != "erasable":
        raise RuleStands(
            f"field {path} of entry {entry} is withheld, not erasable: checks rest on it",
            where=where,
            mend="leave it closed where the entry is handed out, or correct the fact",
        )


def _effects(fact: Fact, state: State) -> None:
    record: Erasure = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for path in record.fields:
        row = ErasedField(
            field=field_name(record.entry, path),
            entry=record.entry,
            path=path,
            fact=_fact_of(record.entry, path),
            address=fact.address,
        )
        state.put(row)


def _fact_of(entry: int, path: str) -> str:
    """The address of the fact that a field was said in: a path starts with the position of its record."""
    return f"{entry}.{path.partition('/')[0]}"


def _about(record: Erasure) -> Iterable[str]:
    return dict.fromkeys(f"fact:{_fact_of(record.entry, path)}" for path in record.fields)


def _name_needs(record: NameErasure, _state: State) -> Iterator[Need]:
    yield Need(ErasedName, "account", record.account)
    yield Need(AccountName, "account", record.account)


def _name_check(record: NameErasure, state: State, _setting: Setting) -> list[Breach]:
    erased = state.one(ErasedName, record.account)
    if erased is not None:
        raise Contradiction(
            f"the name of {record.account} is erased already, by fact {erased.address}",
            where="account",
            mend="nothing is left to erase",
        )
    account = state.one(AccountName, record.account)
    if account is None or not account.named:
        raise UnknownSubject(f"no name is kept for {record.account}", where="account", mend="correct the account id")
    return []


def _name_effects(fact: Fact, state: State) -> None:
    record: NameErasure = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(ErasedName(account=record.account, address=fact.address))


ERASURE = Kind(Erasure, "decision", _needs, _check, _effects, _about)
NAME_ERASURE = Kind(
    NameErasure, "decision", _name_needs, _name_check, _name_effects, lambda record: [f"account:{record.account}"]
)
