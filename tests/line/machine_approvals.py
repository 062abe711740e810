"""What the random plant says about approval files: opened, drawn, answered, frozen, signed, sent, and opened again."""

from __future__ import annotations

import hashlib
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import invariant, rule

from ledger.line.approval_changes import ApprovalChangeFound, ApprovalChangeReported
from ledger.line.approval_files import ApprovalFileOpened, ApprovalFileReopened, ApprovalFileWithdrawn
from ledger.line.approval_items import Paper
from ledger.line.approval_rows import (
    ApprovalAnnouncement,
    ApprovalChange,
    ApprovalFile,
    ApprovalFreeze,
    ApprovalSample,
    ApprovalSignature,
)
from ledger.line.approval_samples import PassedOver, SampleReplaced
from ledger.line.checklists import ChecklistAdopted
from ledger.line.rows import Model
from tests.line.approving import (
    SIGNERS,
    announced,
    answered,
    candidates,
    document,
    drawn,
    frozen,
    handed_over,
    item,
    seed_of,
    signed,
)
from tests.line.machine_ground import PlantGround
from tests.line.making import RULEBOOK

LISTED = "c" * 64


class ApprovalRules(PlantGround):
    """Steps about one file, AF-1, and the checklist that it is gathered by."""

    @rule(classes=st.sampled_from([(15,), (14, 15)]))
    def open_file(self, classes: Any) -> None:
        """A file about ORBIT as it stands, once; refused while its rulebook is another's."""
        self.say(ChecklistAdopted(at=self.now(), checklist="list-c", digest=LISTED))
        model = self.plant.row(Model, "ORBIT")
        revision = 1 if model is None else model.revision
        said: dict[str, Any] = {"file": "AF-1", "model": "ORBIT", "revision": revision, "body": "body-a"}
        self.say(ApprovalFileOpened(at=self.now(), **said, classes=classes, rulebook=RULEBOOK, checklist=LISTED))

    @rule(balls=st.integers(1, 2), why=st.booleans())
    def draw_samples(self, balls: int, why: bool) -> None:  # noqa: FBT001  # drawn by name
        """Announce and draw out of SL-1, where the file takes it."""
        if self.plant.row(ApprovalFile, "AF-1") is None:
            return
        found = [one for one in candidates(self.plant) if one.weight_class == 15]
        fields = {"at": self.now(), **({"why": "more-wanted"} if why else {})}
        if not found or not self.say(announced(self.plant, balls=balls, **fields)):
            return
        address = f"{len(self.plant.entries) - 1}.0"
        assert self.say(drawn(self.plant, address, found, at=self.now()))

    @rule(data=st.data(), over=st.booleans())
    def replace_sample(self, data: st.DataObject, over: bool) -> None:  # noqa: FBT001  # drawn by name
        """A sample by the next ball that is none yet, whichever: the line looks at rows alone."""
        inside = [row.unit for row in self.rows(ApprovalSample) if row.state == "in"]
        free = [one.unit for one in candidates(self.plant)]
        if not inside or len(free) < 2:
            return
        passed = (PassedOver(unit=free[1], reason="sold"),) if over else ()
        unit = data.draw(st.sampled_from(inside))
        said = {"file": "AF-1", "unit": unit, "instead": free[0], "reason": "dropped"}
        self.say(SampleReplaced(at=self.now(), **said, passed_over=passed))

    @rule(digest=st.sampled_from("ef"), named=st.sampled_from(["data-sheet", "fee"]))
    def answer_item(self, digest: str, named: str) -> None:
        """A paper, in the place of an earlier one at times."""
        self.say(item(at=self.now(), item=named, documents=(Paper(name="sheet", digest=digest * 64),)))

    @rule(stale=st.booleans())
    def freeze_file(self, stale: bool) -> None:  # noqa: FBT001  # drawn by name
        """As it stands, or by the digest of something else, which is refused."""
        if self.plant.row(ApprovalFile, "AF-1") is None:
            return
        fields = {"document": "0" * 64} if stale else {}
        entered = self.say(frozen(self.plant, at=self.now(), **fields))
        assert not (stale and entered)

    @rule(author=st.sampled_from(["a-mary", *SIGNERS]))
    def sign_file(self, author: str) -> None:
        """By anyone, the one who froze it too, who is refused."""
        if self.rows(ApprovalFreeze):
            self.say(signed(self.plant, at=self.now()), author=author)

    @rule(hurried=st.booleans())
    def send_file(self, hurried: bool) -> None:  # noqa: FBT001  # drawn by name
        """Handed over, where it stands frozen and signed as it is; in a hurry all that it lacks is said just before."""
        if hurried:
            self.open_file(classes=(15,))
            self.draw_samples(balls=1, why=True)
            self.freeze_file(stale=False)
            for author in SIGNERS:
                self.sign_file(author)
        file = self.plant.row(ApprovalFile, "AF-1")
        if file is not None and file.frozen and self.say(handed_over(self.plant, at=self.now())):
            freeze = self.plant.row(ApprovalFreeze, file.frozen)
            assert hashlib.sha256(document(self.plant)).hexdigest() == freeze.digest

    @rule(answer=st.sampled_from(["refused", "more-wanted"]))
    def enter_answer(self, answer: Any) -> None:
        """What the body said, early or not."""
        self.say(answered(at=self.now(), answer=answer))

    @rule(sort=st.sampled_from(["plan", "other"]), reported=st.booleans())
    def change_file(self, sort: Any, reported: bool) -> None:  # noqa: FBT001  # drawn by name
        """A change is found, and those that are known are reported at times."""
        file = self.plant.row(ApprovalFile, "AF-1")
        if file is None or file.frozen is None:
            return
        said = {"file": "AF-1", "freeze": file.frozen, "subject": "plan", "fact": "0.0"}
        self.say(ApprovalChangeFound(at=self.now(), sort=sort, **said))
        changes = tuple(row.change for row in self.rows(ApprovalChange))
        if reported and changes:
            self.say(ApprovalChangeReported(at=self.now(), file="AF-1", changes=changes, to="Body A"))

    @rule(withdrawn=st.booleans())
    def open_again(self, withdrawn: bool) -> None:  # noqa: FBT001  # drawn by name
        """Withdrawn, or opened again with a reason."""
        kind = ApprovalFileWithdrawn if withdrawn else ApprovalFileReopened
        self.say(kind(at=self.now(), file="AF-1", reason="looked-at-again"))

    @invariant()
    def files_keep_their_laws(self) -> None:
        """Samples begin as their draw does; nobody signs what he froze, or twice; what is out was signed by two."""
        if not hasattr(self, "plant"):
            return
        for row in self.rows(ApprovalAnnouncement):
            places = sorted(one.place for one in self.rows(ApprovalSample) if one.announcement == row.announcement)
            assert list(range(len(places))) == places
            if row.seed is not None:
                assert seed_of(self.plant, row.announcement) == row.seed
        freezes = {row.freeze: row for row in self.rows(ApprovalFreeze)}
        signers: dict[str, list[str]] = {}
        for row in self.rows(ApprovalSignature):
            assert freezes[row.freeze].by != row.by
            signers.setdefault(row.freeze, []).append(row.by)
        assert all(len(set(names)) == len(names) for names in signers.values())
        for file in self.rows(ApprovalFile):
            if file.state in {"signed", "handed-over", "answered"}:
                assert 2 <= len(signers.get(file.frozen or "", []))
