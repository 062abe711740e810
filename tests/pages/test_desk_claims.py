"""A claim through the forms of the desk: opened, examined, decided, answered by letter, replaced, without scripts."""

from __future__ import annotations

import io
from collections.abc import Iterator
from urllib.parse import quote

import pypdfium2  # type: ignore[import-untyped]  # the package has no type marker
import pytest

from tests.api.running import Service
from tests.application.desk_stories import png
from tests.pages.desk_service import browser_of, desk_running, entered, followed, path_of, send_files
from tests.pages.forms_sent import Browser
from tests.plant import AT

NEW = "/desk/claim/new"
PHOTO = ("photos", ("crack.png", png("crack"), "image/png"))


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with eight balls."""
    with desk_running(tmp_path_factory.mktemp("claims")) as one:
        yield one


@pytest.fixture
def desk(service: Service) -> Iterator[Browser]:
    """The desk's browser."""
    with browser_of(service, "desk") as browser:
        yield browser


def open_claim(browser: Browser, number: int, **fields: str) -> str:
    """Open a claim on a ball by its form; the claim's page."""
    browser.open(f"{NEW}?unit=U-{number:06d}&serial=P{number:06d}")
    return path_of(browser.send(NEW, **{"mode": "void", **fields}))


def test_from_a_half_worn_number_to_a_decided_claim_and_its_letter(desk: Browser) -> None:
    """Every step by a form, and the letter is the one that was looked at."""
    assert "8 balls fit." in desk.open("/desk?q=P00000%3F&weight=15").text
    page = desk.open(f"{NEW}?unit=U-000001&serial=P000001&read=P00000%3F&whole=yes").text
    assert "Read as P00000?, taken for the number above." in page
    assert "What the facts speak for:" in page
    said = {
        "mode": "void",
        "bought_on": "2026-03-05",
        "proof": "receipt",
        "claimant": "Ann Example",
        "contact": "1 Road\r\nTown",
    }
    claim = path_of(send_files(desk, NEW, [PHOTO], **said))
    opened = desk.open(f"{claim}?note=opened&whole=yes").text
    assert "The claim is open." in opened
    assert "Ann Example" in opened
    assert "14 days left" in opened
    followed(desk, send_files(desk, f"{claim}/examine", [], findings="void at pin, Soft spot"))
    assert "Void at pin, soft spot" in desk.page.text
    desk.open(f"{claim}?whole=yes")
    decided = followed(desk, desk.send(f"{claim}/decide", way="accept:in-term"))
    assert "The decision is entered." in decided.text
    looked = desk.send(f"{claim}/letter", act="look", to="Ann Example\nTown")
    assert "the ball is within its warranty term" in looked.text
    draft = desk.client.post(
        f"{claim}/letter", data={**dict(desk.found().forms[f"{claim}/letter"]), "act": "pdf", "to": "Ann Example\nTown"}
    )
    assert b"%PDF" == draft.content[:4]
    sent = followed(desk, desk.send(f"{claim}/letter", act="send", to="Ann Example\nTown"))
    assert "The letter is stored, and the book says that it went." in sent.text
    digest = sent.text.rpartition('href="/blobs/')[2][:64]
    stored = desk.client.get(f"/blobs/{digest}")
    assert pdf_text(stored.content) == pdf_text(draft.content)


def pdf_text(raw: bytes) -> str:
    """The words of a letter's first page."""
    return str(pypdfium2.PdfDocument(io.BytesIO(raw))[0].get_textpage().get_text_range())


def test_a_refused_claim_is_shown_with_all_that_was_typed(service: Service, desk: Browser) -> None:
    """What is wrong stands beside its field, the photo is kept, and the mended form enters one claim."""
    desk.open(f"{NEW}?unit=U-000002&serial=P000002")
    answer = send_files(desk, NEW, [PHOTO], mode="no-such-mode", claimant="Bob Example", note="rang twice")
    assert 422 == answer.status_code
    assert "no failure mode of the trade" in answer.text
    assert "Bob Example" == desk.found().fields["claimant"]["value"]
    assert "rang twice</textarea>" in answer.text
    assert ("kept", "photo") == (desk.found().fields["kept"]["name"], (desk.found().fields["kept"]["value"] or "")[:5])
    claim = path_of(desk.send(NEW, mode="void"))
    seen = service["desk"].get(claim.replace("/desk/claim/", "/claims/")).json()
    assert ["photo"] == [file["what"] for file in seen["evidence"]]


def test_a_photo_that_is_none_is_refused_beside_its_field(desk: Browser) -> None:
    """By its own bytes, whatever it is called; nothing is entered."""
    desk.open(f"{NEW}?unit=U-000002&serial=P000002")
    answer = send_files(desk, NEW, [("photos", ("crack.png", b"<svg>", "image/png"))], mode="void")
    assert 422 == answer.status_code
    assert "file is no picture and no document" in answer.text
    assert "true" == desk.found().fields["photos"]["aria-invalid"]


