"""What the plant's people did about each trouble, at the time when they did it."""

from __future__ import annotations

from fixtures_demo import bends
from fixtures_demo.days import HOUR, on, told
from fixtures_demo.floor import Floor
from fixtures_demo.gauges import SPARE
from fixtures_demo.models import MODEL_OF
from fixtures_demo.plant import BRAND
from fixtures_demo.releasing import read_again, release_lot
from fixtures_demo.shipping import try_to_ship
from fixtures_demo.story import Story
from ledger.errors import RuleStands
from ledger.line.balls import BallEngraved
from ledger.line.corrections import Change, Correction
from ledger.line.gauges import GaugeCalibrated, GaugeChecked
from ledger.line.holds import Concession, HoldLifted, HoldPlaced
from ledger.line.lot_changes import PiecesLost
from ledger.line.models import ModelDefined
from ledger.line.releases import Scrap

RESIN_HOLD, RECALL_HOLD = "H-RESIN", "R-COLOUR"
NEXT_YEAR = told(on(0, "18:00") + 500 * 24 * HOUR)


def tell_incidents(story: Story, floor: Floor, resin_lot: str, seed: int) -> None:
    """Say everything that was done beyond the daily round."""
    _early_pour(story, floor)
    _overdue_gauge(story, floor)
    _wrong_gauge(story, floor, seed)
    _soft_shells(story, floor)
    _wrong_lot(story)
    _mixed_rack(story)
    _held_resin(story, floor, resin_lot)
    _recall(story, floor)
    _doubtful_cure(story, floor)
    _prototype(story)
    _shift_checks(story)


def _concede(story: Story, lot: str, steps: tuple[str, ...], reason: str) -> None:
    """Concede what the breaches of these submissions about a lot hold."""
    holds: list[str] = []
    for step in steps:
        entered = story.entered[step]
        holds += [f"B{entered.addresses[0]}.{number}" for number, _ in enumerate(entered.breaches[0])]
    record = Concession(at=told(story.clock.now_ms), node=f"lot:{lot}", holds=tuple(holds), reason=reason)
    story.now("quality-1", f"conceded-{lot}", [record])


def _early_pour(story: Story, floor: Floor) -> None:
    """Two balls of each shell lot are cut open; they are sound; the core lot is conceded, and its balls released."""
    core, shells = f"CL-{bends.EARLY_ROUND}", [f"SL-{bends.EARLY_ROUND}{side}" for side in "AB"]
    floor.stopped.update(shells)

    def cut() -> None:
        for lot in shells:
            for ball in floor.of_lot(lot)[:2]:
                record = Scrap(
                    at=told(story.clock.now_ms), unit=ball.unit, how="destructive-test", reason="block-rest-short"
                )
                story.now("quality-1", f"cut-{ball.unit}", [record])
                ball.gone = True

    def concede() -> None:
        _concede(story, core, (f"poured-{core}",), "cut-open-and-sound")
        floor.stopped.difference_update(shells)
        for lot in shells:
            release_lot(story, floor, lot, f"release-again-{lot}")

    story.do(on(25, "14:00"), cut)
    story.do(on(26, "10:30"), concede)


def _overdue_gauge(story: Story, floor: Floor) -> None:
    """The gauge is calibrated and found good as it was, so the readings of its overdue days count after all."""
    record = GaugeCalibrated(
        at=told(bends.FOUND_GOOD_AT),
        gauge=bends.OVERDUE_GAUGE,
        as_found_good=True,
        due_at=NEXT_YEAR,
        expanded="0.6",
        k="2",
        as_found="-0.2",
        as_left="0",
    )
    story.say(bends.FOUND_GOOD_AT, "gauges", "calibrated-overdue", [record])
    story.do(on(34, "10:20"), lambda: _release_waiting(story, floor, "after-good-calibration"))


