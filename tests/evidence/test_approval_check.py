"""What a dossier's approval file shows: lists, seeds, draws and frozen documents, each found out when it is another."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.checkpoint import format_checkpoint
from ledger.book.entry import entry_hash
from ledger.book.merkle import prove_inclusion, root
from ledger.book.note import sign_note
from ledger.book.receipt import format_receipt, parse_receipt
from ledger.book.signing import signer_from_seed
from ledger.errors import DossierRejected, MalformedInput
from ledger.evidence.approval_check import check_approval, parse_candidates, receipt_root
from ledger.evidence.approval_facts import ApprovalRows, approval_files, approval_nodes, fold_approvals, sample_units
from ledger.line.approval_document import format_frozen, parse_frozen
from ledger.line.approval_draw import Candidate, candidate_list
from ledger.line.approval_rows import ApprovalSample
from tests.line.approving import (
    SIGNERS,
    announced,
    answered,
    approval_plant,
    candidates,
    document,
    drawn,
    frozen,
    handed_over,
    item,
    opened,
    replaced,
    signed,
)
from tests.line.making import approval, at
from tests.line.plant import ORIGIN, Plant


class Dossier:
    """A book in memory with one file carried through, and what a dossier would hold of it."""

    def __init__(self) -> None:
        """Draw three balls, replace one, freeze, sign by two, hand over, take the answer."""
        self.plant = approval_plant()
        self.plant.submit(opened())
        found = candidates(self.plant)
        announcement = self.plant.submit(announced(self.plant)).address
        self.files = {hashlib.sha256(raw).hexdigest(): raw for raw in [candidate_list(found)]}
        self.plant.submit(drawn(self.plant, announcement, found))
        first = self.plant.tables.where(ApprovalSample, "file", "AF-1")[0].unit
        self.plant.submit(replaced(self.plant, first))
        self.plant.submit(item())
        raw = document(self.plant)
        self.files[hashlib.sha256(raw).hexdigest()] = raw
        self.plant.submit(frozen(self.plant))
        for author in SIGNERS:
            self.plant.submit(signed(self.plant), author=author)
        self.plant.submit(handed_over(self.plant))
        self.plant.submit(approval(at=at(30), body="body-a"), answered(answer="approved", entered=".0"))
        self.rows = fold_approvals(self.plant.facts())["AF-1"]

    def root_of(self, index: int) -> bytes:
        """The root of the tree that ends with an entry."""
        return root([entry_hash(raw) for raw in self.plant.entries[: index + 1]])

    def check(self, rows: ApprovalRows | None = None, files: dict[str, bytes] | None = None) -> Any:
        """Check the file, with other rows or files."""
        held = {**self.files, **(files or {})}
        return check_approval(
            rows or self.rows, held.__getitem__, self.root_of, lambda index: index < len(self.plant.entries)
        )


@pytest.fixture(scope="module")
def dossier() -> Dossier:
    """One for all tests, which change copies alone."""
    return Dossier()


def test_a_file_that_is_right_is_told_in_numbers(dossier: Dossier) -> None:
    """One draw of one, three samples, one replaced, one document with two signatures."""
    found = dossier.check()
    assert (1, 1, 3, 1, 1, 2) == msgspec.structs.astuple(found)
    assert "1 of 1 announced draws follow from their seeds: 3 samples, 1 replaced or passed over" == found.said[0]


def test_what_a_dossier_needs_is_named(dossier: Dossier) -> None:
    """Every ball of the draw, the file and the model, and each file by what it is."""
    assert 4 == len(sample_units(dossier.rows))
    assert {"approval:AF-1", "model:ORBIT"} == approval_nodes(dossier.rows)
    assert {"candidates", "frozen", "document"} == set(approval_files(dossier.rows).values())
    assert set(dossier.files) < set(approval_files(dossier.rows))


def test_any_receipt_of_the_announcement_gives_its_seed(dossier: Dossier) -> None:
    """The receipt against the newest tree leads to the root of the tree that ends with the announcement."""
    entries = dossier.plant.entries
    hashes = [entry_hash(raw) for raw in entries]
    index = int(dossier.rows.announcements[0].announcement.partition(".")[0])
    proof = prove_inclusion(hashes, index, len(hashes))
    signer = signer_from_seed(ORIGIN, bytes(32))
    head = sign_note(format_checkpoint(ORIGIN, len(hashes), root(hashes)), [signer])
    text = format_receipt(index, proof, head)
    assert dossier.root_of(index) == receipt_root(parse_receipt(text), entries[index])


Change = Callable[[ApprovalRows], ApprovalRows]


def other(row: Any, **fields: Any) -> Any:
    """A row with other columns."""
    return msgspec.structs.replace(row, **fields)


def _other_way_round(rows: ApprovalRows) -> list[Any]:
    """The replaced ball in, and the last one replaced instead."""
    states = {"replaced": "in", "in": "in"}
    changed = [other(row, state=states[row.state]) for row in rows.samples]
    return [*changed[:-1], other(changed[-1], state="replaced")]


CHANGES: dict[str, tuple[str, Change]] = {
    "seed": ("seed of a draw", lambda rows: rows._replace(announcements=[other(rows.announcements[0], seed="0" * 64)])),
    "ball-swapped": (
        "not the one that the seed draws",
        lambda rows: rows._replace(
            samples=[
                other(rows.samples[0], unit=rows.samples[1].unit),
                other(rows.samples[1], unit=rows.samples[0].unit),
                *rows.samples[2:],
            ]
        ),
    ),
    "ball-left-out": ("not the one that the seed draws", lambda rows: rows._replace(samples=rows.samples[1:])),
    "ball-too-few": ("another number of samples", lambda rows: rows._replace(samples=rows.samples[:-1])),
    "ball-too-many": (
        "not the one that the seed draws",
        lambda rows: rows._replace(
            samples=[*rows.samples, *(other(rows.samples[0], unit=f"X-{n}", place=4 + n) for n in range(9))]
        ),
    ),
    "class-not-announced": (
        "classes that were not announced",
        lambda rows: rows._replace(samples=[other(rows.samples[0], weight_class=14), *rows.samples[1:]]),
    ),
    "announcement-gone": ("no announcement that was drawn", lambda rows: rows._replace(announcements=[])),
    "counts": (
        "list of candidates is another",
        lambda rows: rows._replace(
            announcements=[other(rows.announcements[0], classes=rows.announcements[0].classes.replace(",8,", ",9,"))]
        ),
    ),
    "freezer-signed": (
        "who froze a file signed it",
        lambda rows: rows._replace(signatures=[*rows.signatures, other(rows.signatures[0], by=rows.freezes[0].by)]),
    ),
    "signed-twice": (
        "one account signed twice",
        lambda rows: rows._replace(signatures=[rows.signatures[0], rows.signatures[0]]),
    ),
    "signed-by-one": (
        "what 1 people had signed",
        lambda rows: rows._replace(signatures=rows.signatures[:1]),
    ),
    "signed-too-late": (
        "what 1 people had signed",
        lambda rows: rows._replace(signatures=[rows.signatures[0], other(rows.signatures[1], signature="9999.0")]),
    ),
    "answer-left-out": ("names other answers", lambda rows: rows._replace(parts=[])),
    "sample-not-frozen": ("names other samples", lambda rows: rows._replace(samples=_other_way_round(rows))),
    "another-model": (
        "frozen document is of another file",
        lambda rows: rows._replace(file=other(rows.file, model="NOVA")),
    ),
}


@pytest.mark.parametrize("name", sorted(CHANGES))
def test_what_does_not_follow_is_rejected(dossier: Dossier, name: str) -> None:
    """Each change of the rows is found, and named."""
    problem, change = CHANGES[name]
    with pytest.raises(DossierRejected, match=problem) as caught:
        dossier.check(change(dossier.rows))
    assert caught.value.where


def test_a_fact_that_is_not_in_the_dossier_is_missed(dossier: Dossier) -> None:
    """The frozen document that stands names it."""
    with pytest.raises(DossierRejected, match="not among the entries"):
        check_approval(dossier.rows, dossier.files.__getitem__, dossier.root_of, lambda index: index > 20)


def test_files_with_other_bytes_are_rejected(dossier: Dossier) -> None:
    """A list or a document that is not what its digest says, and one that is no list at all."""
    for digest in dossier.files:
        with pytest.raises(DossierRejected, match="other bytes than its name says"):
            dossier.check(files={digest: dossier.files[digest] + b"\n"})
    row = dossier.rows.announcements[0]
    for raw in (
        b"[15]\n",
        b'[15,"U-2","S2"]\n[15,"U-1","S1"]\n',
        b'[15, "U-1", "S1"]\n',
        b"\xff\n",
        b"[" * 5_000 + b"\n",
    ):
        digest = hashlib.sha256(raw).hexdigest()
        changed = dossier.rows._replace(announcements=[other(row, candidates=digest)])
        with pytest.raises(DossierRejected, match="list of candidates"):
            dossier.check(changed, {digest: raw})
    freeze = dossier.rows.freezes[0]
    for raw in (b"", b"{}\n", b'{"what":"gauge","gauge":"G"}\n', b"[" * 5_000 + b"\n", b"\xff\n"):
        digest = hashlib.sha256(raw).hexdigest()
        changed = dossier.rows._replace(freezes=[other(freeze, digest=digest)])
        with pytest.raises(DossierRejected):
            dossier.check(changed, {digest: raw})


@given(st.one_of(st.binary(max_size=60), st.text(max_size=30).map(str.encode)))
def test_any_bytes_are_a_file_or_our_error(raw: bytes) -> None:
    """Neither parser lets anything else out."""
    for parse in (parse_candidates, parse_frozen):
        try:
            parse(raw)
        except MalformedInput:
            continue


@given(st.lists(st.builds(Candidate, st.integers(4, 16), st.text(max_size=5), st.text(max_size=5)), max_size=5))
def test_a_list_reads_back_as_it_was_written(balls: list[Candidate]) -> None:
    """Whatever the names, as far as they can be written; the order is the list's own."""
    try:
        raw = candidate_list(balls)
    except MalformedInput:
        return
    assert sorted(set(balls)) == parse_candidates(raw)


def test_a_document_reads_back_as_it_was_written(dossier: Dossier) -> None:
    """Line for line; one that is written in another way is refused."""
    for raw in list(dossier.files.values())[1:]:
        frozen_file = parse_frozen(raw)
        assert raw == format_frozen(frozen_file.lines)
        with pytest.raises(MalformedInput):
            parse_frozen(raw.replace(b'{"', b'{ "', 1))
        with pytest.raises(MalformedInput):
            parse_frozen(raw + raw)


def test_facts_of_other_files_and_kinds_are_passed_over() -> None:
    """The fold gives each file its own rows, and nothing for a book without any."""
    plant: Plant = approval_plant(balls=1)
    assert {} == fold_approvals(plant.facts())
    plant.submit(opened())
    plant.submit(opened("AF-2"))
    folded = fold_approvals(plant.facts())
    assert ["AF-1", "AF-2"] == sorted(folded)
    assert all(not rows.samples for rows in folded.values())
