"""What a station's page asks: the lot at hand, open lots and their rests, ids to offer, what was said last."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ledger.application.at_station import (
    MOST_SAID,
    at_hand,
    breaches_of_entry,
    demould_s,
    entry_said,
    last_making,
    last_said,
    lots_named,
    lots_open,
    next_lot_id,
)
from ledger.application.scanning import scanned
from ledger.book.instant import instant_ms
from ledger.errors import MalformedLink, NotFound
from ledger.store.reader import Reader, open_reader
from tests.application.floor import GTIN, Floor, at, blocks, engraved, held, inspected, shells

CHANGED = {"kind": "lot-changed", "at": at(41), "lot": "SL-1", "count": 12, "what": "mould-set", "to": "MS-2"}
TURNED = {
    "kind": "lot-worked", "at": at(66), "lot": "SL-1", "step": "turned", "began_at": at(65), "station": "T1",
}  # fmt: skip


@pytest.fixture
def reader(ready: Floor) -> Iterator[Reader]:
    """A look at a plant where SL-1 was changed in mid-lot, turned, and engraved one ball of."""
    ready.say(CHANGED, TURNED)
    ready.say(engraved("U-1", "P-1", 70), inspected("U-1", 71, mass="15.1"))
    ready.say(held("H-1", node="lot:SL-1"))
    with open_reader(ready.book.store) as one:
        yield one


def test_the_lot_at_hand(reader: Reader) -> None:
    """Its account, model, moulds piece by piece, steps and open holds; a change in mid-lot is no step."""
    hand = at_hand(reader, "SL-1")
    assert (40, 1, 39, "Model M1", 15) == (
        hand.account.made,
        hand.account.used,
        hand.account.left,
        hand.model_name,
        hand.weight_class,
    )
    assert [(1, "MS-1"), (13, "MS-2")] == [(making.first, making.mould_set) for making in hand.makings]
    assert (["turned"], ["H-1"]) == ([step.step for step in hand.steps], [hold.hold for hold in hand.holds])
    with pytest.raises(NotFound):
        at_hand(reader, "SL-404")


def test_open_lots_say_when_they_may_go_on(ready: Floor) -> None:
    """A lot whose rest is not over has its first instant and the reason; one that has rested has neither; an empty one is out."""
    ready.say(blocks("BL-2", 50, 30))
    with open_reader(ready.book.store) as reader:
        (resting,) = lots_open(reader, ["block"], instant_ms(at(51)))
        (rested,) = lots_open(reader, ["block"], instant_ms(at(75)))
        assert ("BL-2", 30, instant_ms(at(74.25))) == (resting.lot, resting.left, resting.earliest_ms)
        assert "block-rest lasted" in resting.reasons[0]
        assert (None, ()) == (rested.earliest_ms, rested.reasons)
        batches = lots_open(reader, ["batch", "material"], instant_ms(at(75)))
        assert ["MIX", "DRUM"] == [lot.lot for lot in batches]
        assert ["DRUM", "BL-2"] == [lot.lot for lot in lots_named(reader, ["DRUM", "NONE", "BL-2", "DRUM"], 0)]


def test_ids_are_counted_on(ready: Floor) -> None:
    """From the newest lot of the stage, past ids that are taken; a stage without lots, or without a number, begins as offered."""
    with open_reader(ready.book.store) as reader:
        assert ("SL-2", "BL-2") == (next_lot_id(reader, "shell", "SL-1"), next_lot_id(reader, "block", "BL-1"))
        assert "MT-1" == next_lot_id(reader, "material", "MT-1")
        assert "MX-07" == next_lot_id(reader, "imported", "MX-07")
        assert "FIRST" == next_lot_id(reader, "imported", "FIRST")
        assert last_making(reader, "imported") is None


def test_the_plan_s_mould_time(ready: Floor) -> None:
    """Seconds of the stage's demoulding in the plan in force, None where the plan or the stage has none."""
    with open_reader(ready.book.store) as reader:
        now_ms = ready.clock()
        found = [demould_s(reader, "M1", stage, now_ms) for stage in ("block", "core", "material")]
        assert [300, None, None] == [*found[:2], demould_s(reader, "M9", "block", now_ms)]


