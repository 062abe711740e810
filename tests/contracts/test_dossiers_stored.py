"""Dossiers of one plant say the same on every database, and check there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.application.floor import Floor, at, corrected, engraved, erasure
from tests.application.wanted_dossiers import checked, closed, written
from tests.evidence.small_dossier import members

SAID: dict[str, dict[str, bytes]] = {}
"""By what was wanted, what the database that was asked first gave; accounts have random ids, which entries hold."""


@pytest.fixture
def plant(url: str, tmp_path: Path) -> Iterator[Floor]:
    """Four balls of a closed lot: one numbered anew since, one withdrawn, one added later; and a note that was erased."""
    floor = Floor(tmp_path, url=url)
    floor.line()
    for number in (1, 2, 3):
        floor.ball(f"U-{number}", f"P-{number}")
    drum = int(floor.book.lot("DRUM").history[0].fact.partition(".")[0])
    floor.say(erasure(drum, "0/note"))
    wrong = floor.say(engraved("U-4", "P-4"))
    closed(floor)
    floor.say({"kind": "ball-engraved-anew", "at": at(130), "unit": "U-2", "serial": "P-22", "station": "E-1",
               "reason": "cut-badly", "scheme": "prior"})  # fmt: skip
    floor.say(corrected({"fact": wrong.addresses[0]}))
    floor.ball("U-5", "P-5", 140)
    yield floor
    floor.book.close()


@pytest.mark.parametrize(
    ("what", "wanted"),
    [("lot", {"lots": ("SL-1",)}), ("ball", {"serials": ("P-22",)}), ("open", {"serials": ("P-1",), "withhold": ()})],
)
def test_a_dossier_says_the_same_on_every_database(plant: Floor, what: str, wanted: dict[str, tuple[str, ...]]) -> None:
    """The same files, the same sheets, lots and verdicts; and it checks, with what changed since the lot was closed."""
    raw = written(plant, **wanted)
    report = checked(raw)
    assert ("SL-1", 4) == (report.lots[0].lot, report.lots[0].count)
    if what == "lot":
        assert (3, 1, 1, 1) == (
            report.lots[0].here, report.lots[0].gone, report.lots[0].added, report.lots[0].renumbered,
        )  # fmt: skip
    files = members(raw)
    said = {name: text if name.startswith(("balls/", "lots/", "verdicts")) else b"" for name, text in files.items()}
    assert said == SAID.setdefault(what, said)
