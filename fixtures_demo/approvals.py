"""Two approval files: the second construction of one model, carried through to its answer; and one that waits for readings.

Which balls are drawn follows from the root of the book's tree, so that they are others each time the plant is built: keys of
what is said about them begin with ``af-``.  Body, checklist, numbers and papers are invented.
"""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import msgspec

from fixtures_demo.days import MINUTE, on, told
from fixtures_demo.models import MODEL_OF, RULEBOOK, model_records
from fixtures_demo.photo import axis_photo
from fixtures_demo.plant import chance
from fixtures_demo.story import Story
from ledger.application.adopting import checklist_adoption
from ledger.application.approval_stored import stored_file
from ledger.application.approving import Announce, ApprovalDesk, Replace
from ledger.application.dossier_wanted import DossierWanted
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.evidence.approval_facts import ApprovalRows
from ledger.line.approval_files import ApprovalFileOpened
from ledger.line.approval_items import ApprovalItemAnswered, Paper, Photo, SheetField
from ledger.line.approval_signing import ApprovalFileAnswered, ApprovalFileHandedOver
from ledger.line.gauges import GaugeCalibrated, GaugeRegistered
from ledger.line.inspections import Inspection, Reading
from ledger.line.models import ApprovalEntered, PlanSet
from ledger.line.record import Record
from ledger.store.blobs import put_blob
from ledger.store.reader import open_reader

CLERK, SIGNERS = "approvals", ("quality-1", "quality-2")
CHECKLIST_FILE = Path(__file__).with_name("submission.toml")
DONE, WAITING = "AF-HAYBARN-2", "AF-GATEPOST-1"
BODY = "demo-body"
POUNDS, BALLS, READ_OF_WAITING = 15, 5, 3

MARKS = {"pin_to_low_axis": ("PA-1", 0.35), "mark_to_high_axis": ("MA-1", 0.6)}
"""The gauges of the marks, and the middle of what they read, inches; invented."""


def tell_approvals(story: Story, seed: int) -> None:
    """Say everything about both files, and the change of plan after the first was answered."""
    desk = _Clerk(story, seed)
    story.say(on(26, "09:00"), "gauges", "axis-gauges", _gauges())
    story.do(on(27, "15:00"), desk.adopt)
    story.do(on(27, "15:10"), lambda: desk.open(DONE, "HAYBARN", 2))
    story.do(on(28, "09:00"), lambda: desk.announce(DONE))
    story.do(on(28, "09:20"), lambda: desk.draw(DONE))
    story.do(on(28, "13:00"), lambda: desk.read_marks(DONE, BALLS))
    story.do(on(29, "10:00"), lambda: desk.replace(DONE))
    story.do(on(29, "14:00"), lambda: desk.read_marks(DONE, BALLS))
    story.do(on(30, "10:00"), lambda: desk.answer_items(DONE))
    story.do(on(31, "10:00"), lambda: desk.freeze(DONE))
    for number, who in enumerate(SIGNERS):
        story.do(on(32 + number, "11:00"), lambda who=who: desk.sign(DONE, who))  # type: ignore[misc]  # bound at once
    story.do(on(34, "15:00"), lambda: desk.hand_over(DONE))
    story.do(on(57, "09:30"), lambda: desk.enter_answer(DONE))
    story.do(on(62, "16:00"), lambda: desk.open(WAITING, "GATEPOST", 1))
    # After the last load of the story, so that which balls are drawn changes nothing else in it.
    story.do(on(64, "16:00"), lambda: desk.announce(WAITING))
    story.do(on(64, "16:20"), lambda: desk.draw(WAITING))
    story.do(on(64, "17:00"), lambda: desk.read_marks(WAITING, READ_OF_WAITING, low_only_last=True))
    story.say(on(64, "17:30"), "quality-1", "af-plan", lambda: [_longer_demould()])


def _gauges() -> list[Record]:
    at, due = on(26, "08:30"), told(on(64, "18:00") + 300 * 24 * 60 * MINUTE)
    records: list[Record] = []
    for quantity, (gauge, _) in MARKS.items():
        records += [
            GaugeRegistered(at=told(at), gauge=gauge, quantity=quantity, unit="in", resolution="0.01"),
            GaugeCalibrated(at=told(at), gauge=gauge, as_found_good=True, due_at=due, expanded="0.03", k="2"),
        ]
    return records


def _longer_demould() -> PlanSet:
    """The plan of the model that was answered for, with other windows for demoulding its shells."""
    (plan,) = (one for one in model_records(MODEL_OF["HAYBARN"]) if isinstance(one, PlanSet))
    windows = tuple(
        msgspec.structs.replace(window, max_s=9 * 60) if window.stage == "shell-demould" else window
        for window in plan.windows
    )
    return msgspec.structs.replace(plan, at=told(on(64, "17:30")), windows=windows)


