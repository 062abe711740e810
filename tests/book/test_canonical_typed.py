"""Typed values get the same canonical bytes as their builtins, and are refused alike."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET, UnsetType

from ledger.book.canonical import MAX_INTEGER, decode, encode, encode_typed
from ledger.errors import MalformedCanonical, MalformedInput
from ledger.line.vocabulary import KIND_OF


class Inner(msgspec.Struct, frozen=True, omit_defaults=True):
    """A part."""

    word: str
    amount: int | UnsetType = UNSET


class Outer(msgspec.Struct, frozen=True, omit_defaults=True, tag="outer", tag_field="kind"):
    """Fields out of order, with an optional one."""

    zeta: str
    alpha: tuple[Inner, ...]
    yes: bool
    note: str | UnsetType = UNSET


inners = st.builds(Inner, word=st.text(max_size=8), amount=st.integers(-(2**55), 2**55) | st.just(UNSET))
outers = st.builds(
    Outer, zeta=st.text(max_size=8), alpha=st.lists(inners, max_size=3).map(tuple), yes=st.booleans(),
    note=st.text(max_size=8) | st.just(UNSET),
)  # fmt: skip


def outcome(encoder: Any, value: object) -> tuple[str, object]:
    """The bytes, or the kind of refusal and what it says."""
    try:
        return "bytes", encoder(value)
    except MalformedInput as error:
        return type(error).__name__, str(error)


@given(st.lists(outers, min_size=1, max_size=3).map(tuple))
def test_typed_values_get_the_bytes_of_their_builtins(value: tuple[Outer, ...]) -> None:
    """Field order, absent fields, integers at the limits and text of any kind: the same bytes or the same refusal."""
    assert outcome(encode, msgspec.to_builtins(value)) == outcome(encode_typed, value)


@pytest.mark.parametrize("wrong", [None, 1.5, 1.0, MAX_INTEGER + 1, "e\u0301", "\u0378"])
def test_what_the_types_do_not_allow_is_refused_all_the_same(wrong: Any) -> None:
    """Nothing, a float, a large integer, text not in NFC or not assigned: refused though the type was not kept."""
    with pytest.raises(MalformedCanonical):
        encode_typed(Inner(word=wrong))


def test_deep_values_are_encoded_too() -> None:
    """Deeper than the fast reader looks: the walk decides, with the same bytes."""
    deep: Any = "end"
    for _ in range(20):
        deep = {"a": deep}
    assert encode(deep) == encode_typed(deep)
    assert deep == decode(encode(deep))


def test_an_escape_hides_no_text_from_the_reader() -> None:
    """Text written with escapes is not canonical, whatever it stands for."""
    for raw in (b'"e\\u0301"', b'"\\u00e9"', b'"\\u0061"'):
        with pytest.raises(MalformedCanonical):
            decode(raw)


def kinds_in(info: Any) -> set[str]:
    """The names of all types that a value of the described type may hold."""
    inspect = msgspec.inspect
    if isinstance(info, inspect.Metadata):
        return kinds_in(info.type)
    if isinstance(info, inspect.UnionType):
        return set().union(*(kinds_in(member) for member in info.types))
    if isinstance(info, inspect.VarTupleType | inspect.ListType):
        return kinds_in(info.item_type)
    if isinstance(info, inspect.StructType):
        return set().union(*(kinds_in(field.type) for field in info.fields if field.type is not info))
    return {type(info).__name__}


@pytest.mark.parametrize("kind", KIND_OF, ids=lambda kind: kind.__name__)
def test_every_record_is_of_types_inside_the_profile(kind: type) -> None:
    """A record holds text, whole numbers, booleans, words of a list, and nothing else: no float, no bytes, no null."""
    assert kinds_in(msgspec.inspect.type_info(kind)) <= {"StrType", "IntType", "BoolType", "LiteralType"}
