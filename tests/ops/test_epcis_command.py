"""`pourbook epcis`: events of a ball or a lot, printed or written, without the service."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.evidence.event_shapes import parse_events
from ops.cli import main
from tests.application.floor import Floor

STEM = "https://id.example.com"


@pytest.fixture(scope="module")
def url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A book with one ball."""
    floor = Floor(tmp_path_factory.mktemp("floor"))
    floor.line()
    floor.ball("U-1", "A121")
    yield floor.url
    floor.book.close()


def words(url: str, *about: str) -> list[str]:
    """The command about something."""
    return ["epcis", *about, "--store", url, "--stem", STEM]


def test_a_ball_s_events_are_printed(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """As the document itself, for another program to read."""
    assert main(words(url, "serial", "A121")) == 0
    assert f"{STEM}/01/09521234543213/21/A121" == parse_events(capsys.readouterr().out.encode()).subject


def test_a_lot_s_events_are_written_once(url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there is never written over."""
    out = tmp_path / "lot.jsonld"
    command = [*words(url, "lot", "SL-1"), "--out", str(out)]
    assert main(command) == 0
    assert "events of lot SL-1 in" in capsys.readouterr().out
    raw = out.read_bytes()
    parse_events(raw)
    assert main(command) == 1
    assert "file cannot be written" in capsys.readouterr().err
    assert raw == out.read_bytes()


def test_what_may_be_withheld_is_told_only_where_it_is_opened(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The supplier, and how much of the drum went into the batch."""
    assert main(words(url, "serial", "A121")) == 0
    closed = capsys.readouterr().out
    assert main([*words(url, "serial", "A121"), "--open", "withheld"]) == 0
    opened = capsys.readouterr().out
    assert (False, True) == ("Acme" in closed, "Acme" in opened)
    assert len(json.loads(closed)["epcisBody"]["eventList"]) == len(json.loads(opened)["epcisBody"]["eventList"])


@pytest.mark.parametrize("about", [("serial", "A404"), ("lot", "SL-404")])
def test_what_is_not_there_is_said(url: str, about: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """In one line, and with exit code 1."""
    assert main(words(url, *about)) == 1
    assert about[1] in capsys.readouterr().err
