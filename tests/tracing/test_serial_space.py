"""Spaces of serials: what each holds, and which overlap."""

from __future__ import annotations

import itertools
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedSerial
from ledger.line.serial import PatternScheme, serial_at
from ledger.tracing.serial_space import OWN_SPACE, SerialSpace, pattern_space, prefix_space

SHORT = ["".join(places) for places in itertools.product("A9?BK7", repeat=2)]
PATTERNS = st.sampled_from([text for text in SHORT if set(text) & set("A9?")])
PREFIXES = st.sampled_from(["A", "B", "K7", "7", "BK", "AA"])
SPACES = st.one_of(PATTERNS.map(pattern_space), PREFIXES.map(prefix_space))
ALL_SHORT = ["".join(places) for places in itertools.product(string.digits + string.ascii_uppercase, repeat=2)]


@given(SPACES, SPACES)
def test_overlap_is_a_serial_of_both(one: SerialSpace, other: SerialSpace) -> None:
    """Two spaces of two places or fewer overlap just where one of all numbers of two places is in both."""
    common = any(one.holds(serial) and other.holds(serial) for serial in ALL_SHORT)
    assert common == one.overlaps(other) == other.overlaps(one)


@given(PATTERNS, st.sampled_from(ALL_SHORT))
def test_pattern_holds_what_the_scheme_takes(pattern: str, serial: str) -> None:
    """The space of a pattern and the plant's scheme of that pattern take the same numbers."""
    try:
        PatternScheme(pattern).check(serial)
        taken = True
    except MalformedSerial:
        taken = False
    assert taken == pattern_space(pattern).holds(serial)


@given(st.integers(0, 10**11))
def test_own_space_holds_every_own_serial(counter: int) -> None:
    """Whatever the key, an own serial is in the space of the own scheme."""
    assert OWN_SPACE.holds(serial_at(counter, counter.to_bytes(16, "big")))


def test_unread_places_may_be_anything_of_the_space() -> None:
    """A place that was not read rules nothing out, a place too many does."""
    space = pattern_space(r"B\A99")
    assert [True, False, False] == [space.holds(read) for read in (["B", "", "4", ""], ["B", "B", "", ""], ["B", "A"])]
    assert prefix_space("N").holds(["N", "", "3", "Z"])


@pytest.mark.parametrize("prefix", ["", "A B", "N" * 21])
def test_prefix_that_no_label_carries_is_refused(prefix: str) -> None:
    """A prefix is text that a label can carry."""
    with pytest.raises(MalformedSerial, match="serial prefix"):
        prefix_space(prefix)