def test_what_was_said_last_and_whether_it_may_be_taken_back(ready: Floor, reader: Reader) -> None:
    """The newest first, whole entries, with who said it; quality may take back all, others what the rule leaves them."""
    entries = last_said(reader, "lot:SL-1", ready.lead, ready.clock())
    kinds = [[fact.kind for fact in entry.facts] for entry in entries]
    assert ["hold-placed"] == kinds[0]
    assert ["ball-engraved", "inspection"] == kinds[1]
    assert all(entry.own and entry.may_undo and entry.who == "Lead" for entry in entries)
    stranger = ready.book.open_account("Stranger", ("station",))[0]
    others = last_said(reader, "lot:SL-1", stranger, ready.clock())
    assert {(False, False)} == {(entry.own, entry.may_undo) for entry in others}
    assert "another account" in others[0].why_not[1]
    assert len(entries) <= MOST_SAID
    with pytest.raises(NotFound):
        entry_said(reader, 9_999, ready.lead, 0)


def test_what_was_taken_back_is_still_shown(ready: Floor) -> None:
    """A withdrawn fact stands in the list without its body, and can not be taken back again."""
    (fact,) = ready.say(
        {"kind": "pieces-lost", "at": at(70), "lot": "SL-1", "count": 1, "how": "scrap", "reason": "chip"}
    ).addresses
    ready.say({"kind": "correction", "at": at(71), "changes": [{"fact": fact}], "reason": "not-done"})
    with open_reader(ready.book.store) as reader:
        first = last_said(reader, "lot:SL-1", ready.lead, ready.clock())[0]
    assert (False, None, "withdrawn") == (first.facts[0].standing, first.facts[0].record, first.why_not[0])


def test_breaches_of_an_entry_in_words(ready: Floor) -> None:
    """What the book found wrong with all that an entry said, once each; nothing for text that is no index."""
    entered = ready.say(shells("SL-2", 60, ("CL-1", 40)))
    with open_reader(ready.book.store) as reader:
        assert any("drawn from CL-1" in said for said in breaches_of_entry(reader, str(entered.index)))
        assert [()] * 3 == [breaches_of_entry(reader, text) for text in ("", "x", "-1")]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("SL-1", ("lot", "SL-1", "shell", "")), (" sl-1 ", ("lot", "SL-1", "shell", "")),
        ("/lot/BL-1", ("lot", "BL-1", "block", "")), ("HTTPS://host.example/LOT/mix", ("lot", "MIX", "batch", "")),
        (f"https://host.example/01/{GTIN.rjust(14, '0')}/10/CL-1", ("lot", "CL-1", "core", "")),
        (f"https://host.example/01/{GTIN.rjust(14, '0')}/21/P-1", ("ball", "SL-1", "shell", "U-1")),
        ("u-1", ("ball", "SL-1", "shell", "U-1")), ("P-1", ("ball", "SL-1", "shell", "U-1")),
    ],
)  # fmt: skip
def test_a_scan_names_a_lot_or_a_ball(reader: Reader, text: str, found: tuple[str, str, str, str]) -> None:
    """By id, traveller, GS1 address, tag or number, in capitals or not."""
    one = scanned(reader, text)
    assert found == (one.sort, one.lot, one.stage, one.unit)


@pytest.mark.parametrize("text", ["", "X-404", "/lot/X-404", "/lot/", "P-404", "💧", "a" * 5_000])
def test_a_scan_of_nothing_in_the_book(reader: Reader, text: str) -> None:
    """Whatever is scanned, the answer is that nothing has this id."""
    with pytest.raises(NotFound):
        scanned(reader, text)


@pytest.mark.parametrize(
    "text", ["https://host.example/", f"https://host.example/01/{GTIN.rjust(14, '0')}", "http://x"]
)
def test_a_scan_of_another_address(reader: Reader, text: str) -> None:
    """An address that names neither a lot nor a ball is refused as such."""
    with pytest.raises(MalformedLink):
        scanned(reader, text)
