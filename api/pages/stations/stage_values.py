"""What the page of a stage shows: the lot at hand, its steps and whether each may be begun, what may be poured, what was said.

One look at the store, beside the asking of the book.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import msgspec

from api.pages.stations import blocks, cores, finishing, mixing, shells
from api.pages.stations.acts import Act
from api.parts import Parts
from ledger.access.roles import MAY_SAY
from ledger.access.tokens import Account
from ledger.application.asking import AskAnswer
from ledger.application.at_station import (
    AtHand,
    OpenLot,
    at_hand,
    breaches_of_entry,
    demould_s,
    entry_known,
    last_making,
    last_said,
    lots_named,
    lots_open,
    next_lot_id,
)
from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.line.lot_changes import LotWorked
from ledger.line.rows import Model
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import every_row
from ledger.store.station_lots import newest_lot


class StagePage(NamedTuple):
    """One station page: the stages of lots that it works on and takes from, its steps and acts, and the first lot id."""

    stage: str
    works_on: tuple[str, ...]
    takes: tuple[str, ...]
    steps: tuple[str, ...]
    acts: tuple[Act, ...]
    first_lot: str
    cautions: tuple[str, ...]

    def act(self, name: str) -> Act | None:
        """The act of this name."""
        return next((act for act in self.acts if act.name == name), None)


STAGE_PAGES = {
    page.stage: page
    for page in (
        StagePage("mixing", ("batch", "material"), ("material",), (), mixing.ACTS, "BT-1", ("pouring",)),
        StagePage("blocks", ("block",), ("batch",), blocks.STEPS, blocks.ACTS, "BL-1", ("pouring",)),
        StagePage("cores", ("core",), ("block", "batch"), cores.STEPS, cores.ACTS, "CL-1", ("pouring", "turning")),
        StagePage("shells", ("shell",), ("core", "batch"), shells.STEPS, shells.ACTS, "SL-1", ("pouring", "turning")),
        StagePage("finishing", ("shell",), (), finishing.STEPS, finishing.ACTS, "", ("turning", "spinning")),
    )
}  # fmt: skip
"""The pages of this module, in the order in which a ball passes them."""

TURNED = "turned"


class StepSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A step of the stage on the lot at hand. ``done_ms``: when it was done last. ``reasons`` stand against it now."""

    step: str
    done_ms: int | None
    may: bool
    earliest_ms: int | None
    reasons: tuple[tuple[str, str], ...]


def stage_of_lot(lot_stage: str, steps: Sequence[str] = ()) -> str:
    """The page on which a lot of a stage is worked on next."""
    if lot_stage == "shell":
        return "finishing" if TURNED in steps else "shells"
    return {"material": "mixing", "batch": "blocks", "block": "blocks", "core": "cores"}.get(lot_stage, "")


class Wanted(NamedTuple):
    """What a page is asked for: the lot at hand, the lots scanned to be poured from, and the entry that was just made."""

    lot: str
    taken: Sequence[str]
    done: str


def page_values(parts: Parts, page: StagePage, wanted: Wanted, account: Account) -> dict[str, Any]:
    """Everything of the book that a stage's template is given. Raises NotFound."""
    lot = wanted.lot
    now_ms = parts.book.clock_ms()
    with open_reader(parts.book.store) as reader:
        hand = at_hand(reader, lot) if lot else None
        values: dict[str, Any] = {
            "stage": page.stage,
            "cautions": page.cautions,
            "hand": hand,
            "said": last_said(reader, f"lot:{lot}", account, now_ms) if lot else (),
            "works_open": lots_open(reader, page.works_on, now_ms),
            **_pour_values(reader, page, hand, wanted.taken, now_ms),
            "done": entry_known(reader, wanted.done),
            "done_breaches": breaches_of_entry(reader, wanted.done),
        }
    values["steps"] = _steps(parts, page, hand, account, now_ms) if hand is not None else ()
    values["may"] = {act.name: not MAY_SAY[act.kind].isdisjoint(account.roles) for act in page.acts}
    return values


def _pour_values(
    reader: Reader, page: StagePage, hand: AtHand | None, taken: Sequence[str], now_ms: int
) -> dict[str, Any]:
    """What the form of a pour offers, where the page has one and no lot is at hand."""
    if hand is not None or page.stage == "finishing":
        return {"taken": (), "takes_open": (), "models": (), "defaults": {}}
    scanned = lots_named(reader, taken, now_ms)
    stage = page.works_on[0]
    models: list[Model] = every_row(reader.transaction, Model)
    making = last_making(reader, stage)
    parents = [lot for lot in scanned if lot.model is not None]
    defaults: dict[str, int | str] = {
        "lot": next_lot_id(reader, stage, page.first_lot),
        "line": making.line or "" if making else "",
        "mould_set": making.mould_set or "" if making else "",
        "mixer": making.mixer or "" if making else "",
        "model": parents[0].model or "" if parents else "",
        **_shell_defaults(reader, stage, models, parents),
    }
    if page.stage == "mixing":
        defaults["material_lot"] = next_lot_id(reader, "material", "MT-1")
    return {
        "taken": scanned,
        "takes_open": lots_open(reader, page.takes, now_ms) if page.takes else (),
        "models": [(model, demould_s(reader, model.model, stage, now_ms)) for model in models],
        "defaults": defaults,
    }


def _shell_defaults(
    reader: Reader, stage: str, models: Sequence[Model], parents: Sequence[OpenLot]
) -> dict[str, int | str]:
    """The revision of the parents' model, and the class of the shell lot that was poured last."""
    if stage != "shell":
        return {}
    newest = newest_lot(reader.transaction, stage)
    revisions = {model.model: model.revision for model in models}
    return {
        "revision": revisions.get(parents[0].model or "", "") if parents else "",
        "weight_class": "" if newest is None else newest.weight_class or "",
    }


def _steps(parts: Parts, page: StagePage, hand: AtHand, account: Account, now_ms: int) -> tuple[StepSeen, ...]:
    """The steps of the page in the order of the work, each asked of the book by itself."""
    at = format_instant(Instant(now_ms, 0))
    asked = [
        LotWorked(at=at, lot=hand.lot, step=step, began_at=at, station="ASKED")  # type: ignore[arg-type]  # of `Step`
        for step in page.steps
    ]
    if not asked or hand.stage not in page.works_on:
        return ()
    answers = parts.book.ask(asked, account, apart=True)
    done = {step.step: step.ended_ms for step in hand.steps}
    return tuple(_step(step, done.get(step), answer) for step, answer in zip(page.steps, answers, strict=True))


def _step(step: str, done_ms: int | None, answer: AskAnswer) -> StepSeen:
    return StepSeen(
        step=step,
        done_ms=done_ms,
        may=answer.may,
        earliest_ms=None if answer.earliest is None else instant_ms(answer.earliest),
        reasons=tuple((reason.said, reason.mend) for reason in answer.reasons),
    )