def test_a_form_that_is_sent_twice_enters_once(service: Service, desk: Browser) -> None:
    """The second sending leads to the same claim and says that it stands once."""
    desk.open(f"{NEW}?unit=U-000003&serial=P000003")
    size = len(service["auditor"].get("/claims", params={"limit": 1000}).json()["claims"])
    first, again = (desk.send(NEW, mode="void", note="double tap") for _ in range(2))
    assert path_of(first) == path_of(again)
    assert "This form had been sent before." in followed(desk, again).text
    assert size + 1 == len(service["auditor"].get("/claims", params={"limit": 1000}).json()["claims"])


def test_what_the_terms_say_is_shown_before_anything_is_entered(service: Service, desk: Browser) -> None:
    """By what was typed so far, which stays typed; names go in no address."""
    before = service.book.checkpoint()
    desk.open(f"{NEW}?unit=U-000004&serial=P000004")
    looked = desk.send(NEW, act="look", mode="void", bought_on="2026-03-05", claimant="Cleo Example")
    assert 200 == looked.status_code
    assert "In term · last day 5 Mar 2027" in looked.text
    assert "Cleo Example" == desk.found().fields["claimant"]["value"]
    assert before == service.book.checkpoint()


def test_a_decision_without_its_evidence_is_refused_and_keeps_the_choice(desk: Browser) -> None:
    """The reason says what is missing; the way stays chosen."""
    claim = open_claim(desk, 5)
    desk.open(f"{claim}?whole=yes")
    answer = desk.send(f"{claim}/decide", way="accept:fault-found", decide_note="looked at it")
    assert 422 == answer.status_code
    assert "lacks an examination" in answer.text
    assert 'value="accept:fault-found" selected' in answer.text
    assert "looked at it</textarea>" in answer.text
    early = desk.client.post(f"{claim}/letter", data={**dict(desk.found().forms[f"{claim}/decide"]), "act": "look"})
    assert 422 == early.status_code


def test_a_ball_is_replaced_by_the_number_of_another(desk: Browser) -> None:
    """By number or unit; a number that no ball bears is refused beside its field."""
    claim = open_claim(desk, 6)
    desk.open(f"{claim}?whole=yes")
    followed(desk, desk.send(f"{claim}/decide", way="goodwill:goodwill", decide_note="granted by the head of the desk"))
    wrong = desk.send(f"{claim}/replace", new_ball="P999999", term="fresh", old_ball="kept")
    assert 404 == wrong.status_code
    assert "P999999" == desk.found().fields["new_ball"]["value"]
    done = followed(desk, desk.send(f"{claim}/replace", new_ball="P000007", term="fresh", old_ball="kept"))
    assert "Replaced by" in done.text
    assert f"{claim}/replace" not in desk.found().forms


def test_what_does_not_fit_is_opened_and_said(desk: Browser) -> None:
    """A purchase before the ball was made, and a number that is on no ball."""
    claim = open_claim(desk, 8, bought_on="2019-05-05")
    assert "before" in followed_caution(desk, claim)
    desk.open(f"{NEW}?serial={quote('H77-41202')}")
    unknown = path_of(desk.send(NEW, mode="other"))
    assert "none of this book answers to it" in desk.open(unknown).text


def followed_caution(browser: Browser, claim: str) -> str:
    """The first caution of a claim's page."""
    page = browser.open(claim).text
    return page[page.index('<p class="caution">') :][:300]


def test_the_list_has_what_is_due_first_and_marks_what_is_over(service: Service, desk: Browser) -> None:
    """By word and form; filters of a form that are empty say nothing; a wrong one is refused."""
    entered(service, "desk", {"kind": "claim-opened", "at": AT, "claim": "WC-OLD", "mode": "void", "serial": "P000007"})
    page = desk.open("/desk/claims?state=undecided&mode=&model=&market=&since=").text
    assert page.index("WC-OLD") < page.index("days left")
    row = page[page.index("WC-OLD") :][:400]
    assert "days over" in row
    assert '<tr class="late-row">' in page
    only = desk.open("/desk/claims?overdue=true").text
    assert "days left" not in only
    assert "WC-OLD" in only
    assert 400 == desk.open("/desk/claims?state=lost").status_code


def test_an_auditor_sees_a_claim_and_nothing_of_people(desk: Browser, service: Service) -> None:
    """No name, no proposal, no form."""
    claim = open_claim(desk, 1, claimant="Dora Example")
    with browser_of(service, "auditor") as auditor:
        page = auditor.open(claim)
        assert 200 == page.status_code
        assert "Dora" not in page.text
        assert not [action for action in auditor.found().forms if action.startswith("/desk")]
        assert 403 == auditor.open(f"{claim}?part=yes").status_code
