"""A dossier from the book is accepted by whoever checks it with the book's key alone, whatever befell its balls."""

from __future__ import annotations

import io
from collections.abc import Collection, Sequence
from typing import Any

import pytest

from ledger.book.signing import format_verifier
from ledger.errors import DossierRejected, MalformedDossier, NotFound, StoreDamaged
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import BallSheet, parse_page
from ledger.evidence.report import DossierReport
from ledger.evidence.verifier import check_dossier
from ledger.store.openings import openings_between
from ledger.store.reader import open_reader
from tests.application.floor import (
    Floor,
    at,
    calibrated,
    corrected,
    engraved,
    erasure,
    floor_signers,
    inspected,
    mixed,
    shells,
    studied,
)

KEY = format_verifier(floor_signers().checkpoint.verifier)


def dossier(floor: Floor, serials: Sequence[str], **withhold: Collection[str]) -> bytes:
    """The bytes of a dossier."""
    out = io.BytesIO()
    floor.book.dossier(serials, out, **withhold)
    return out.getvalue()


def report(floor: Floor, serials: Sequence[str], **withhold: Collection[str]) -> DossierReport:
    """What a check of a fresh dossier found."""
    return check_dossier(io.BytesIO(dossier(floor, serials, **withhold)), [KEY])


def anew(unit: str, serial: str, hours: float) -> dict[str, Any]:
    """Another number on a ball."""
    said = {"kind": "ball-engraved-anew", "at": at(hours), "unit": unit, "serial": serial, "station": "E-1"}
    return {**said, "reason": "cut-badly", "scheme": "prior"}


def test_released_balls_are_proved(ready: Floor) -> None:
    """Balls, their entries and verdicts are proved, and the dossier key is found in the book."""
    for number in range(3):
        ready.ball(f"U-{number}", f"P-{number}")
    ready.book.release(["U-0", "U-1", "U-2"], "first", "release", ready.lead).result(30)
    found = report(ready, ["P-2", "P-0"])
    assert (2, False, {"usbc-2026": {"conforms": 2}}) == (
        found.counts.balls, found.key_given, {name: dict(counts) for name, counts in found.outcomes.items()},
    )  # fmt: skip
    assert found.tree_size == ready.book.check().entries


def test_a_corrected_ball_is_proved(ready: Floor) -> None:
    """A ball moved to its right lot, with one reading replaced and one withdrawn, is what its corrections say."""
    ready.say(shells("SL-2", 41, ("CL-1", 1)))
    first = ready.ball("U-1", "P-1")
    second = ready.say(inspected("U-1", 80, hardness="60"))
    third = ready.say(inspected("U-1", 81, mass="17"))
    right = engraved("U-1", "P-1", lot="SL-2")
    ready.say(corrected({"fact": first.addresses[0], "replacement": right}, {"fact": third.addresses[0]}))
    ready.say(corrected({"fact": second.addresses[0], "replacement": inspected("U-1", 80, hardness="75")}))
    assert ("SL-2", "75") == (
        ready.book.ball("U-1").lot,
        next(reading.value for reading in ready.book.ball("U-1").readings if reading.quantity == "hardness"),
    )
    assert {"conforms": 1} == dict(report(ready, ["P-1"]).outcomes["usbc-2026"])


def test_a_correction_above_is_proved(ready: Floor) -> None:
    """A shell lot that was poured from another core lot than was said first leads to the right ancestors."""
    ready.ball("U-1", "P-1")
    ready.say(mixed("MIX-2", "DRUM", 20, 5))
    poured = next(told.fact for told in ready.book.lot("SL-1").history if told.kind == "shells-poured")
    right = shells("SL-1", 40, ("CL-1", 40), colours=[{"colour": "blue", "lot": "MIX-2", "kg": "2"}])
    ready.say(corrected({"fact": poured, "replacement": right}))
    assert "MIX-2" in {lot.lot for lot in ready.book.ball("U-1").materials}
    assert 1 == report(ready, ["P-1"]).counts.balls


def test_uncertainty_and_conditions_of_a_reading_are_proved(ready: Floor) -> None:
    """They follow from the gauge's entries, the study among them, which a dossier holds."""
    ready.ball("U-1", "P-1")
    study = ready.say(studied("mass"))
    ready.say(calibrated("mass", 60, expanded="0.02", as_left="0.001"))
    ready.say({**inspected("U-1", 80, mass="15.1"), "temperature_c": "21.5", "delay_s": "10", "surface": "sanded"})
    raw = dossier(ready, ["P-1"])
    assert 1 == check_dossier(io.BytesIO(raw), [KEY]).counts.balls
    archive = Archive(io.BytesIO(raw))
    sheet = parse_page(archive.read("balls/U-1.json", 1_000_000), BallSheet, "sheet")
    (mass,) = [line for line in sheet.readings if line.quantity == "mass"]
    assert (17_323, "21.5", "10", "sanded") == (
        mass.standard_uncertainty, mass.temperature_c, mass.delay_s, mass.surface,
    )  # fmt: skip
    assert f"entries/{study.addresses[0].partition('.')[0]}.json" in archive


