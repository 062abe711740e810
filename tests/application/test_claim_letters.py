"""Letters to claimants: made, stored, entered, read back."""

from __future__ import annotations

import hashlib
from contextlib import closing
from typing import Any

import pypdfium2  # type: ignore[import-untyped]  # the package has no type marker
import pytest

from ledger.errors import Forbidden, KeyReused, RuleStands
from ledger.store.blobs import read_blob
from tests.application.desk_stories import decided, examined, letter, photo, replaced, seen
from tests.application.floor import Floor, claimed, corrected


@pytest.fixture
def desk(ready: Floor) -> Floor:
    """A claim by Ann on P-1, accepted after an examination; P-2 is on the shelf."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    who: dict[str, Any] = {"claimant": "Ann Example", "contact": "1 Lane Road\nExampleton"}
    ready.say(claimed("C-1", serial="P-1", bought_on="2026-09-29", evidence=[photo(ready)], **who))
    ready.say(examined("C-1", 310, "crack-at-block"), decided("C-1", "accept", "fault-found"))
    return ready


def text_of(floor: Floor, digest: str) -> tuple[str, int]:
    """The text of a stored letter, its line ends made blanks, and its number of pages."""
    with closing(pypdfium2.PdfDocument(read_blob(floor.book.store, digest).bytes)) as document:
        pages = [page.get_textpage().get_text_range() for page in document]
    return " ".join(" ".join(pages).split()), len(pages)


def test_a_letter_says_decision_reason_and_what_follows(desk: Floor) -> None:
    """One page, in the plant's name, to the claimant, with number, decision, findings; nothing of lots or others."""
    desk.say(replaced("C-1", "U-2", term="remaining"))
    written, _ = letter(desk, "C-1")
    text, pages = text_of(desk, written.letter)
    assert 1 == pages
    for said in (
        "Plant", "Ann Example", "1 Lane Road", "Claim C-1", "ball P-1", "crack over the weight block",
        "We accept your claim: a fault of ours was found on the ball.", "We found: crack at block.",
        "Ball P-2 takes its place, with what remains of the term of the old one.", "You may keep the old ball",
    ):  # fmt: skip
        assert said in text, said
    for unsaid in ("SL-1", "CL-1", "BL-1", "MIX", "DRUM", "Acme"):
        assert unsaid not in text, unsaid


def test_a_letter_is_stored_and_entered(desk: Floor) -> None:
    """Its PDF lies under the digest that the entry names, the address is sealed, and the claim shows it."""
    written, entered = letter(desk, "C-1")
    blob = read_blob(desk.book.store, written.letter)
    assert ("application/pdf", hashlib.sha256(blob.bytes).hexdigest()) == (blob.media_type, written.letter)
    assert b"Ann" not in entered.entry_bytes
    assert [("photo", "stored"), ("reply", "stored")] == [(one.what, one.file) for one in seen(desk, "C-1").evidence]
    assert entered.addresses[0] == seen(desk, "C-1").facts[-1].fact


def test_the_same_key_gives_the_same_letter_again(desk: Floor) -> None:
    """A retry enters nothing, on another day and after more was said of the claim too."""
    first, entered = letter(desk, "C-1", key="once")
    desk.say(replaced("C-1", "U-2"))
    desk.now_ms += 3 * 86_400_000
    again, repeated = letter(desk, "C-1", key="once")
    assert (first.letter, entered.index, True, entered.entry_bytes) == (
        again.letter, repeated.index, repeated.repeated, repeated.entry_bytes,
    )  # fmt: skip


def test_a_key_of_something_else_is_refused(desk: Floor) -> None:
    """Of another claim's letter, of other records, and of a letter to another address."""
    letter(desk, "C-1", key="once", to=("Bob",))
    desk.say(claimed("C-2", 340, serial="NOBODY"), decided("C-2", "need-more", "number-missing", 341))
    for claim, key, to in (("C-2", "once", ()), ("C-1", "k-1", ()), ("C-1", "once", ("Eve",))):
        with pytest.raises(KeyReused):
            letter(desk, claim, key=key, to=to)


def test_a_letter_that_waits_says_what_for_and_until_when(ready: Floor) -> None:
    """A request names what is missing and the day by which it is due."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", serial="P-1"), decided("C-1", "need-more", "photo-missing", answer_by="2026-11-30"))
    written, _ = letter(ready, "C-1", to=("Ann",))
    text, _ = text_of(ready, written.letter)
    assert "photos of the fault, and one of the whole ball" in text
    assert "Please send it to us by 2026-11-30, and name claim C-1." in text


def test_an_out_of_term_letter_tells_the_end_of_the_term(ready: Floor) -> None:
    """As the desk's answer works it out."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", 10_000, serial="P-1", bought_on="2026-09-29"))
    ready.say(decided("C-1", "reject", "out-of-term", 10_001))
    text, _ = text_of(ready, letter(ready, "C-1")[0].letter)
    assert "By our records: bought on 2026-09-29, 12 months: to 2027-09-29 inclusive." in text


def test_a_claim_that_is_only_open_gets_no_letter(ready: Floor) -> None:
    """Open and examined claims are refused, and nothing is stored for them."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", serial="P-1"))
    for more in ((), (examined("C-1"),)):
        if more:
            ready.say(*more)
        with pytest.raises(RuleStands, match="neither decided nor waiting") as refused:
            letter(ready, "C-1", key=f"try-{len(more)}")
        assert "decide it first" in refused.value.mend


def test_who_is_told_follows_a_correction_and_an_erasure(desk: Floor) -> None:
    """The address is that of the corrected opening; once erased, the letter goes to the claimant without a name."""
    opening = seen(desk, "C-1").facts[0].fact
    fixed = desk.say(corrected({"fact": opening, "replacement": claimed("C-1", serial="P-1", claimant="Anne Example")}))
    assert "Anne Example" in text_of(desk, letter(desk, "C-1", key="one")[0].letter)[0]
    desk.say(
        {"kind": "erasure", "at": "2026-10-10T00:00:00.000+00:00", "entry": fixed.index,
         "fields": ["0/changes/0/replacement/claimant"], "basis": "request", "reason": "asked-by-the-person"}
    )  # fmt: skip
    text = text_of(desk, letter(desk, "C-1", key="two")[0].letter)[0]
    assert "To the claimant" in text
    assert "Anne" not in text


def test_whoever_may_not_answer_claims_writes_no_letter(desk: Floor) -> None:
    """A station's account is refused."""
    station = desk.book.open_account("Station", ("station",))[0]
    desk.lead = station
    with pytest.raises(Forbidden):
        letter(desk, "C-1")
