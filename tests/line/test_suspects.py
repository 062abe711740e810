"""What a case may suspect, and how it is said."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import MalformedRecord
from ledger.line.suspects import Span, Suspect, check_suspect, span_of
from tests.line.making import at


def suspect(**fields: Any) -> Suspect:
    """A suspect from plain fields."""
    return Suspect(**fields)


@pytest.mark.parametrize(
    "fields",
    [
        {"sort": "batch", "name": "MIX-B"},
        {"sort": "mould", "name": "M-1", "from_at": at(3), "to_at": at(3)},
        {"sort": "gauge", "name": "G-MASS", "from_at": at(3)},
        {"sort": "week", "name": "2026-W53"},
        {"sort": "serials", "serial_prefix": "7Q"},
        {"sort": "serials", "first_serial": "P0001", "last_serial": "P0009", "to_at": at(9)},
    ],
)
def test_each_sort_is_said_in_its_own_way(fields: dict[str, Any]) -> None:
    """A name, a prefix, or two ends; a span where time can narrow it."""
    check_suspect(suspect(**fields))


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"sort": "batch"}, "suspect.name"),
        ({"sort": "serials"}, "suspect"),
        ({"sort": "serials", "name": "X"}, "suspect"),
        ({"sort": "serials", "name": "X", "serial_prefix": "7Q"}, "suspect"),
        ({"sort": "serials", "serial_prefix": "7Q", "first_serial": "A", "last_serial": "B"}, "suspect"),
        ({"sort": "serials", "first_serial": "P0001"}, "suspect"),
        ({"sort": "serials", "first_serial": "P0009", "last_serial": "P0001"}, "suspect.last_serial"),
        ({"sort": "serials", "first_serial": "P99", "last_serial": "P100"}, "suspect.last_serial"),
        ({"sort": "mould", "name": "M-1", "serial_prefix": "7Q"}, "suspect"),
        ({"sort": "shell-lot", "name": "SL-1", "to_at": at(3)}, "suspect.from_at"),
        ({"sort": "week", "name": "2026-W35", "to_at": at(3)}, "suspect.from_at"),
        ({"sort": "week", "name": "2027-W53"}, "suspect.name"),
        ({"sort": "week", "name": "SL-1"}, "suspect.name"),
        ({"sort": "week"}, "suspect.name"),
        ({"sort": "station", "name": "L-1", "from_at": at(3), "to_at": at(2)}, "suspect.to_at"),
    ],
)
def test_what_is_said_in_two_ways_or_none_is_refused(fields: dict[str, Any], where: str) -> None:
    """The refusal names the field, and how to mend it."""
    with pytest.raises(MalformedRecord) as refused:
        check_suspect(suspect(**fields))
    assert (where, True) == (refused.value.where, bool(refused.value.mend))


def test_a_span_includes_both_its_ends() -> None:
    """A stretch touches it from its last instant on, and lies in it only with both ends."""
    span = Span(from_ms=10, to_ms=20)
    assert [True, True, False, False] == [
        span.touches(*stretch) for stretch in ((0, 10), (20, 30), (0, 9), (21, 30))
    ]  # fmt: skip
    assert [True, False, False] == [span.takes_in(*stretch) for stretch in ((10, 20), (9, 20), (10, 21))]
    assert Span().takes_in(0, 10**15)
    assert span_of(suspect(sort="week", name="1970-W02")) == Span(from_ms=345_600_000, to_ms=950_399_999)
    assert span_of(suspect(sort="batch", name="B")) == Span()
