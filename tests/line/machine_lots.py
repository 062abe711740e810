"""What the random plant says of its lots: drums, batches, pours, what happens to a lot, and how warm it was."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.line.cure_temperatures import STAGE_OF_LOT, TemperatureLogged
from ledger.line.inspections import Inspection
from ledger.line.lot_changes import (
    LotClosed,
    LotRecounted,
    LotsMerged,
    LotSplit,
    LotWorked,
    PartOfLot,
    PiecesLost,
    balls_root,
)
from ledger.line.materials import OwnLot
from ledger.line.record import Record
from ledger.line.rows import Lot, Unit
from ledger.line.temperature_log import NINTHS, Logged
from ledger.line.temperature_summary import summarize
from tests.line.machine_ground import COUNTS, DIGESTS, LOW_STAGES, STEPS, PlantGround
from tests.line.making import batch, blocks, cores, material, reading, sample, shells
from tests.strategies import shifted


class LotRules(PlantGround):
    """Steps about lots."""

    @rule(data=st.data())
    def mix(self, data: st.DataObject) -> None:
        """A drum, sometimes of own lots, and a batch of it."""
        own = data.draw(st.sampled_from([*self.lots(*LOW_STAGES), ""]))
        drum, now = self.fresh("MAT"), self.now()
        made = {"from_lots": (OwnLot(lot=own, amount=data.draw(COUNTS)),)} if own else {}
        drawn = batch(
            self.fresh("MIX"),
            (drum, "10"),
            (self.pick(data, self.lots("material")), "2"),
            began_at=now,
            at=now,
            density="3.2",
        )
        self.say(material(drum, at=now, kg="50", note="brought by somebody", **made), drawn)

    @rule(data=st.data(), count=COUNTS, rejects=st.integers(0, 2), minutes=st.integers(2, 40))
    def mould(self, data: st.DataObject, count: int, rejects: int, minutes: int) -> None:
        """Blocks, demoulded too soon or too late at times."""
        drawn = batch("X", (self.pick(data, self.lots("batch")), "10")).draws
        ended = shifted(self.now(), minutes)
        lot = self.pick(data, self.lots("block")) if count == 6 else self.fresh("BL")
        self.say(blocks(lot, count, rejects=rejects, began_at=self.now(), at=ended, batches=drawn))

    @rule(data=st.data(), several=st.integers(1, 2), shell=st.booleans(), good=st.integers(-1, 0))
    def pour(self, data: st.DataObject, several: int, shell: bool, good: int) -> None:  # noqa: FBT001  # drawn by name
        """Cores of blocks or shells of cores, of one or two lots, some of them with positions."""
        drawn = [(self.pick(data, self.lots("core" if shell else "block")), data.draw(COUNTS)) for _ in range(several)]
        if shell and data.draw(st.booleans()):
            drawn = [(lot, count, 1, count) for lot, count in drawn]  # type: ignore[misc]  # with positions
        fields: dict[str, Any] = {"began_at": self.now(), "at": shifted(self.now(), data.draw(st.integers(3, 40)))}
        fields["count"] = max(1, sum(draw[1] for draw in drawn) + good)
        pour = shells(self.fresh("SL"), *drawn, **fields) if shell else cores(self.fresh("CL"), *drawn, **fields)
        self.say(pour)

    @rule(data=st.data(), count=COUNTS, what=st.sampled_from(["split", "merge", "lose", "recount", "work", "close"]))
    def change_lot(self, data: st.DataObject, count: int, what: str) -> None:
        """What happens to a lot after it was made."""
        now = self.now()
        stage = data.draw(st.sampled_from(LOW_STAGES))
        if what in {"split", "merge"} and data.draw(st.booleans()):
            count = 1
        lot, other = self.pick(data, self.lots(stage)), self.pick(data, self.lots(stage))
        units = [(unit.unit, unit.serial) for unit in self.rows(Unit) if unit.lot == lot]
        parts = (PartOfLot(lot=lot, count=count), PartOfLot(lot=other, count=count))
        records: dict[str, Record] = {
            "split": LotSplit(at=now, lot=lot, into=self.fresh("SP"), count=count),
            "merge": LotsMerged(at=now, lots=parts, into=self.fresh("ME")),
            "lose": PiecesLost(at=now, lot=lot, count=count, how="scrap", reason="void"),
            "recount": LotRecounted(at=now, lot=lot, left=count, reason="count"),
            "work": LotWorked(at=now, began_at=now, lot=lot, step=data.draw(st.sampled_from(STEPS)), station="T-1"),
            "close": LotClosed(at=now, lot=lot, count=len(units), balls_root=balls_root(units)),
        }
        self.say(records[what])

    @precondition(lambda self: self.lots("shell"))
    @rule(data=st.data(), accepted=st.booleans())
    def judge_sample(self, data: st.DataObject, accepted: bool) -> None:  # noqa: FBT001  # drawn by name
        """A lot's sample, accepted or not, and a reading of the lot."""
        lot = data.draw(st.sampled_from(self.lots("shell")))
        readings = (reading("hardness", "75"),)
        bad = int(not accepted)
        self.say(Inspection(at=self.now(), lot=lot, station="Q-1", readings=readings))
        self.say(sample(lot=lot, at=self.now(), accepted=accepted, nonconforming=bad))

    @rule(
        data=st.data(),
        degrees=st.lists(st.integers(14, 30), min_size=2, max_size=5),
        step_s=st.sampled_from([1_800, 5_400]),
        whole=st.booleans(),
    )
    def log_temperatures(self, data: st.DataObject, degrees: list[int], step_s: int, whole: bool) -> None:  # noqa: FBT001  # drawn by name
        """The log of a rack: of the stage of its lot mostly, cold or warm or with gaps at times; sent again at times."""
        lot = self.plant.row(Lot, self.pick(data, self.lots(*LOW_STAGES)))
        stages: list[Any] = [stage for stage, of in STAGE_OF_LOT.items() if lot is None or of == lot.stage]
        began_ms = instant_ms(self.now()) if lot is None or not whole else lot.ended_ms
        readings = [Logged(began_ms + place * step_s * 1_000, one * NINTHS) for place, one in enumerate(degrees)]
        logged = TemperatureLogged(
            at=format_instant(Instant(readings[-1].at_ms)),
            lot="NONE" if lot is None else lot.lot,
            stage=data.draw(st.sampled_from([*stages, "final-cure"])),
            digest=data.draw(st.sampled_from(DIGESTS)),
            length=99,
            summary=summarize(readings, 3_600, low_c="18", high_c="27"),
        )
        self.say(logged)