def _release_waiting(story: Story, floor: Floor, key: str) -> None:
    for lot in sorted(floor.refused - floor.stopped):
        release_lot(story, floor, lot, f"release-{key}-{lot}")


def _wrong_gauge(story: Story, floor: Floor, seed: int) -> None:
    """The gauge is found wrong; what it read since its last good calibration is read again where that can still help.

    What has been shipped is away, and what the held resin stops in house is not read again.
    """
    good = GaugeCalibrated(
        at=told(bends.LAST_GOOD_AT), gauge=bends.WRONG_GAUGE, as_found_good=True, due_at=NEXT_YEAR, expanded="0.0004"
    )
    wrong = GaugeCalibrated(
        at=told(bends.FOUND_WRONG_AT),
        gauge=bends.WRONG_GAUGE,
        as_found_good=False,
        due_at=NEXT_YEAR,
        as_found=f"{bends.ZERO_ERROR}",
        as_left="0",
        note="zero stop was loose",
    )
    mended = GaugeCalibrated(
        at=told(bends.FOUND_WRONG_AT + HOUR),
        gauge=bends.WRONG_GAUGE,
        as_found_good=True,
        due_at=NEXT_YEAR,
        expanded="0.0004",
    )
    story.say(bends.LAST_GOOD_AT, "gauges", "calibrated-last-good", [good])
    story.say(bends.FOUND_WRONG_AT, "gauges", "calibrated-wrong", [wrong])
    story.say(bends.FOUND_WRONG_AT + HOUR, "gauges", "calibrated-mended", [mended])

    def again() -> None:
        lots = {shell.lot for shell in floor.shells.values() if shell.station == 1 and _in_doubt(story, shell.lot)}
        balls = [ball for lot in sorted(lots - floor.stopped) for ball in floor.of_lot(lot) if not ball.gone]
        failed = read_again(story, balls, "out_of_round", SPARE, seed)
        story.note("read again", len(balls))
        story.note("read again, failed", failed)

    story.do(on(51, "13:10"), again)
    story.do(on(51, "16:00"), lambda: _release_waiting(story, floor, "after-reading-again"))


def _soft_shells(story: Story, floor: Floor) -> None:
    """The balls that read less than 73 are tried as first quality, which the book refuses; some are looked at again."""

    def try_first() -> None:
        soft = [ball for ball in floor.of_lot(bends.SOFT_LOT) if ball.soft]
        for ball in soft[-bends.SOFT_WAITING :]:
            ball.wanted = ""
        story.settle()
        try:
            units = [ball.unit for ball in soft]
            story.book.release(units, "first", "try-soft-as-first", story.people["quality-1"]).result()
        except RuleStands:
            story.note("soft balls refused as first quality", len(soft))

    story.do(on(56, "09:10"), try_first)


def _in_doubt(story: Story, lot: str) -> bool:
    """Whether a shell lot's first ball was read between the last good calibration and the wrong one."""
    entered = story.entered.get(f"ball-{lot[3:]}-01")
    first = told(bends.LAST_GOOD_AT)[:10], told(bends.FOUND_WRONG_AT)[:10]
    return entered is not None and first[0] <= entered.recorded_at[:10] < first[1]


def _wrong_lot(story: Story) -> None:
    """In the morning all twelve registrations are corrected at once."""

    def correct() -> None:
        changes = []
        for place in range(1, bends.NIGHT_BALLS + 1):
            key = f"ball-{bends.RIGHT_LOT[3:]}-{place:02d}"
            address = story.entered[key].addresses[0]
            changes.append(Change(fact=address, replacement=_as_engraved(story, address)))
        record = Correction(at=told(story.clock.now_ms), changes=tuple(changes), reason="wrong-traveller-scanned")
        story.now("quality-1", "corrected-night", [record])

    story.do(on(25, "06:40"), correct)


