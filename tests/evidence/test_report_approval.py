"""The part of a report that tells an approval file: what its page in the dossier says, and no word that a body alone may say."""

from __future__ import annotations

from ledger.evidence.approval_sheet import (
    AnnouncementLine,
    ApprovalPage,
    ChangeLine,
    ClassLine,
    CountLine,
    FreezeLine,
    HandOverLine,
    ItemLine,
    ReplyLine,
    SampleLine,
    SignatureLine,
)
from ledger.evidence.dossier_format import APPROVAL, format_page
from tests.evidence.reported import changed, made, pages_of, wide_rulebooks, wide_sheet
from tests.evidence.small_dossier import dossier
from tests.evidence.test_report_pdf import NEVER

DIGEST = "ab" * 32
ACCOUNT = "a-0123456789abcdef"

PAGE = ApprovalPage(
    file="AF-7",
    model="ROC",
    revision=1,
    core="symmetric",
    body="usbc",
    classes=(14, 15),
    rulebook=DIGEST,
    checklist=DIGEST,
    checklist_id="plant-list",
    opened="2.0",
    by=ACCOUNT,
    state="answered",
    reopened=1,
    frozen="8.0",
    answer="approved",
    announcements=(
        AnnouncementLine(
            fact="5.0",
            lots=("S1",),
            states=("engraved",),
            rule="seed-order",
            candidates=DIGEST,
            classes=(ClassLine(weight_class=15, balls=2, candidates=9, root=DIGEST),),
            drawn="6.0",
            seed="cd" * 32,
        ),
    ),
    samples=(
        SampleLine(unit="U-0001", weight_class=15, announcement="5.0", place=0, state="in", fact="6.0"),
        SampleLine(
            unit="U-0003",
            weight_class=15,
            announcement="5.0",
            place=1,
            state="replaced",
            fact="6.0",
            reason="cut-open",
            instead="U-0001",
        ),
    ),
    items=(
        ItemLine(
            item="samples",
            text="Sample balls as they will be sold",
            met=False,
            applies=True,
            counts=(CountLine(weight_class=15, wanted=3, drawn=2, measured=1), CountLine(drawn=2, measured=1)),
            missing=("2 of 3 balls measured in class 15 lb", "high RG axis mark missing on U-0001"),
        ),
        ItemLine(item="fee", text="The testing fee", met=True, applies=True),
        ItemLine(item="marks", text="Spin axis mark", met=True, applies=False),
    ),
    freezes=(
        FreezeLine(fact="4.0", document="ef" * 32, by=ACCOUNT),
        FreezeLine(fact="8.0", document=DIGEST, by=ACCOUNT, left_open=("samples",)),
    ),
    signatures=(SignatureLine(fact="4.1", freeze="4.0", by=ACCOUNT), SignatureLine(fact="8.1", freeze="8.0", by="a-2")),
    hand_overs=(HandOverLine(fact="9.1", freeze="8.0", dossier=DIGEST, by=ACCOUNT),),
    replies=(
        ReplyLine(fact="10.0", answer="more-wanted", by=ACCOUNT),
        ReplyLine(fact="11.0", answer="approved", by=ACCOUNT, reference="letter 7"),
    ),
    changes=(
        ChangeLine(fact="12.0", freeze="8.0", sort="plan", subject="ROC", shown_by="7.0"),
        ChangeLine(fact="999.0", freeze="8.0", sort="gauge", subject="G-1", shown_by="7.0", reported="9.0"),
    ),
)


def report_pages() -> list[str]:
    """The pages of a report of one ball with that approval file."""
    raw = changed(dossier(), [wide_sheet(1)], wide_rulebooks(), {APPROVAL: format_page(PAGE)})
    return pages_of(made(raw))


def test_approval_file_is_told() -> None:
    """Checklist, draw with its seed, replaced balls, hand-over, answers and changes stand in a part of their own."""
    pages = report_pages()
    text = " ".join(page for page in pages if "The approval file" in page or "Handed over" in page)
    wanted = [
        "AF-7", "model ROC, revision 1", "14 lb, 15 lb", "opened again 1 time", "left open: samples",
        "2 of 3 balls measured in class 15 lb; high RG axis mark missing", "15 lb: 1 of 3 measured; all: 1 of 2 measured",
        "MISSING", "does not apply", "Seed of 5.0", "cd" * 8, "replaced, cut open, instead WÜRZBURG",
        "handed over with a dossier", "the body answered: accepted, reference letter 7", "more is wanted",
        "changed since: plan ROC (fact 7.0); the body was not told yet", "the body was told, fact 9.0",
    ]  # fmt: skip
    assert [one for one in wanted if one not in text] == []


def test_signatures_are_told_by_account_alone() -> None:
    """Who signed which frozen document stands there, without a name that could not be erased; an earlier one counts no more."""
    page = next(page for page in report_pages() if "Signed in the book" in page)
    assert ACCOUNT in page
    assert "the document frozen by 4.0" in page
    assert page.count("counts no more: the file was opened again") == 1
    assert "Place and date" in page


def test_body_s_answer_is_in_words_of_its_own() -> None:
    """The record says which answer was entered; the report says it so that nobody takes it for the maker's word."""
    assert [found for page in report_pages() for found in NEVER.findall(page)] == []
