"""The words of our own: each is an address that says what it means."""

from __future__ import annotations

from typing import get_args

import msgspec
import pytest

from ledger.errors import MalformedLink
from ledger.evidence import event_shapes
from ledger.evidence.own_terms import PREFIX, STEPS, TERMS, stem_address, terms_address
from ledger.line.lot_changes import Step
from ledger.line.quantity import QUANTITIES


@pytest.mark.parametrize(
    ("stem", "address"),
    [
        ("id.example.com", "https://id.example.com"),
        ("http://127.0.0.1:8765", "http://127.0.0.1:8765"),
        ("https://example.com/balls/", "https://example.com/balls"),
    ],
)
def test_a_stem_is_a_host_or_an_address(stem: str, address: str) -> None:
    """Both give an address without a slash at its end, and the words lie under it, with one."""
    assert address == stem_address(stem)
    assert f"{address}/terms/" == terms_address(stem)


def test_what_is_no_stem_is_refused() -> None:
    """As on a label."""
    with pytest.raises(MalformedLink):
        stem_address("not a host")


def test_every_own_name_of_an_event_has_a_meaning() -> None:
    """Each field under our prefix stands in the table."""
    shapes = [one for one in vars(event_shapes).values() if isinstance(one, type) and issubclass(one, msgspec.Struct)]
    names = {field.encode_name for shape in shapes for field in msgspec.structs.fields(shape)}
    own = {name.removeprefix(f"{PREFIX}:") for name in names if name.startswith(f"{PREFIX}:")}
    assert own
    assert own <= TERMS.keys()


def test_every_step_and_quantity_has_a_meaning() -> None:
    """What the line can do to a lot, and what can be read."""
    assert set(get_args(Step)) <= STEPS.keys()
    assert {name.replace("_", "-") for name in QUANTITIES} <= TERMS.keys()


def test_every_meaning_says_something() -> None:
    """A word without one would be no help."""
    assert [word for word, meaning in TERMS.items() if not meaning] == []
