"""From batch to turned shell: what the moulding and finishing stations say of one round."""

from __future__ import annotations

from fixtures_demo import bends
from fixtures_demo.days import DEMO_NOW, HOUR, MINUTE, told
from fixtures_demo.rounds import Round, ShellLot
from fixtures_demo.stock import Stock
from fixtures_demo.story import Story
from ledger.line.lot_changes import LotWorked
from ledger.line.materials import MaterialDraw
from ledger.line.moulding import BlocksMoulded, ColourDraw, CoresPoured, PieceDraw, ShellsPoured

BLOCK_KG, CORE_KG, SHELL_KG = 2.4, 3.1, 0.62
SHELL_DEMOULD = 330_000


def plan_batches(rounds: list[Round], stock: Stock) -> tuple[dict[str, str], str]:
    """Mix what every pour needs, in order of time; the batch of each pour, and the resin lot that is held later."""
    wanted: list[tuple[int, str, float, str]] = []
    for one in rounds:
        blocks = one.cores + sum(one.rejects[:2])
        wanted.append((one.blocks_ms, "Block compound", BLOCK_KG * (blocks + 2), f"block {one.name}"))
        wanted.append((one.cores_ms, "Core compound", CORE_KG * (blocks + 2), f"core {one.name}"))
        for side, began in enumerate(one.shells_ms):
            kg = SHELL_KG * (one.cores_in[side] + 3)
            wanted += [(began, "Shell compound", kg, f"shell {one.shell_lot(side)} {half}") for half in (0, 1)]
    held, batches = "", dict[str, str]()
    for began, compound, kg, key in sorted(wanted):
        if key == f"core {bends.RESIN_FROM}":
            held = stock.open_next("Core resin", began)
        elif key == f"core {bends.RESIN_TO}":
            stock.open_next("Core resin", began)
        batches[key] = stock.mix(compound, kg, began - 45 * MINUTE, f"MX-{1 + len(batches) % 2}")
    return batches, held


def tell_round(story: Story, one: Round, batches: dict[str, str]) -> list[ShellLot]:
    """Say the pours of a round and the work on its lots; the shell lots that come of it and were turned."""
    _tell_blocks(story, one, batches[f"block {one.name}"])
    _tell_cores(story, one, batches[f"core {one.name}"])
    shells = [_tell_shells(story, one, side, batches) for side in range(len(one.cores_in))]
    return [shell for shell in shells if shell.turned_ms < DEMO_NOW]


def _tell_blocks(story: Story, one: Round, batch: str) -> None:
    ended = one.blocks_ms + one.block_s * 1000
    lot, good = f"BL-{one.name}", one.cores + one.rejects[1]
    poured = BlocksMoulded(
        at=told(ended),
        lot=lot,
        model=one.model.model,
        line="LINE-1",
        mould_set="BM-2",
        mixer="MX-1",
        began_at=told(one.blocks_ms),
        count=good,
        rejects=one.rejects[0],
        batches=(MaterialDraw(lot=batch, kg=f"{BLOCK_KG * (good + one.rejects[0]):.3f}"),),
    )
    story.say(ended, "moulding", f"poured-{lot}", [poured])
    _work(story, lot, "cleaned", ended + 40 * MINUTE)


def _tell_cores(story: Story, one: Round, batch: str) -> None:
    ended = one.cores_ms + 45 * MINUTE
    lot, blocks = f"CL-{one.name}", one.cores + one.rejects[1]
    poured = CoresPoured(
        at=told(ended),
        lot=lot,
        model=one.model.model,
        line="LINE-1",
        mould_set="CM-1",
        mixer="MX-2",
        began_at=told(one.cores_ms),
        count=one.cores,
        rejects=one.rejects[1],
        blocks=(PieceDraw(lot=f"BL-{one.name}", count=blocks),),
        batches=(MaterialDraw(lot=batch, kg=f"{CORE_KG * blocks:.3f}"),),
    )
    story.say(ended + one.said_late_ms, "moulding", f"poured-{lot}", [poured])
    _work(story, lot, "trimmed", ended + 4 * HOUR)
    _work(story, lot, "tumbled", ended + 6 * HOUR)


def _tell_shells(story: Story, one: Round, side: int, batches: dict[str, str]) -> ShellLot:
    began, lot = one.shells_ms[side], one.shell_lot(side)
    count, rejects = one.cores_in[side], one.rejects[2 + side]
    poured = ShellsPoured(
        at=told(began + SHELL_DEMOULD),
        lot=lot,
        model=one.model.model,
        line=f"LINE-{2 + side}",
        mould_set=f"SM-{1 + one.weight_class % 4}",
        mixer="MX-2",
        began_at=told(began),
        count=count - rejects,
        rejects=rejects,
        revision=one.revision,
        weight_class=one.weight_class,
        cores=bends.cores_of(lot, f"CL-{one.name}", count),
        colours=tuple(
            ColourDraw(colour=colour, lot=batches[f"shell {lot} {half}"], kg=f"{SHELL_KG * count:.3f}")
            for half, colour in enumerate(one.model.colours)
        ),
        clock_error_s=bends.clock_error_of(lot),
    )
    story.say(began + SHELL_DEMOULD, "moulding", f"poured-{lot}", [poured])
    _work(story, lot, "hole-drilled", began + 2 * HOUR)
    turned = bends.turned_at(lot, began + SHELL_DEMOULD)
    if turned < DEMO_NOW:
        for number, step in enumerate(("pin-filled", "turned", "finished")):
            _work(story, lot, step, turned + number * HOUR)
    return ShellLot(lot, one.model, one.weight_class, count - rejects, turned, 1 + side)


def _work(story: Story, lot: str, step: str, at_ms: int) -> None:
    ended = at_ms + 25 * MINUTE
    record = LotWorked(
        at=told(ended),
        lot=lot,
        step=step,  # type: ignore[arg-type]  # one of the steps
        began_at=told(at_ms),
        station="FIN-1",
    )
    story.say(ended, "finishing", f"worked-{lot}-{step}", [record])
