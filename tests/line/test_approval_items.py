"""Items of a checklist answered: parts by name, the later in the place of the earlier, sealed values in no view."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, LedgerError, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.approval_items import Paper, Photo, SheetField, answer_parts
from ledger.line.approval_rows import ApprovalAnnouncement, ApprovalFreeze, ApprovalPart, ApprovalSample
from ledger.line.blob_erasures import BlobErasure
from tests.line.approving import PAPER, approval_plant, draw, frozen_plant, item, opened
from tests.line.independent_fold import check_views
from tests.line.making import at
from tests.line.plant import Plant


@pytest.fixture
def plant() -> Plant:
    """AF-1 with three samples."""
    made = approval_plant()
    made.submit(opened())
    draw(made)
    return made


def sample_of(plant: Plant) -> str:
    """A ball that is a sample."""
    return str(plant.tables.where(ApprovalSample, "file", "AF-1")[0].unit)


def test_an_answer_has_parts_by_name(plant: Plant) -> None:
    """A paper, a photo of a ball and one of the file, a field and a statement; sealed words stand in no row."""
    photos = (Photo(name="pin", digest=PAPER, unit=sample_of(plant)), Photo(name="box", digest=PAPER))
    fields = (SheetField(name="coverstock", value="urethane, secret"),)
    said = item(photos=photos, fields=fields, statement="as recipe 7, secret")
    plant.submit(said)
    rows = list(plant.tables.rows[ApprovalPart].values())
    assert 5 == len(rows) == len(list(answer_parts(said)))
    assert "secret" not in repr(rows)
    check_views(plant)


def test_a_later_answer_takes_the_place_of_an_earlier(plant: Plant) -> None:
    """Of the same name and ball, in the same item; the earlier row stays and stands no more."""
    plant.submit(item())
    plant.submit(item(documents=(Paper(name="data sheet", digest="1" * 64),)))
    plant.submit(item(item="other", documents=(Paper(name="data sheet", digest="2" * 64),)))
    plant.submit(item(documents=(Paper(name="fee", digest="3" * 64),)))
    rows: list[Any] = list(plant.tables.rows[ApprovalPart].values())
    assert {(PAPER, False), ("1" * 64, True), ("2" * 64, True), ("3" * 64, True)} == {
        (row.digest, row.stands) for row in rows
    }
    check_views(plant)


def test_an_answer_without_content_is_refused(plant: Plant) -> None:
    """It names nothing."""
    assert isinstance(plant.refused(item(documents=())), MalformedRecord)


@pytest.mark.parametrize(
    ("fields", "refusal", "where"),
    [
        ({"documents": (Paper(name="a", digest=PAPER), Paper(name="a", digest=PAPER))}, Contradiction, "documents[1]"),
        ({"photos": (Photo(name="a", digest=PAPER, unit="U-99"),)}, UnknownSubject, "photos[0].unit"),
        ({"file": "AF-9"}, UnknownSubject, "file"),
    ],
)
def test_an_answer_that_cannot_be_is_refused(
    plant: Plant, fields: dict[str, Any], refusal: type[LedgerError], where: str
) -> None:
    """One name twice at once, a photo of a ball that is no sample, a file that is none."""
    refused = plant.refused(item(**fields))
    assert (refusal, where) == (type(refused), refused.where)


def test_a_frozen_file_takes_no_answers() -> None:
    """It has to be opened again first."""
    assert isinstance(frozen_plant().refused(item()), RuleStands)


def test_what_a_file_rests_on_is_not_erased() -> None:
    """A paper, the list of candidates and the frozen document are kept: signatures are on them."""
    plant = frozen_plant()
    announcement = next(iter(plant.tables.rows[ApprovalAnnouncement].values()))
    freeze = next(iter(plant.tables.rows[ApprovalFreeze].values()))
    for digest, what in (
        (PAPER, "a paper of an approval file"),
        (announcement.candidates, "a list of candidates"),  # type: ignore[attr-defined]  # its row
        (freeze.digest, "a frozen approval file"),  # type: ignore[attr-defined]  # its row
    ):
        plant.blobs.add(digest)
        refused = plant.refused(BlobErasure(at=at(30), blobs=(digest,), basis="request", reason="asked"))
        assert (RuleStands, what) == (type(refused), refused.got)