def _as_engraved(story: Story, address: str) -> BallEngraved:
    said = story.book.entry(int(address.partition(".")[0])).entry["said"]["records"][0]
    fields = {name: value for name, value in said.items() if name != "kind"}
    return BallEngraved(**{**fields, "lot": bends.RIGHT_LOT})


def _mixed_rack(story: Story) -> None:
    """Ten cores of the rack had voids and were scrapped, which is why ten of the next lot were put in."""
    record = PiecesLost(
        at=told(on(36, "07:50")),
        lot=f"CL-{bends.MIXED_LOT[3:6]}",
        count=bends.MIXED_CORES,
        how="scrap",
        reason="voids-at-trimming",
    )
    story.say(on(36, "07:50"), "quality-2", "voids", [record])


def _held_resin(story: Story, floor: Floor, resin_lot: str) -> None:
    """The supplier writes that the lot was moist; quality holds it, and with it all that holds or may hold it."""
    record = HoldPlaced(
        at=told(on(42, "09:40")),
        hold=RESIN_HOLD,
        reason="moisture-above-certificate",
        node=f"lot:{resin_lot}",
        note="letter of the supplier, by mail",
    )
    story.say(on(42, "09:40"), "quality-1", "held-resin", [record])

    def stop() -> None:
        story.settle()
        below = story.book.below(resin_lot)
        floor.stopped.update(lot.lot for lot in below.lots if lot.stage == "shell")
        loaded = [ball for ball in floor.in_stock() if ball.lot in floor.stopped]
        try_to_ship(story, loaded[:40], "SH-09-HELD")

    story.do(on(42, "10:10"), stop)


def _recall(story: Story, floor: Floor) -> None:
    """A colour card was thought to be wrong: a recall, which two people lift once it proves right."""
    placed = HoldPlaced(
        at=told(on(34, "11:00")),
        hold=RECALL_HOLD,
        reason="colour-card-in-doubt",
        node=f"lot:{bends.RECALLED_LOT}",
        recall=True,
    )
    story.say(on(34, "11:00"), "quality-1", "recall", [placed])
    story.do(on(34, "11:00"), lambda: floor.stopped.add(bends.RECALLED_LOT))
    for number, workday in enumerate((36, 37)):
        lifted = HoldLifted(at=told(on(workday, "15:30")), hold=RECALL_HOLD, reason="colour-card-proved-right")
        story.say(on(workday, "15:30"), f"quality-{1 + number}", f"recall-lifted-{number}", [lifted])
    story.do(on(37, "15:40"), lambda: floor.stopped.discard(bends.RECALLED_LOT))


def _doubtful_cure(story: Story, floor: Floor) -> None:
    """The two clocks are compared: the cure was long enough; the lot is conceded on that ground."""
    lot = bends.DOUBTFUL_LOT
    floor.stopped.add(lot)

    def concede() -> None:
        steps = (f"poured-{lot}", f"worked-{lot}-pin-filled", f"worked-{lot}-turned")
        _concede(story, lot, steps, "clocks-compared-cure-kept")
        floor.stopped.discard(lot)
        release_lot(story, floor, lot, f"release-again-{lot}")

    story.do(on(53, "14:10"), concede)


def _prototype(story: Story) -> None:
    """A second construction of one model, before any body has seen it."""
    model = MODEL_OF["HAYBARN"]
    record = ModelDefined(
        at=told(on(19, "15:00")),
        model=model.model,
        name=model.name,
        brand=BRAND,
        gtin=model.gtin,
        revision=2,
        core="asymmetric",
    )
    story.say(on(19, "15:00"), "quality-2", "second-construction", [record])


def _shift_checks(story: Story) -> None:
    """Every Monday the scales are checked on a master."""
    for week in range(13):
        at = on(week * 5, "06:50")
        checks = [GaugeChecked(at=told(at), gauge=f"MS-{number}", master="MASTER-15", good=True) for number in (1, 2)]
        story.say(at, "gauges", f"shift-check-{week}", checks)