def test_a_ball_engraved_anew_and_reworked_is_proved(ready: Floor) -> None:
    """Both numbers, the rework that ended the release, and the readings taken after it are in the evidence."""
    ready.ball("U-1", "P-1")
    ready.book.release(["U-1"], "first", "one", ready.lead).result(30)
    ready.say(anew("U-1", "P-2", 80))
    ready.say({"kind": "rework", "at": at(81), "unit": "U-1", "operation": "polish", "station": "W-1"})
    assert {"not_measured": 1} == dict(report(ready, ["P-2"]).outcomes["usbc-2026"])
    ready.say(inspected("U-1", 82, hardness="75", roughness="30"))
    ready.book.release(["U-1"], "second", "two", ready.lead).result(30)
    assert {"conforms": 1} == dict(report(ready, ["P-2"]).outcomes["usbc-2026"])


def test_a_ball_of_a_split_and_merged_lot_is_proved(ready: Floor) -> None:
    """Descent through heirs is folded by the check as it is by the book."""
    ready.say({"kind": "lot-split", "at": at(50), "lot": "SL-1", "into": "SL-2", "count": 10})
    parts = [{"lot": "SL-1", "count": 5}, {"lot": "SL-2", "count": 5}]
    ready.say({"kind": "lots-merged", "at": at(51), "into": "SL-M", "lots": parts})
    ready.ball("U-1", "P-1", lot="SL-M")
    assert 1 == report(ready, ["P-1"]).counts.balls


@pytest.mark.parametrize("withhold", [(), ("erasable",), ("withheld",), ("withheld", "erasable")])
def test_withheld_fields_are_counted_and_not_missed(ready: Floor, withhold: tuple[str, ...]) -> None:
    """What is left closed is said to be withheld; the rest is opened, and everything else is proved all the same."""
    ready.ball("U-1", "P-1")
    found = report(ready, ["P-1"], withhold=withhold)
    with open_reader(ready.book.store) as reader:
        indexes = [int(name[8:-5]) for name in names(dossier(ready, ["P-1"])) if name.startswith("entries/")]
        kept = [one.sealing for index in indexes for one in openings_between(reader.transaction, index, index + 1)]
    closed = sum(sealing in withhold for sealing in kept)
    assert (len(kept) - closed, closed, 0) == (found.counts.opened, found.counts.withheld, found.counts.erased)
    assert {"withheld", "erasable"} == set(kept)


def names(raw: bytes) -> Sequence[str]:
    """The files of a dossier."""
    return Archive(io.BytesIO(raw)).names


def test_erased_fields_are_told_as_erased(ready: Floor) -> None:
    """A note that was erased from the store is neither withheld nor a fault."""
    ready.ball("U-1", "P-1")
    before = report(ready, ["P-1"], withhold=())
    with open_reader(ready.book.store) as reader:
        erasable = [one for one in openings_between(reader.transaction, 0, 100) if one.sealing == "erasable"]
    assert ["brought by Bob"] == [one.opening.value for one in erasable]
    erased = ready.say(erasure(erasable[0].index, erasable[0].opening.path))
    after = report(ready, ["P-1"], withhold=())
    assert (before.counts.opened - 1, 0, 1) == (after.counts.opened, after.counts.withheld, after.counts.erased)
    raw = dossier(ready, ["P-1"], withhold=())
    assert b"brought by Bob" not in raw
    assert f"entries/{erased.index}.json" in names(raw)
    assert 1 == report(ready, ["P-1"]).counts.erased


def test_no_dossier_is_made_where_an_opening_went_away(ready: Floor) -> None:
    """A note whose row was deleted by hand is not passed off as erased."""
    ready.ball("U-1", "P-1")
    with ready.book.store.writing() as transaction:
        transaction.run('DELETE FROM "opening" WHERE "sealing" = \'erasable\'')
    with pytest.raises(StoreDamaged, match="missing"):
        dossier(ready, ["P-1"])


def test_the_same_book_gives_the_same_dossier(ready: Floor) -> None:
    """Two dossiers of the same balls are equal byte by byte, in whatever order their numbers are given."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    assert dossier(ready, ["P-1", "P-2"]) == dossier(ready, ["P-2", "P-1"])


def test_a_changed_byte_is_found(ready: Floor) -> None:
    """One bit turned over in a dossier makes a check fail, wherever it is."""
    ready.ball("U-1", "P-1")
    raw = dossier(ready, ["P-1"])
    for place in range(0, len(raw), len(raw) // 40):
        changed = bytearray(raw)
        changed[place] ^= 1
        with pytest.raises((DossierRejected, MalformedDossier)):
            check_dossier(io.BytesIO(bytes(changed)), [KEY])


def test_a_number_that_leads_to_no_one_ball_is_refused(ready: Floor) -> None:
    """A number that none or several balls bear now is named by its place; a former number is none."""
    ready.say(engraved("U-1", "P-1"), engraved("U-2", "P-2"), engraved("U-3", "P-2"))
    ready.say(anew("U-1", "P-3", 80))
    for wrong, count in (("P-9", 0), ("P-1", 0), ("P-2", 2)):
        with pytest.raises(NotFound, match=f"{count} balls bear {wrong} now") as caught:
            dossier(ready, ["P-3", wrong])
        assert "serials[1]" == caught.value.where
