"""Changes that a body has to be told: found by comparing what was frozen with what stands, each once and by its fact."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.application.approval_changes import changes_since, due_changes
from ledger.application.approval_stored import stored_file
from ledger.store.reader import open_reader
from tests.application.approved import (
    announce,
    approval_floor,
    desk,
    drawn_file,
    frozen_file,
    handed_file,
    opened,
    others,
    samples,
    view,
)
from tests.application.floor import (
    GTIN,
    Floor,
    at,
    blocks,
    calibrated,
    cores,
    corrected,
    engraved,
    inspected,
    mixed,
    model,
    plan,
    shells,
)


@pytest.fixture
def out(ready: Floor) -> Floor:
    """AF-1 handed over."""
    handed_file(ready)
    return ready


def found(floor: Floor) -> list[tuple[str, str, str]]:
    """Sort, subject and fact of each change."""
    with open_reader(floor.book.store) as reader:
        return [tuple(one) for one in changes_since(reader, stored_file(reader, "AF-1"))]  # type: ignore[misc]  # three texts


def test_nothing_changed_at_first(out: Floor) -> None:
    """And what does not bear on the file is none: another ball, its reading, a calibration, a hold."""
    other = next(f"U-{number}" for number in range(1, 9) if f"U-{number}" not in samples(out))
    out.say(engraved("U-99", "P-99", 410, place=20), inspected(other, 411, mass="15.2"), calibrated("mass", 412))
    out.say({"kind": "hold-placed", "at": at(413), "hold": "H-1", "reason": "look", "node": "lot:SL-1"})
    assert [] == found(out)


def test_a_new_revision_and_a_new_plan_are_found(out: Floor) -> None:
    """Each by the fact that says it."""
    planned = out.say(plan("M1", at=at(410))).addresses[0]
    revised = out.say(model("M1", GTIN, at=at(420), revision=2, recipe="recipe 8")).addresses[0]
    assert [("plan", "M1", planned), ("model", "M1", revised)] == found(out)


def test_a_correction_of_what_was_frozen_is_found(out: Floor) -> None:
    """By the correction; withdrawn facts too, and none of another ball's."""
    mine, other = samples(out)[0], next(f"U-{n}" for n in range(1, 9) if f"U-{n}" not in samples(out))
    facts = {name: reading_of(out, name) for name in (mine, other)}
    out.say(corrected({"fact": facts[other]}, hours=410))
    assert [] == found(out)
    again = inspected(mine, 71, mass="15.2")
    correction = out.say(corrected({"fact": facts[mine], "replacement": again}, hours=411)).addresses[0]
    assert [("corrected", facts[mine], correction)] == found(out)


def reading_of(floor: Floor, unit: str) -> str:
    """The inspection of a ball."""
    return next(told.fact for told in floor.book.ball(unit).history if told.kind == "inspection")


def test_readings_that_may_not_be_used_any_more_are_found_by_their_gauge(out: Floor) -> None:
    """A fault, and a calibration that found another gauge wrong; a good calibration in between clears the first."""
    fault = {"kind": "gauge-faulted", "at": at(410), "gauge": "G-MASS", "reason": "dropped"}
    first = out.say(fault).addresses[0]
    second = out.say(calibrated("hardness", 411, as_found_good=False)).addresses[0]
    assert [("gauge", "G-MASS", first), ("gauge", "G-HARDNESS", second)] == found(out)
    out.say(calibrated("mass", 405))
    assert [("gauge", "G-HARDNESS", second)] == found(out)


def drum(lot: str, material: str, hours: float, kg: str = "500") -> dict[str, Any]:
    """A drum of a material."""
    return {"kind": "material-received", "at": at(hours), "lot": lot, "material": material, "kg": kg}


def mix(batch: str, hours: float, **draws: str) -> dict[str, Any]:
    """A mix of the lots named, kilograms each; two underscores stand for a hyphen."""
    drawn = [{"lot": lot.replace("__", "-"), "kg": kg} for lot, kg in draws.items()]
    return {**mixed(batch, "DRUM", 1, hours), "draws": drawn}


def pour(floor: Floor, number: int, batch: str, hours: float) -> None:
    """One shell lot out of blocks and cores of a batch."""
    made = {"batches": [{"lot": batch, "kg": "1"}]}
    floor.say(blocks(f"BL-{number}", hours, 2, **made))
    floor.say(cores(f"CL-{number}", hours + 30, (f"BL-{number}", 2), **made))
    floor.say(shells(f"SL-{number}", hours + 60, (f"CL-{number}", 2)))


