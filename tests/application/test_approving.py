"""Acting on approval files: drawn by the tree itself, replaced in order, frozen as it stands, signed in its own words."""

from __future__ import annotations

import hashlib
from typing import Any

import msgspec
import pytest

from ledger.application.approval_stored import seed_of, stored_candidates, stored_frozen
from ledger.application.approving import Announce, Replace, candidates_answer
from ledger.book.merkle import root
from ledger.errors import Forbidden, KeyReused, LedgerError, NotFound, RuleStands, UnknownSubject
from ledger.line.approval_draw import draw_order
from ledger.store.reader import open_reader
from tests.application.approved import (
    BALLS,
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
from tests.application.floor import Floor, at, cores, engraved, plan, shells


@pytest.fixture
def open_floor(ready: Floor) -> Floor:
    """AF-1 open over eight balls."""
    ready.say(opened(approval_floor(ready)))
    return ready


def test_the_draw_follows_from_the_entries_alone(open_floor: Floor) -> None:
    """Seed, order and samples worked out anew from the bytes of the entries and the list that was stored."""
    entered = announce(open_floor)
    drawn = desk(open_floor).draw("AF-1", "draw", open_floor.lead).result(30)
    with open_reader(open_floor.book.store) as reader:
        hashes = [hashlib.sha256(b"\x00" + reader.entry(index).bytes).digest() for index in range(entered.index + 1)]
        seed = hashlib.sha256(b"pourbook/sample-seed/1\n" + root(hashes)).hexdigest()
        assert seed == seed_of(reader, entered.addresses[0])
        (line,) = view(open_floor).page.announcements
        listed = [one.unit for one in stored_candidates(reader, line.candidates)]
    assert (seed, drawn.addresses[0], list(BALLS)) == (line.seed, line.drawn, listed)
    assert draw_order(BALLS, seed)[:3] == samples(open_floor)


def test_announcing_takes_every_lot_of_the_model_unless_some_are_named(open_floor: Floor) -> None:
    """A lot poured since is among them; one of a plant that is none is refused by name."""
    open_floor.say(
        cores("CL-2", 100, ("BL-1", 1)), shells("SL-2", 130, ("CL-2", 1)), engraved("V-1", "Q-1", 170, lot="SL-2")
    )
    with open_reader(open_floor.book.store) as reader:
        answer = candidates_answer(reader, "AF-1", Announce({}))
        assert [("SL-1", 8, 8), ("SL-2", 1, 1)] == [(one.lot, one.candidates, one.balls) for one in answer.lots]
        assert [(15, 9)] == [(one.weight_class, one.candidates) for one in answer.classes]
        with pytest.raises(UnknownSubject, match="no shell lot"):
            candidates_answer(reader, "AF-1", Announce({}, ["CL-1"]))
    announce(open_floor, lots=("SL-1",))
    (seen,) = view(open_floor).draws
    assert (1, 2, None, None) == (seen.lots, seen.lots_then, seen.published_at, seen.stamped_at)


def test_the_same_key_gives_the_same_entry(open_floor: Floor) -> None:
    """Each step is entered once however often it is asked for; a key of another step is refused."""
    first = announce(open_floor)
    assert (first.index, True) == ((again := announce(open_floor)).index, again.repeated)
    with pytest.raises(KeyReused):
        desk(open_floor).draw("AF-1", "announce", open_floor.lead)
    drawn = desk(open_floor).draw("AF-1", "draw", open_floor.lead).result(30)
    assert drawn.index == desk(open_floor).draw("AF-1", "draw", open_floor.lead).result(30).index


def test_too_many_balls_or_none_to_draw_are_said(open_floor: Floor) -> None:
    """Before anything is entered, and each with its mend."""
    for wanted, problem in (
        ({15: 9}, "15 lb has too few candidates"),
        ({16: 1}, "16 lb has too few candidates"),
    ):
        with pytest.raises(RuleStands, match=problem):
            desk(open_floor).announce("AF-1", Announce(wanted), "few", open_floor.lead)
    with pytest.raises(RuleStands, match="no announcement of approval file AF-1 waits"):
        desk(open_floor).draw("AF-1", "draw", open_floor.lead)
    with pytest.raises(NotFound):
        announce_of_none(open_floor)


def announce_of_none(floor: Floor) -> Any:
    """Samples of a file that is none."""
    return desk(floor).announce("AF-9", Announce({15: 1}), "none", floor.lead)


def test_a_replacement_is_the_next_of_the_order(ready: Floor) -> None:
    """Nobody picks it; a ball before it is passed over with its reason, in turn alone."""
    drawn_file(ready)
    seed = str(view(ready).page.announcements[0].seed)
    order = draw_order(BALLS, seed)
    early = Replace(order[0], "dropped", {order[4]: "sold"})
    with pytest.raises(RuleStands, match="passed over before its turn"):
        desk(ready).replace("AF-1", early, "early", ready.lead)
    desk(ready).replace("AF-1", Replace(order[0], "dropped", {order[3]: "sold"}), "replace", ready.lead).result(30)
    assert [order[1], order[2], order[4]] == samples(ready)
    states = {line.unit: (line.state, line.reason) for line in view(ready).page.samples if line.state != "in"}
    assert {order[0]: ("replaced", "dropped"), order[3]: ("passed-over", "sold")} == states
    with pytest.raises(UnknownSubject):
        desk(ready).replace("AF-1", Replace(order[0], "dropped"), "again", ready.lead)


def test_candidates_can_run_out(ready: Floor) -> None:
    """All eight drawn: then none is left to follow, and more have to be announced."""
    drawn_file(ready, balls=8)
    with pytest.raises(RuleStands, match="no candidate of 15 lb is left"):
        desk(ready).replace("AF-1", Replace("U-1", "dropped"), "replace", ready.lead)


def test_what_is_frozen_is_stored_and_names_every_sample(ready: Floor) -> None:
    """The document is read back by the digest that the freeze states, and no sealed word stands in it."""
    frozen_file(ready)
    (line,) = view(ready).page.freezes
    with open_reader(ready.book.store) as reader:
        frozen = stored_frozen(reader, line.document)
    assert (samples(ready), "M1") == ([one["unit"] for one in lines(frozen, "sample")], frozen.file.model)
    assert "recipe 7" not in repr(frozen)
    assert "urethane 5" not in repr(frozen)


def lines(frozen: Any, sort: str) -> list[dict[str, Any]]:
    """The lines of a sort as plain fields."""
    plain = [msgspec.to_builtins(line) for line in frozen.lines]
    return [line for line in plain if line["what"] == sort]


def test_a_freeze_names_every_open_item_and_no_other(ready: Floor) -> None:
    """What is left open is said by whoever freezes, and stands in the words that are signed."""
    drawn_file(ready)
    for left in ((), ("photos",), ("photos", "sheet", "samples")):
        with pytest.raises(RuleStands, match="2 items of approval file AF-1 are open"):
            desk(ready).freeze("AF-1", left, f"freeze-{len(left)}", ready.lead)
    desk(ready).freeze("AF-1", ("sheet", "photos"), "freeze", ready.lead).result(30)
    assert "Left open: sheet, photos." in str(view(ready).sign)


def test_signing_takes_the_words_of_the_file(ready: Floor) -> None:
    """Two others sign; who froze it is refused, and a freeze that is none is not found."""
    freeze = frozen_file(ready)
    words = view(ready).sign
    with pytest.raises(RuleStands, match="who froze a file"):
        desk(ready).sign("AF-1", freeze, "own", ready.lead).result(30)
    with pytest.raises(UnknownSubject):
        desk(ready).sign("AF-1", "0.0", "none", ready.lead)
    for number, account in enumerate(others(ready)):
        entered = desk(ready).sign("AF-1", freeze, f"sign-{number}", account).result(30)
        said = ready.book.entry(entered.index).entry["said"]["records"][0]["says"]
        assert words == said
    assert ("signed", words) == (view(ready).approval.state, view(ready).sign)


def test_only_quality_acts_on_files(open_floor: Floor) -> None:
    """An inspector answers items, and neither announces nor freezes."""
    inspector = open_floor.book.open_account("Inspector", ["inspector"])[0]
    with pytest.raises(Forbidden):
        desk(open_floor).announce("AF-1", Announce({15: 1}), "announce", inspector)
    with pytest.raises(Forbidden):
        desk(open_floor).freeze("AF-1", (), "freeze", inspector)


def test_a_changed_plan_stops_the_hand_over(ready: Floor) -> None:
    """The view says what changed, and the entry is refused until the file is frozen anew."""
    freeze = frozen_file(ready)
    for number, account in enumerate(others(ready)):
        desk(ready).sign("AF-1", freeze, f"sign-{number}", account).result(30)
    set_anew = ready.say(plan("M1", at=at(350), rulebooks=["usbc-2026"]))
    way = {one.step: one for one in view(ready).ways}["hand-over"]
    assert (False, (f"the process plan was set anew by fact {set_anew.addresses[0]}",)) == (way.may, way.in_the_way)
    sent = {"kind": "approval-file-handed-over", "at": at(400), "file": "AF-1", "freeze": freeze, "to": "Body A"}
    with pytest.raises(RuleStands, match="has changed since"):
        ready.say({**sent, "dossier": "d" * 64})
    ready.say({"kind": "approval-file-reopened", "at": at(401), "file": "AF-1", "reason": "plan-set-anew"})
    desk(ready).freeze("AF-1", (), "anew", ready.lead).result(30)
    assert 1 == view(ready).approval.reopened


def test_every_error_of_a_step_says_what_to_do(ready: Floor) -> None:
    """Whatever is refused names a mend."""
    handed_file(ready)
    refused: list[LedgerError] = []
    for act in (
        lambda: announce(ready, key="late"),
        lambda: desk(ready).draw("AF-1", "late-draw", ready.lead).result(30),
        lambda: desk(ready).freeze("AF-1", (), "late-freeze", ready.lead).result(30),
        lambda: desk(ready).replace("AF-1", Replace(samples(ready)[0], "dropped"), "late-r", ready.lead).result(30),
    ):
        with pytest.raises(LedgerError) as caught:
            act()
        refused.append(caught.value)
    assert all(error.mend for error in refused)
