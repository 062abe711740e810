"""The events of a dossier: good ones pass, and each way in which they say something else is found."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from msgspec import UNSET
from msgspec.structs import replace

from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.event_shapes import Body, Document, Event, format_events, parse_events
from tests.evidence.issued_dossier import check_events, entries, events_of, files, issued_dossier
from tests.evidence.small_dossier import archived, resealed

NAME = "events/U-2.jsonld"


def with_events(raw: bytes, name: str = NAME) -> bytes:
    """The dossier with another document, under digests and a signature that fit."""
    return resealed({**files(), name: raw})


def other_events(document: Document, *told: Event) -> Document:
    """The document with other events."""
    return replace(document, body=Body(events=told))


def test_good_events_pass() -> None:
    """Both balls, one of them with a corrected reading."""
    check_events(issued_dossier())


def test_what_is_opened_in_the_dossier_is_told_and_the_rest_is_not() -> None:
    """Kilograms of the recipe, which are opened there, and the supplier, who is not."""
    raw = files()[NAME].decode()
    assert '"quantity":20.500,"uom":"KGM"' in raw
    assert "Supplier A" not in raw
    assert "A. Person" not in raw


def test_a_dossier_that_opens_less_tells_less() -> None:
    """Its own events, and no other, pass there."""
    closed = [one if one.index not in {4, 5, 6, 7} else type(one)(one.index, one.raw, one.receipt) for one in entries()]
    told = dict(events_of(closed))
    assert b'"quantity":20.500' not in told["U-2"]
    with pytest.raises(DossierRejected, match="events differ"):
        check_events(with_events(told["U-2"]))


CHANGES: dict[str, Callable[[Document, tuple[Event, ...]], Document]] = {
    "eventList/8/disposition": lambda one, told: other_events(
        one, *told[:8], replace(told[8], disposition="non_conformant"), *told[9:]
    ),
    "eventList/0": lambda one, told: other_events(one, *told[1:]),
    "eventList/1": lambda one, told: other_events(one, told[0], told[2], told[1], *told[3:]),
    "eventList/7/errorDeclaration": lambda one, told: other_events(
        one, *told[:7], replace(told[7], error=UNSET), *told[8:]
    ),
    "pb:eventHashes/0": lambda one, _told: replace(one, hashes=one.hashes[::-1]),
    "pb:book": lambda one, _told: replace(one, book="books.example/other"),
    "pb:possibleLots": lambda one, _told: replace(one, possible=()),
    "creationDate": lambda one, _told: replace(one, created="2025-03-02T12:00:00.000+00:00"),
}


@pytest.mark.parametrize(("where", "change"), CHANGES.items(), ids=CHANGES.keys())
def test_a_change_is_found_and_named(where: str, change: Callable[[Document, tuple[Event, ...]], Document]) -> None:
    """Whoever could sign the manifest anew cannot tell another history."""
    good = parse_events(files()[NAME])
    with pytest.raises(DossierRejected, match="events differ") as found:
        check_events(with_events(format_events(change(good, good.body.events))))
    assert f"{NAME}: " in found.value.where
    assert where in found.value.where
    assert len(str(found.value)) < 400


def test_an_event_that_is_missing_is_told_in_one_short_line() -> None:
    """The place is named, and of the event that the entries give no more than its beginning is told."""
    good = parse_events(files()[NAME])
    with pytest.raises(DossierRejected, match="events differ") as found:
        check_events(with_events(format_events(other_events(good, *good.body.events[:-1]))))
    assert f"eventList/{len(good.body.events) - 1}" in found.value.where
    assert "nothing" == found.value.got
    assert re.search(r"^\{.{71}\.\.\. \([\d,]+ characters\)$", str(found.value.expected))


def test_documents_that_begin_elsewhere_are_found() -> None:
    """The host is the plant's to say, once for all balls."""
    raw = files()[NAME].replace(b"https://id.example.com", b"https://id.example.org")
    with pytest.raises(DossierRejected, match="prefix stands for another address"):
        check_events(with_events(raw))


def test_a_prefix_that_is_no_address_is_refused() -> None:
    """Nothing could be named under it."""
    first = "events/U-1.jsonld"
    raw = files()[first].replace(b'{"pb":"https://id.example.com/terms/"}', b'{"pb":"urn:x:/terms/"}')
    with pytest.raises(MalformedDossier, match="prefix stands for no address"):
        check_events(with_events(raw, first))


def test_the_events_of_another_ball_are_found() -> None:
    """A good document in the wrong place."""
    with pytest.raises(DossierRejected, match="events differ"):
        check_events(with_events(files()["events/U-1.jsonld"]))


@pytest.mark.parametrize("raw", [b"", b"{}\n", b"[" * 5_000, b'{"@context":1}\n', b"\xff\n"])
def test_what_is_no_document_is_refused(raw: bytes) -> None:
    """In one sentence that names the file."""
    with pytest.raises(MalformedDossier, match=NAME):
        check_events(archived({**files(), NAME: raw}))
