"""The dossier of an approval file: its samples, its page, its lists and documents, checked by whoever has the book's key."""

from __future__ import annotations

import io

import pytest

from ledger.errors import DossierRejected, LedgerError, MalformedDossier, NotFound
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.report import DossierReport
from ledger.evidence.verifier import check_dossier
from tests.application.approved import approval_floor, drawn_file, frozen_file, handed_file, opened, samples
from tests.application.floor import ORIGIN, Floor, engraved, floor_signers
from tests.application.wanted_dossiers import KEY, checked, closed, page, written
from tests.evidence.small_dossier import members, resealed


@pytest.fixture
def frozen(ready: Floor) -> bytes:
    """The dossier of a file whose samples are drawn, answered and frozen."""
    frozen_file(ready)
    return written(ready, approval_file="AF-1")


def test_it_is_proved_from_its_entries(frozen: bytes) -> None:
    """The page is made anew, the draw follows from its seed, the frozen document is about this file."""
    report = checked(frozen)
    words = next(line.words for line in report.checked() if line.code == "approval")
    assert ("approval-file", ("AF-1",), 3) == (report.scope.kind, report.scope.names, report.counts.balls)
    assert "1 of 1 announced draws follow from their seeds: 3 samples" in words


def candidates_told(report: DossierReport) -> tuple[list[str], list[str]]:
    """What the check says of the list of candidates: shown, and not shown."""
    return tuple(
        [line.words for line in lines if line.code == "candidates"]
        for lines in (report.checked(), report.not_checked())
    )  # type: ignore[return-value]  # two lists


def test_a_list_of_candidates_is_not_shown_to_be_whole_while_its_lot_is_open(frozen: bytes) -> None:
    """The dossier says so, under what was not checked."""
    shown, left = candidates_told(checked(frozen))
    assert [] == shown
    assert ["lot SL-1 is not here as closed"] == [line.partition(": ")[2] for line in left]


def test_a_closed_lot_shows_that_each_of_its_balls_was_a_candidate(ready: Floor) -> None:
    """All eight by the root of its closing; the announcement names no other lot, so nothing is left open."""
    frozen_file(ready)
    closed(ready)
    shown, left = candidates_told(checked(written(ready, approval_file="AF-1")))
    assert "every ball that lot SL-1 had when it was closed, 8 of 8, was a candidate of fact" in shown[0]
    assert [] == left


def test_a_ball_of_a_closed_lot_that_was_no_candidate_is_told(ready: Floor) -> None:
    """One that was engraved after the announcement: the dossier alone cannot say why, and does not call it a fault."""
    frozen_file(ready)
    ready.say(engraved("U-9", "P-U-9", 90, place=9))
    closed(ready)
    shown, left = candidates_told(checked(written(ready, approval_file="AF-1")))
    assert [] == shown
    assert (
        "whether 1 of the 9 balls that lot SL-1 had when it was closed should have been candidates of fact" in left[0]
    )


def test_it_holds_what_the_checks_need(frozen: bytes) -> None:
    """The checklist, the list of candidates, the frozen document, and the answers as they were given."""
    layout = parse_layout(list(members(frozen)))
    assert (1, True) == (len(layout.checklists), layout.approval)
    assert set(layout.documents) >= {line["candidates"] for line in page(frozen, "approval.json")["announcements"]}


def test_papers_may_be_left_out(ready: Floor) -> None:
    """Lists and frozen documents stay; the rest verifies without the papers."""
    frozen_file(ready)
    fewer = written(ready, approval_file="AF-1", parts=("lots",))
    all_of_them = written(ready, approval_file="AF-1")
    assert len(parse_layout(list(members(fewer))).documents) < len(parse_layout(list(members(all_of_them))).documents)
    checked(fewer)


def test_a_file_that_went_out_is_proved(ready: Floor) -> None:
    """One that was signed and handed over too."""
    handed_file(ready)
    assert "2 signatures" in "\n".join(checked(written(ready, approval_file="AF-1")).lines())


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        (b'"state":"in"', b'"state":"replaced"', "approval.json: samples/0/state"),
        (b'"met":true', b'"met":false', "approval.json: items/"),
        (b'"file":"AF-1"', b'"file":"AF-2"', "approval.json"),
    ],
)
def test_a_changed_page_is_found(frozen: bytes, old: bytes, new: bytes, where: str) -> None:
    """Whoever holds the dossier key cannot state it otherwise."""
    files = members(frozen)
    assert old in files["approval.json"]
    files["approval.json"] = files["approval.json"].replace(old, new, 1)
    assert where in first_wrong(files).where


def test_a_sample_left_out_is_found(frozen: bytes) -> None:
    """A ball that was drawn has to have its sheet."""
    files = members(frozen)
    unit = page(frozen, "approval.json")["samples"][0]["unit"]
    for name in (f"balls/{unit}.json", f"events/{unit}.jsonld", "lots/SL-1.json"):
        del files[name]
    counts = {"balls": 2, "events": 2, "lots": 0}
    assert (
        "approval.json"
        in first_wrong({name: raw for name, raw in files.items() if name != "verdicts.csv"}, verdicts=0, **counts).where
    )


@pytest.mark.parametrize("sort", ["checklists/", "documents/"])
def test_a_file_left_out_is_found(frozen: bytes, sort: str) -> None:
    """A list, a frozen document or the checklist that the check needs is missed."""
    files = members(frozen)
    left = {name: raw for name, raw in files.items() if not name.startswith(sort)}
    assert first_wrong(left, **{sort[:-1]: 0}).where


def test_a_file_under_another_name_is_found(frozen: bytes) -> None:
    """Documents are named by their digests."""
    files = members(frozen)
    name = next(name for name in files if name.startswith("documents/"))
    assert name == first_wrong({**files, name: files[name] + b" "}).where


def test_no_samples_no_dossier(ready: Floor) -> None:
    """A file that is not there, or of which nothing is drawn yet."""
    with pytest.raises(NotFound):
        written(ready, approval_file="AF-404")
    ready.say(opened(approval_floor(ready)))
    with pytest.raises(NotFound, match="no sample"):
        written(ready, approval_file="AF-1")


def first_wrong(files: dict[str, bytes], **counts: int) -> LedgerError:
    """What is wrong with these files, signed anew by the dossier key."""
    raw = resealed(files, floor_signers().dossier, {"counts": counts}, ORIGIN)
    with pytest.raises((MalformedDossier, DossierRejected)) as found:
        check_dossier(io.BytesIO(raw), [KEY])
    return found.value


def test_the_samples_are_those_of_the_view(ready: Floor) -> None:
    """The balls of the dossier are the samples that the file shows."""
    drawn_file(ready)
    assert sorted(samples(ready)) == list(parse_layout(list(members(written(ready, approval_file="AF-1")))).units)
