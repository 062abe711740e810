"""Approval files told through the application: a plant with a checklist of its own, balls to draw, and a file at each step."""

from __future__ import annotations

from typing import Any

from ledger.access.tokens import Account
from ledger.application.adopting import checklist_adoption
from ledger.application.approval_files import ApprovalView, approval_view
from ledger.application.approving import Announce, ApprovalDesk
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.store.answer import Entered
from ledger.store.blobs import put_blob
from ledger.store.reader import open_reader
from tests.application.files import PDF, png
from tests.application.floor import GOOD, Floor, at, engraved, inspected

LIST = b"""format = 1
id = "own-submission"
body = "Body A"
title = "What goes with a model"
proportion_points = 5

[[item]]
id = "samples"
text = "Three balls of each class, measured"
balls = 3
each_class = true
quantities = ["mass", "hardness"]
provenance = "read"
source = "plant standard"

[[item]]
id = "axis"
text = "The high axis marked"
balls = 1
quantities = ["mark_to_high_axis"]
core = "asymmetric"
provenance = "read"
source = "plant standard"

[[item]]
id = "photos"
text = "A photo of the mark of each ball"
photos = ["mark"]
photos_of = "ball"
provenance = "read"
source = "plant standard"

[[item]]
id = "sheet"
text = "Data sheet"
documents = ["data sheet"]
fields = ["coverstock"]
statement = "the recipe"
provenance = "read"
source = "plant standard"
"""
BALLS = tuple(f"U-{number}" for number in range(1, 9))


def approval_floor(floor: Floor, balls: int = 8) -> str:
    """Adopt the checklist, and engrave and measure so many balls; the checklist's digest."""
    adoption, entered = floor.book.adopt(checklist_adoption, LIST, "checklist", floor.lead)
    entered.result(30)
    numbered = list(enumerate(BALLS[:balls], 1))
    if not numbered:
        return adoption.digest
    floor.say(*(engraved(unit, f"P-{unit}", place=place) for place, unit in numbered))
    floor.say(*(inspected(unit, 71, **GOOD) for _, unit in numbered))
    return adoption.digest


def opened(checklist: str, file: str = "AF-1", **fields: Any) -> dict[str, Any]:
    """A file about M1 at 15 lb."""
    said = {"kind": "approval-file-opened", "at": at(200), "file": file, "model": "M1", "revision": 1, "body": "body-a"}
    rulebook = shipped_rulebooks()["usbc-2026"].digest
    return {**said, "classes": [15], "rulebook": rulebook, "checklist": checklist, **fields}


def desk(floor: Floor) -> ApprovalDesk:
    """The desk over the floor's book."""
    return ApprovalDesk(floor.book)


def drawn_file(floor: Floor, balls: int = 3) -> str:
    """AF-1 opened and so many balls of it drawn; the checklist's digest."""
    checklist = approval_floor(floor)
    floor.say(opened(checklist))
    announce(floor, balls)
    desk(floor).draw("AF-1", "draw", floor.lead).result(30)
    return checklist


def announce(floor: Floor, balls: int = 3, key: str = "announce", **wanted: Any) -> Entered:
    """So many balls of 15 lb announced."""
    entered: Entered = desk(floor).announce("AF-1", Announce({15: balls}, **wanted), key, floor.lead).result(30)
    return entered


def view(floor: Floor, file: str = "AF-1") -> ApprovalView:
    """A file as it stands."""
    with open_reader(floor.book.store) as reader:
        return approval_view(reader, file)


def samples(floor: Floor) -> list[str]:
    """The samples that stand, in the order of the draw."""
    return [line.unit for line in view(floor).page.samples if line.state == "in"]


def stored(floor: Floor, raw: bytes, media_type: str = "application/pdf") -> str:
    """The digest of bytes that are stored."""
    return put_blob(floor.book.store, raw, media_type).digest


def answered(item: str, **fields: Any) -> dict[str, Any]:
    """An answer to an item of AF-1."""
    return {"kind": "approval-item-answered", "at": at(300), "file": "AF-1", "item": item, **fields}


def answer_all(floor: Floor) -> None:
    """Every item of the checklist answered."""
    paper, photo = stored(floor, PDF), stored(floor, png(), "image/png")
    sheet = {"documents": [{"name": "data sheet", "digest": paper}], "statement": "recipe 7 as mixed"}
    floor.say(answered("sheet", **sheet, fields=[{"name": "coverstock", "value": "urethane 5"}]))
    floor.say(answered("photos", photos=[{"name": "mark", "digest": photo, "unit": unit} for unit in samples(floor)]))


def others(floor: Floor) -> list[Account]:
    """Two people more with the role of quality."""
    return [floor.book.open_account(name, ["quality"])[0] for name in ("Second", "Third")]


def frozen_file(floor: Floor, *left_open: str) -> str:
    """AF-1 complete and frozen by the lead; the freeze."""
    drawn_file(floor)
    answer_all(floor)
    entered: Entered = desk(floor).freeze("AF-1", left_open, "freeze", floor.lead).result(30)
    return entered.addresses[0]


def handed_file(floor: Floor) -> str:
    """The same, signed by two others and handed over; the freeze."""
    freeze = frozen_file(floor)
    for number, account in enumerate(others(floor)):
        desk(floor).sign("AF-1", freeze, f"sign-{number}", account).result(30)
    sent = {"kind": "approval-file-handed-over", "at": at(400), "file": "AF-1", "freeze": freeze, "to": "Body A"}
    floor.say({**sent, "dossier": "d" * 64})
    return freeze
