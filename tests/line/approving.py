"""Approval files as they are said in tests of the line: a plant with balls to draw, and the records of a file."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from ledger.book.entry import entry_hash
from ledger.book.merkle import root
from ledger.line.approval_draw import (
    Candidate,
    candidate_counts,
    candidate_list,
    draw_samples,
    next_drawn,
    sample_seed,
)
from ledger.line.approval_files import ApprovalFileOpened
from ledger.line.approval_frozen import frozen_document, frozen_needs
from ledger.line.approval_items import ApprovalItemAnswered, Paper
from ledger.line.approval_rows import ApprovalAnnouncement, ApprovalFile, ApprovalFreeze, ApprovalSample
from ledger.line.approval_samples import (
    ClassAnnounced,
    ClassDrawn,
    PassedOver,
    SampleReplaced,
    SamplesAnnounced,
    SamplesDrawn,
    announced_classes,
    candidates_in,
    list_digest,
)
from ledger.line.approval_signing import (
    ApprovalFileAnswered,
    ApprovalFileFrozen,
    ApprovalFileHandedOver,
    ApprovalFileSigned,
    signing_text,
)
from ledger.line.checklists import ChecklistAdopted
from ledger.line.fact import parse_address
from ledger.line.rows import Unit
from ledger.line.state import State
from tests.line.making import RULEBOOK, at, engrave, stocked_plant
from tests.line.plant import Entered, Plant

CHECKLIST = "c" * 64
DOSSIER = "d" * 64
PAPER = "e" * 64
SIGNERS = ("a-john", "a-kate")


def approval_plant(balls: int = 8) -> Plant:
    """SL-1 of 20, of which so many are engraved as U-1 and on, and a checklist in force."""
    plant = stocked_plant()
    plant.submit(ChecklistAdopted(at=at(2), checklist="ours", digest=CHECKLIST))
    for number in range(1, balls + 1):
        engrave(plant, f"U-{number}", place=number)
    return plant


def opened(file: str = "AF-1", **fields: Any) -> ApprovalFileOpened:
    """A file about ORBIT at revision 1 in 14 and 15 lb, before body A."""
    said: dict[str, Any] = {"at": at(20), "file": file, "model": "ORBIT", "revision": 1, "body": "body-a"}
    return ApprovalFileOpened(**{**said, "classes": (15, 14), "rulebook": RULEBOOK, "checklist": CHECKLIST, **fields})


def candidates(plant: Plant, file: str = "AF-1", lots: tuple[str, ...] = ("SL-1",), **fields: Any) -> list[Candidate]:
    """The balls that can be drawn now, as a fold over the rows gives them."""
    units = [unit for lot in lots for unit in plant.tables.where(Unit, "lot", lot)]
    taken = [row.unit for row in plant.tables.where(ApprovalSample, "file", file)]
    return candidates_in(units, fields.get("states", ("engraved", "released")), fields.get("grades", ()), taken)


def announced(plant: Plant, file: str = "AF-1", balls: int = 3, **fields: Any) -> SamplesAnnounced:
    """So many balls of 15 lb out of all of SL-1 that are engraved or released."""
    lots, states = fields.pop("lots", ("SL-1",)), fields.pop("states", ("engraved", "released"))
    grades = fields.get("grades", ())
    found = [one for one in candidates(plant, file, lots, states=states, grades=grades) if one.weight_class == 15]
    count, own = candidate_counts(found).get(15, (0, "0" * 64))
    one = ClassAnnounced(weight_class=15, balls=balls, candidates=count, root=own)
    said: dict[str, Any] = {"at": at(21), "file": file, "lots": lots, "states": states, "rule": "draw-1"}
    return SamplesAnnounced(**{**said, "candidates": list_digest(candidate_list(found)), "classes": (one,), **fields})


def seed_of(plant: Plant, announcement: str) -> str:
    """The seed of an announcement, from the entries of the book themselves."""
    size = parse_address(announcement)[0] + 1
    return sample_seed(root([entry_hash(raw) for raw in plant.entries[:size]]))


def drawn(plant: Plant, announcement: str, found: list[Candidate], **fields: Any) -> SamplesDrawn:
    """What the announcement draws out of the candidates that it was made with."""
    row: ApprovalAnnouncement = plant.row(ApprovalAnnouncement, announcement)
    seed = seed_of(plant, announcement)
    wanted = {weight_class: one.balls for weight_class, one in announced_classes(row).items()}
    balls = draw_samples(found, wanted, seed)
    said: dict[str, Any] = {"at": at(21, "09:00"), "file": row.file, "announcement": announcement, "seed": seed}
    said["tree_size"] = parse_address(announcement)[0] + 1
    said["classes"] = tuple(ClassDrawn(weight_class=pounds, units=units) for pounds, units in balls.items())
    return SamplesDrawn(**{**said, **fields})


def draw(plant: Plant, file: str = "AF-1", balls: int = 3, **fields: Any) -> Entered:
    """Announce and draw; the answer to the draw."""
    found = candidates(plant, file)
    announcement = plant.submit(announced(plant, file, balls, **fields)).address
    return plant.submit(drawn(plant, announcement, found))


def replaced(plant: Plant, unit: str, *passed_over: str, **fields: Any) -> SampleReplaced:
    """The ball replaced by the next in the order of its draw, after those that are passed over."""
    samples = plant.tables.where(ApprovalSample, "file", "AF-1")
    own = next(row for row in samples if row.unit == unit)
    known = [row.unit for row in plant.tables.where(Unit, "lot", "SL-1")]
    seed = seed_of(plant, own.announcement)
    coming = next_drawn(known, seed, {row.unit for row in samples})
    over = tuple(PassedOver(unit=one, reason="sold") for one in passed_over)
    instead = next(one for one in coming if one not in passed_over)
    said: dict[str, Any] = {"at": at(22), "file": "AF-1", "unit": unit, "instead": instead, "reason": "dropped"}
    return SampleReplaced(**{**said, "passed_over": over, **fields})


def item(**fields: Any) -> ApprovalItemAnswered:
    """The data sheet of AF-1."""
    said: dict[str, Any] = {"at": at(22), "file": "AF-1", "item": "data-sheet"}
    return ApprovalItemAnswered(**{**said, "documents": (Paper(name="data sheet", digest=PAPER),), **fields})


def document(plant: Plant, file: str = "AF-1") -> bytes:
    """The document of a file as it stands."""
    state = State()
    plant.fill(state, lambda: frozen_needs(file, state))
    return frozen_document(file, state)


def frozen(plant: Plant, **fields: Any) -> ApprovalFileFrozen:
    """AF-1 frozen as it stands."""
    said: dict[str, Any] = {"at": at(23), "file": "AF-1", "document": sha256(document(plant)).hexdigest()}
    return ApprovalFileFrozen(**{**said, **fields})


def signed(plant: Plant, **fields: Any) -> ApprovalFileSigned:
    """AF-1 signed as it was frozen last."""
    row: ApprovalFile = plant.row(ApprovalFile, "AF-1")
    freezes = plant.tables.where(ApprovalFreeze, "file", "AF-1")
    freeze = max(freezes, key=lambda one: parse_address(one.freeze))
    said: dict[str, Any] = {"at": at(24), "file": "AF-1", "freeze": freeze.freeze, "says": signing_text(row, freeze)}
    return ApprovalFileSigned(**{**said, **fields})


def handed_over(plant: Plant, **fields: Any) -> ApprovalFileHandedOver:
    """The dossier of AF-1 sent."""
    said: dict[str, Any] = {"at": at(25), "file": "AF-1", "freeze": plant.row(ApprovalFile, "AF-1").frozen}
    return ApprovalFileHandedOver(**{**said, "dossier": DOSSIER, "to": "Body A, Example Street", **fields})


def answered(**fields: Any) -> ApprovalFileAnswered:
    """Body A wants more."""
    return ApprovalFileAnswered(**{"at": at(30), "file": "AF-1", "answer": "more-wanted", **fields})


def frozen_plant() -> Plant:
    """AF-1 with three samples and its data sheet, frozen by a-mary."""
    plant = approval_plant()
    plant.submit(opened())
    draw(plant)
    plant.submit(item())
    plant.submit(frozen(plant))
    return plant


def handed_plant() -> Plant:
    """The same, signed by two others and handed over."""
    plant = frozen_plant()
    for author in SIGNERS:
        plant.submit(signed(plant), author=author)
    plant.submit(handed_over(plant))
    return plant
