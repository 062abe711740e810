"""What a dossier's approval file shows beyond its page: that the samples were drawn, and that what was signed is there.

Checked here, of each announcement: that the list of candidates gives the counts and roots that it states, that the seed is
that of the tree which ends with its entry, and that the balls of the file are those that the seed draws, one after the
other, with every replaced one still among them.  Of each freeze: that its document is about this file, and was signed by
two accounts that did not freeze it before anything was handed over.  Of the freeze that stands: that the document names the
samples and answers of the file, and no fact that is not in the dossier.

Not shown by a dossier alone: that the list holds all candidates there were.  The line refused any other at the time; the
closed lots of a dossier show it for their own balls (`ledger.evidence.candidates_check`), and who followed the book for all.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence

import msgspec

from ledger.book.merkle import leaf_hash
from ledger.book.receipt import UnverifiedReceipt
from ledger.errors import DossierRejected, LedgerError, MalformedInput
from ledger.evidence.approval_facts import ApprovalRows
from ledger.line.approval_document import Frozen, FrozenFact, FrozenPart, FrozenSample, parse_frozen
from ledger.line.approval_draw import Candidate, candidate_counts, candidate_list, draw_order, root_at, sample_seed
from ledger.line.approval_rows import ApprovalAnnouncement, ApprovalFreeze, ApprovalSample
from ledger.line.approval_samples import MOST_CANDIDATES, announced_classes
from ledger.line.approval_signing import SIGNERS
from ledger.line.fact import parse_address

_MOST_LIST_BYTES = 200 * MOST_CANDIDATES

_candidates = msgspec.json.Decoder(tuple[int, str, str]).decode


class ApprovalFound(msgspec.Struct, frozen=True, kw_only=True):
    """What was found of an approval file: how many draws were checked, of how many announcements, and so on."""

    announcements: int
    drawn: int
    samples: int
    replaced: int
    freezes: int
    signatures: int

    @property
    def said(self) -> tuple[str, ...]:
        """In sentences."""
        draws = f"{self.drawn} of {self.announcements} announced draws follow from their seeds"
        balls = f"{self.samples} samples, {self.replaced} replaced or passed over"
        return f"{draws}: {balls}", f"{self.freezes} frozen documents, {self.signatures} signatures on them"


def receipt_root(receipt: UnverifiedReceipt, raw: bytes) -> bytes:
    """Root (32 bytes) of the tree that ends with an entry, from its receipt, which was checked. Raises InclusionFailed."""
    return root_at(leaf_hash(raw), receipt.index, receipt.checkpoint.tree_size, receipt.proof)


def check_approval(
    rows: ApprovalRows,
    read: Callable[[str], bytes],
    root_of: Callable[[int], bytes],
    has_entry: Callable[[int], bool],
) -> ApprovalFound:
    """Check what an approval file shows (see above). Raises DossierRejected, or what ``read`` raises.

    ``read(digest)`` gives a file of the dossier, whose bytes need not have been checked; ``root_of(index)`` the root of the
    tree that ends with an entry (`receipt_root`); ``has_entry(index)`` whether an entry is in the dossier.
    """
    drawn = [row for row in rows.announcements if row.drawn is not None]
    for row in rows.announcements:
        balls = _listed(row, read)
        if row.drawn is not None:
            _check_seed(row, root_of)
            _check_balls(row, balls, [one for one in rows.samples if one.announcement == row.announcement])
    strays = {one.announcement for one in rows.samples} - {row.announcement for row in drawn}
    if strays:
        raise _rejected("samples are of no announcement that was drawn", rows, got=min(strays))
    for freeze in rows.freezes:
        _check_freeze(rows, freeze, read, has_entry)
    _check_sent(rows)
    return ApprovalFound(
        announcements=len(rows.announcements),
        drawn=len(drawn),
        samples=sum(one.state == "in" for one in rows.samples),
        replaced=sum(one.state != "in" for one in rows.samples),
        freezes=len(rows.freezes),
        signatures=len(rows.signatures),
    )


def parse_candidates(raw: bytes, where: str = "candidates") -> list[Candidate]:
    """Read a list of candidates; raises MalformedInput for bytes that are none, or written in another way."""
    if len(raw) > _MOST_LIST_BYTES:
        raise MalformedInput("list is too long", expected=f"at most {_MOST_LIST_BYTES} bytes", where=where)
    try:
        found = [Candidate(*_candidates(line)) for line in raw.split(b"\n")[:-1]]
        same = candidate_list(found) == raw
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError, LedgerError) as error:
        raise MalformedInput("list of candidates has another form", got=str(error), where=where) from error
    if not same:
        raise MalformedInput("list of candidates is written in another way", where=where)
    return found


def _read(digest: str, read: Callable[[str], bytes]) -> bytes:
    raw = read(digest)
    found = hashlib.sha256(raw).hexdigest()
    if found != digest:
        raise DossierRejected("file has other bytes than its name says", expected=digest, got=found, where=digest)
    return raw


def _listed(row: ApprovalAnnouncement, read: Callable[[str], bytes]) -> list[Candidate]:
    try:
        balls = parse_candidates(_read(row.candidates, read), f"documents/{row.candidates}")
    except MalformedInput as error:
        raise DossierRejected(error.problem, got=error.got, where=error.where) from error
    counts = candidate_counts(balls)
    stated = announced_classes(row)
    if {weight_class: (one.candidates, one.root) for weight_class, one in stated.items()} != {
        weight_class: (one.balls, one.root) for weight_class, one in counts.items()
    }:
        raise DossierRejected(
            "list of candidates is another than the one that was announced",
            expected=f"the counts and roots that fact {row.announcement} states",
            where=f"documents/{row.candidates}",
        )
    return balls


def _check_seed(row: ApprovalAnnouncement, root_of: Callable[[int], bytes]) -> None:
    seed = sample_seed(root_of(parse_address(row.announcement)[0]))
    if row.seed != seed:
        raise DossierRejected(
            "seed of a draw is not the one that the announcement gives",
            expected=seed,
            got=row.seed,
            where=f"fact {row.drawn}",
        )


def _check_balls(row: ApprovalAnnouncement, candidates: Sequence[Candidate], samples: Sequence[ApprovalSample]) -> None:
    stated = announced_classes(row)
    by_class: Mapping[int, list[ApprovalSample]] = {
        weight_class: [one for one in samples if one.weight_class == weight_class] for weight_class in stated
    }
    if sum(map(len, by_class.values())) != len(samples):
        raise DossierRejected("samples are of classes that were not announced", where=f"fact {row.drawn}")
    for weight_class, found in by_class.items():
        order = draw_order((one.unit for one in candidates if one.weight_class == weight_class), row.seed or "")
        said = [one.unit for one in sorted(found, key=lambda one: one.place)]
        if said != order[: len(said)]:
            differs = next(
                (place for place, (one, other) in enumerate(zip(said, order, strict=False)) if one != other), len(order)
            )
            raise DossierRejected(
                f"ball {differs + 1} of {weight_class} lb is not the one that the seed draws",
                expected=order[differs] if differs < len(order) else "no ball more",
                got=said[differs],
                where=f"fact {row.drawn}",
            )
        inside = sum(one.state == "in" for one in found)
        if inside != stated[weight_class].balls:
            raise DossierRejected(
                f"{weight_class} lb has another number of samples than was announced",
                expected=stated[weight_class].balls,
                got=inside,
                where=f"fact {row.drawn}",
            )


def _check_freeze(
    rows: ApprovalRows, freeze: ApprovalFreeze, read: Callable[[str], bytes], has_entry: Callable[[int], bool]
) -> None:
    where = f"documents/{freeze.digest}"
    try:
        frozen = parse_frozen(_read(freeze.digest, read), where)
    except MalformedInput as error:
        raise DossierRejected(error.problem, got=error.got, where=error.where) from error
    told, file = frozen.file, rows.file
    if (told.file, told.model, told.revision, told.body, told.rulebook, told.checklist) != (
        *(file.file, file.model, file.revision, file.body, file.rulebook, file.checklist),
    ):
        raise DossierRejected("frozen document is of another file", expected=file.file, got=told.file, where=where)
    signers = [row.by for row in rows.signatures if row.freeze == freeze.freeze]
    if freeze.by in signers or len(set(signers)) != len(signers):
        raise DossierRejected(
            "who froze a file signed it, or one account signed twice", where=f"fact {freeze.freeze}", got=freeze.by
        )
    if file.frozen == freeze.freeze:
        _check_standing(rows, frozen, where, has_entry)


def _check_standing(rows: ApprovalRows, frozen: Frozen, where: str, has_entry: Callable[[int], bool]) -> None:
    """The document that stands says what the file says, and rests on facts that are here."""
    inside = [row.unit for row in rows.samples if row.state == "in"]
    named = [line.unit for line in frozen.of(FrozenSample)]
    if inside != named:
        raise DossierRejected("frozen document names other samples", expected=inside, got=named, where=where)
    parts = sorted((row.item, row.sort, row.name, row.unit or "", row.digest or "") for row in rows.parts if row.stands)
    told = sorted(
        (line.item, line.sort, line.name, line.unit or "", line.digest or "") for line in frozen.of(FrozenPart)
    )
    if parts != told:
        raise DossierRejected("frozen document names other answers", where=where)
    for line in frozen.of(FrozenFact):
        address = line.body or line.fact
        index = address.partition(".")[0]
        if not index.isdecimal() or not has_entry(int(index)):
            raise DossierRejected("a fact of the frozen document is not among the entries", got=line.fact, where=where)


def _check_sent(rows: ApprovalRows) -> None:
    """Nothing went out that two people had not signed before."""
    for sent in rows.hand_overs:
        before = {
            row.by
            for row in rows.signatures
            if row.freeze == sent.freeze and parse_address(row.signature) < parse_address(sent.hand_over)
        }
        if len(before) < SIGNERS:
            raise _rejected(f"fact {sent.hand_over} hands over what {len(before)} people had signed", rows)


def _rejected(problem: str, rows: ApprovalRows, got: str = "") -> DossierRejected:
    return DossierRejected(problem, got=got or None, where=f"approval file {rows.file.file}")
