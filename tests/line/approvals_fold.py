"""The second fold of approval files: from the facts' JSON, never calling effects."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import msgspec

from ledger.line.approval_rows import (
    ApprovalAnnouncement,
    ApprovalChange,
    ApprovalFile,
    ApprovalFreeze,
    ApprovalHandOver,
    ApprovalPart,
    ApprovalReply,
    ApprovalSample,
    ApprovalSignature,
)
from ledger.line.fact import Fact
from tests.line.plant import Plant

Said = dict[str, Any]


class _Files:
    """Every file of a book, told fact by fact; a method a kind."""

    def __init__(self) -> None:
        names = ("files", "announced", "samples", "parts", "freezes", "signed", "sent", "replies", "changes")
        self.told: dict[str, dict[Any, Any]] = {name: {} for name in names}

    def file(self, said: Said) -> Said:
        return dict(self.told["files"][said["file"]])

    def keep(self, said: Said, **changes: Any) -> None:
        self.told["files"][said["file"]] = {**self.file(said), **changes}

    def file_opened(self, fact: Fact, said: Said) -> None:
        columns = {name: said[name] for name in ("model", "revision", "body", "rulebook", "checklist")}
        weights = ",".join(map(str, sorted(said["classes"])))
        state = {"state": "open", "by": fact.author, "frozen": None, "answer": None, "reopened": 0}
        self.told["files"][said["file"]] = {**columns, "classes": weights, **state}

    def file_withdrawn(self, _fact: Fact, said: Said) -> None:
        self.keep(said, state="withdrawn", frozen=None)

    def file_reopened(self, _fact: Fact, said: Said) -> None:
        self.keep(said, state="open", frozen=None, reopened=self.file(said)["reopened"] + 1)

    def samples_announced(self, fact: Fact, said: Said) -> None:
        wanted = [[one[name] for name in ("weight_class", "balls", "candidates", "root")] for one in said["classes"]]
        self.told["announced"][fact.address] = [
            *(said["file"], wanted, ",".join(said.get("grades", ())), said["candidates"], said.get("why"), None, None)
        ]

    def samples_drawn(self, fact: Fact, said: Said) -> None:
        self.told["announced"][said["announcement"]][5:] = [fact.address, said["seed"]]
        for one in said["classes"]:
            for place, unit in enumerate(one["units"]):
                self.told["samples"][said["file"], unit] = [
                    one["weight_class"],
                    said["announcement"],
                    place,
                    "in",
                    None,
                ]

    def sample_replaced(self, _fact: Fact, said: Said) -> None:
        samples = self.told["samples"]
        old = samples[said["file"], said["unit"]]
        last = max(row[2] for (file, _), row in samples.items() if file == said["file"] and row[:2] == old[:2])
        old[3:] = ["replaced", said["reason"]]
        following = [(one["unit"], "passed-over", one["reason"]) for one in said.get("passed_over", ())]
        for place, (unit, state, reason) in enumerate([*following, (said["instead"], "in", None)], last + 1):
            samples[said["file"], unit] = [*old[:2], place, state, reason]

    def item_answered(self, fact: Fact, said: Said) -> None:
        parts = [("document", one["name"], None, one["digest"]) for one in said.get("documents", ())]
        parts += [("photo", one["name"], one.get("unit"), one["digest"]) for one in said.get("photos", ())]
        parts += [("field", one["name"], None, None) for one in said.get("fields", ())]
        parts += [("statement", "statement", None, None)] if "statement" in said else []
        for sort, name, unit, digest in parts:
            # A dict keeps the later of two: what stands is the last that was said under a name.
            self.told["parts"][said["file"], said["item"], sort, name, unit] = (digest, fact.address)

    def file_frozen(self, fact: Fact, said: Said) -> None:
        left = ",".join(said.get("left_open", ()))
        self.told["freezes"][fact.address] = (said["file"], said["document"], left, fact.author)
        self.keep(said, state="frozen", frozen=fact.address)

    def file_signed(self, fact: Fact, said: Said) -> None:
        self.told["signed"][fact.address] = (said["file"], said["freeze"], fact.author)
        if sum(row[1] == said["freeze"] for row in self.told["signed"].values()) > 1:
            self.keep(said, state="signed")

    def file_handed_over(self, fact: Fact, said: Said) -> None:
        self.told["sent"][fact.address] = (said["file"], said["freeze"], said["dossier"])
        if self.file(said)["state"] == "signed":
            self.keep(said, state="handed-over")

    def file_answered(self, fact: Fact, said: Said) -> None:
        entered = said.get("entered")
        entered = f"{fact.index}{entered}" if entered and entered[0] == "." else entered
        file = self.file(said)
        self.told["replies"][fact.address] = (said["file"], file["frozen"], said["answer"], entered, said.get("letter"))
        self.keep(said, answer=said["answer"], state="answered" if file["state"] == "handed-over" else file["state"])

    def change_found(self, fact: Fact, said: Said) -> None:
        what = tuple(said[name] for name in ("file", "freeze", "sort", "subject", "fact"))
        self.told["changes"][fact.address] = (*what, None)

    def change_reported(self, fact: Fact, said: Said) -> None:
        for change in said["changes"]:
            self.told["changes"][change] = (*self.told["changes"][change][:5], fact.address)


def approvals_told(facts: Iterable[Fact]) -> dict[str, Any]:
    """What the standing facts say, in the shape of `approvals_shown`."""
    files = _Files()
    for fact in facts:
        said = msgspec.to_builtins(fact.record)
        if said["kind"].startswith("approval-") and said["kind"] != "approval-entered":
            teller = getattr(files, said["kind"].removeprefix("approval-").replace("-", "_"))
            teller(fact, said)
    return files.told


def approvals_shown(plant: Plant) -> dict[str, Any]:
    """The live rows of the same."""
    rows: Callable[[Any], list[Any]] = lambda row: list(plant.tables.rows[row].values())  # noqa: E731  # any row class
    columns = ("model", "revision", "body", "rulebook", "checklist", "classes", "state", "by", "frozen", "answer")
    return {
        "files": {
            row.file: {column: getattr(row, column) for column in (*columns, "reopened")} for row in rows(ApprovalFile)
        },
        "announced": {
            row.announcement: [
                *(row.file, msgspec.json.decode(row.classes), row.grades, row.candidates, row.why, row.drawn, row.seed)
            ]
            for row in rows(ApprovalAnnouncement)
        },
        "samples": {
            (row.file, row.unit): [row.weight_class, row.announcement, row.place, row.state, row.reason]
            for row in rows(ApprovalSample)
        },
        "parts": {
            (row.file, row.item, row.sort, row.name, row.unit): (row.digest, row.address)
            for row in rows(ApprovalPart)
            if row.stands
        },
        "freezes": {row.freeze: (row.file, row.digest, row.left_open, row.by) for row in rows(ApprovalFreeze)},
        "signed": {row.signature: (row.file, row.freeze, row.by) for row in rows(ApprovalSignature)},
        "sent": {row.hand_over: (row.file, row.freeze, row.dossier) for row in rows(ApprovalHandOver)},
        "replies": {
            row.reply: (row.file, row.freeze, row.answer, row.entered, row.letter) for row in rows(ApprovalReply)
        },
        "changes": {
            row.change: (row.file, row.freeze, row.sort, row.subject, row.fact, row.reported)
            for row in rows(ApprovalChange)
        },
    }