class _Clerk:
    """Who works on the files: steps as the story comes to them."""

    def __init__(self, story: Story, seed: int) -> None:
        self._story = story
        self._seed = seed
        self._desk = ApprovalDesk(story.book)
        self._checklist = ""

    def adopt(self) -> None:
        """Adopt the checklist from its file."""
        adoption, waiting = self._story.book.adopt(
            checklist_adoption, CHECKLIST_FILE.read_bytes(), "af-checklist", self._story.people[CLERK]
        )
        waiting.result()
        self._checklist = adoption.digest

    def open(self, file: str, model: str, revision: int) -> None:
        """Open a file for one model in one class."""
        record = ApprovalFileOpened(
            at=self._now(),
            file=file,
            model=model,
            revision=revision,
            body=BODY,
            classes=(POUNDS,),
            rulebook=shipped_rulebooks()[RULEBOOK].digest,
            checklist=self._checklist,
        )
        self._story.now(CLERK, f"af-{file}-opened", [record])

    def announce(self, file: str) -> None:
        """Announce the samples, out of every lot of the model and revision."""
        self._story.settle()
        announced = Announce({POUNDS: BALLS}, states=("released",))
        self._desk.announce(file, announced, f"af-{file}-announced", self._story.people[CLERK]).result()

    def draw(self, file: str) -> None:
        """Draw what was announced."""
        self._desk.draw(file, f"af-{file}-drawn", self._story.people[CLERK]).result()

    def read_marks(self, file: str, balls: int, *, low_only_last: bool = False) -> None:
        """Read the marks of the first samples that nobody read; of the last of them the low axis alone, where it says so."""
        read = [unit for unit in self._inside(file) if not self._is_read(unit)][:balls]
        for place, unit in enumerate(read):
            rng = chance(self._seed, f"marks of {unit}")
            readings = tuple(
                Reading(quantity=quantity, unit="in", values=(f"{abs(rng.gauss(middle, 0.08)):.2f}",), gauge=gauge)
                for quantity, (gauge, middle) in MARKS.items()
                if not (low_only_last and place == len(read) - 1 and quantity == "mark_to_high_axis")
            )
            record = Inspection(at=self._now(), unit=unit, station="ENG-1", readings=readings)
            self._story.now("gauges", f"af-marks-{unit}", [record])

    def _is_read(self, unit: str) -> bool:
        return f"af-marks-{unit}" in self._story.entered

    def replace(self, file: str) -> None:
        """The first sample drawn was chipped; the next of the draw takes its place."""
        replaced = Replace(self._inside(file)[0], "chipped")
        self._desk.replace(file, replaced, f"af-{file}-replaced", self._story.people[CLERK]).result()

    def answer_items(self, file: str) -> None:
        """A photo of each sample, the data sheet with the recipe, and the receipt of the fee."""
        store = self._story.book.store
        units = self._inside(file)
        photos = tuple(
            Photo(name="pin and axis mark", unit=unit, digest=put_blob(store, axis_photo(n), "image/png").digest)
            for n, unit in enumerate(units)
        )
        sheet = put_blob(store, b"Data sheet of an invented ball\n", "text/plain").digest
        fee = put_blob(store, b"Receipt of an invented fee\n", "text/plain").digest
        fields = (
            SheetField(name="coverstock", value="invented urethane, 100 to 62"),
            SheetField(name="core", value="asymmetric, invented"),
            SheetField(name="finish", value="sanded"),
        )
        at = self._now()
        records: list[Record] = [
            ApprovalItemAnswered(at=at, file=file, item="photos", photos=photos),
            ApprovalItemAnswered(
                at=at,
                file=file,
                item="data-sheet",
                documents=(Paper(name="data sheet", digest=sheet),),
                fields=fields,
                statement="as the recipe of the second construction states, invented",
            ),
            ApprovalItemAnswered(
                at=at, file=file, item="fee", documents=(Paper(name="receipt of the testing fee", digest=fee),)
            ),
        ]
        self._story.now(CLERK, f"af-{file}-answers", records)

    def freeze(self, file: str) -> None:
        """Freeze the file with nothing left open."""
        self._desk.freeze(file, (), f"af-{file}-frozen", self._story.people[CLERK]).result()

    def sign(self, file: str, who: str) -> None:
        """A person of quality signs what was frozen."""
        freeze = self._rows(file).file.frozen or ""
        self._desk.sign(file, freeze, f"af-{file}-signed", self._story.people[who]).result()

    def hand_over(self, file: str) -> None:
        """Write the dossier, and say which one went out."""
        out = io.BytesIO()
        self._story.book.write_dossier(DossierWanted(approval_file=file, parts=("lots", "verdicts")), out)
        record = ApprovalFileHandedOver(
            at=self._now(),
            file=file,
            freeze=self._rows(file).file.frozen or "",
            dossier=hashlib.sha256(out.getvalue()).hexdigest(),
            to="Demo body, invented, 1 Example Square",
        )
        self._story.now(CLERK, f"af-{file}-handed-over", [record])

    def enter_answer(self, file: str) -> None:
        """The body approved the second construction."""
        approved = ApprovalEntered(
            at=self._now(),
            model="HAYBARN",
            body=BODY,
            revision=2,
            status="approved",
            from_on=self._now()[:10],
            classes=(POUNDS,),
        )
        reply = ApprovalFileAnswered(
            at=self._now(), file=file, answer="approved", entered=".0", reference="invented 2026-17"
        )
        self._story.now(CLERK, f"af-{file}-answered", [approved, reply])

    def _rows(self, file: str) -> ApprovalRows:
        self._story.settle()
        with open_reader(self._story.book.store) as reader:
            return stored_file(reader, file)

    def _inside(self, file: str) -> list[str]:
        return [row.unit for row in self._rows(file).samples if row.state == "in"]

    def _now(self) -> str:
        return told(self._story.clock.now_ms)