def test_a_material_that_went_into_no_sample_is_found_once(out: Floor) -> None:
    """In any lot of the model and revision poured since, by the first drum of it; more of the same says nothing new."""
    out.say(drum("NEW", "other resin", 410))
    assert [] == found(out)
    out.say(mix("MIX-2", 412, DRUM="5", NEW="5"))
    pour(out, 2, "MIX-2", 420)
    address = next(told.fact for told in out.book.lot("NEW").history if told.kind == "material-received")
    assert [("material", "other resin", address)] == found(out)
    out.say(drum("NEW-2", "other resin", 500), mix("MIX-3", 502, NEW__2="5"))
    pour(out, 3, "MIX-3", 510)
    assert [("material", "other resin", address)] == found(out)


def test_shares_of_a_mix_are_compared_within_the_points_of_the_checklist(ready: Floor) -> None:
    """Five points: 80 to 20 in the samples, 78 to 22 is as good as that, 70 to 30 is another recipe."""
    ready.say(drum("FILLER", "filler", 1))
    ready.say(mix("MIX-S", 41, DRUM="80", FILLER="20"))
    pour(ready, 9, "MIX-S", 42)
    drawn_from_nine(ready)
    ready.say(mix("MIX-T", 412, DRUM="78", FILLER="22"))
    pour(ready, 2, "MIX-T", 420)
    assert [] == found(ready)
    other = ready.say(mix("MIX-U", 512, DRUM="70", FILLER="30")).addresses[0]
    pour(ready, 3, "MIX-U", 520)
    assert [("proportion", "MIX-U", other)] == found(ready)
    assert "70" not in view(ready).changes[0].said


def drawn_from_nine(floor: Floor) -> None:
    """AF-1 handed over with samples of SL-9 alone: those that were drawn of SL-1 cannot be had."""
    checklist = approval_floor(floor, balls=0)
    floor.say(*(engraved(f"N-{n}", f"Q-{n}", 170, lot="SL-9") for n in (1, 2)))
    floor.say(opened(checklist))
    announce(floor, 1, lots=("SL-9",))
    desk(floor).draw("AF-1", "draw", floor.lead).result(30)
    left = ("samples", "photos", "sheet")
    freeze = desk(floor).freeze("AF-1", left, "freeze", floor.lead).result(30).addresses[0]
    for number, account in enumerate(others(floor)):
        desk(floor).sign("AF-1", freeze, f"sign-{number}", account).result(30)
    sent = {"kind": "approval-file-handed-over", "at": at(400), "file": "AF-1", "freeze": freeze, "to": "Body A"}
    floor.say({**sent, "dossier": "d" * 64})


def test_only_files_that_are_out_are_watched(ready: Floor) -> None:
    """One that is frozen shows the change as what stands in the way; one still open has none."""
    drawn_file(ready)
    ready.say(plan("M1", at=at(350)))
    assert ([], []) == (found(ready), due(ready))


def due(floor: Floor) -> list[tuple[str, str]]:
    """File and sort of what the duty would enter."""
    with open_reader(floor.book.store) as reader:
        return [(one.file, one.sort) for one in due_changes(reader)]


def test_a_frozen_file_shows_changes_and_reports_none(ready: Floor) -> None:
    """They become due once it is out."""
    frozen_file(ready)
    ready.say(plan("M1", at=at(350)))
    assert (["plan"], []) == ([sort for sort, _, _ in found(ready)], due(ready))
    assert "the file was not handed over" in {one.step: one for one in view(ready).ways}["report-changes"].in_the_way


def test_a_change_that_was_entered_is_not_due_again(out: Floor) -> None:
    """By the duty or by hand; the view then names the fact, and the report once there is one."""
    fact = out.say(plan("M1", at=at(410))).addresses[0]
    assert [("AF-1", "plan")] == due(out)
    freeze = view(out).page.frozen
    said = {"kind": "approval-change-found", "at": at(411), "file": "AF-1", "freeze": freeze, "sort": "plan"}
    change = out.say({**said, "subject": "M1", "fact": fact}).addresses[0]
    assert [] == due(out)
    assert [(change, None)] == [(one.found_by, one.reported_by) for one in view(out).changes]
    told = {"kind": "approval-change-reported", "at": at(412), "file": "AF-1", "changes": [change], "to": "Body A"}
    report = out.say(told).addresses[0]
    assert [report] == [one.reported_by for one in view(out).changes]
    way = {one.step: one for one in view(out).ways}["report-changes"]
    assert (False, ("no change is to be reported",)) == (way.may, way.in_the_way)
