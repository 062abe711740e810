"""Approval files, dossiers and outside auditors by pages alone, without scripts."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from ledger.application.sign_in import set_password
from ledger.book.signing import format_verifier
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.evidence.files import verify_page_digest
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from tests.api.running import SIGNERS, Service
from tests.api.test_approvals_served import checklist, ready
from tests.application.files import PDF
from tests.pages.desk_service import browser_of, desk_running, followed, send_files
from tests.pages.forms_sent import PASSWORD, Browser

RULEBOOK = shipped_rulebooks()["usbc-2026"].digest
KEY = format_verifier(SIGNERS.checkpoint.verifier)
FILE = "/evidence/approval/AF-1"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Eight balls, a rulebook and a checklist adopted, and two more people of quality."""
    with desk_running(tmp_path_factory.mktemp("evidence")) as one:
        ready(one)
        yield one


@pytest.fixture
def quality(service: Service) -> Iterator[Browser]:
    """The quality lead's browser."""
    with browser_of(service, "quality") as browser:
        yield browser


def second_person(service: Service, name: str) -> Browser:
    """A further person of quality, signed in."""
    account, _ = service.book.open_account(name, ("quality",))
    set_password(service.book.store, account.account, PASSWORD, service.book.clock_ms(), must_change=False)
    browser = Browser(service)
    assert browser.sign_in(name).status_code == 303
    return browser


def new_file(service: Service, file: str) -> dict[str, str | list[str]]:
    """The fields of a new file about M1 at 15 lb."""
    said = {"file": file, "model": "M1", "revision": "1", "body": "body-a", "classes": "15"}
    return {**said, "rulebook": RULEBOOK, "checklist": checklist(service)}


def test_an_approval_file_goes_through_its_forms(service: Service, quality: Browser) -> None:
    """Opened, announced, drawn, answered, frozen, signed by two others, handed over and answered: each by its form."""
    quality.open("/evidence")
    fields = new_file(service, "af-1")
    page = followed(quality, quality.send("/evidence/approvals", **fields)).text
    assert "Approval file AF-1" in page
    assert "4 candidates now" in page
    assert followed(quality, quality.send(f"{FILE}/announce", **{"balls-15": "3"})).status_code == 200
    page = followed(quality, quality.send(f"{FILE}/draw")).text
    assert "3 balls that the draw gave" in page
    assert "No witness has signed it yet" in page
    left = service["quality"].get("/approvals/AF-1").json()
    open_items = [item["item"] for item in left["page"]["items"] if item["applies"] and not item["met"]]
    page = followed(quality, quality.send(f"{FILE}/freeze", left_open=open_items)).text
    assert "frozen" in page
    for name in ("Second of quality", "Third of quality"):
        other = second_person(service, name)
        assert "I sign these words" in other.open(FILE).text
        assert "You have signed it" in followed(other, other.send(f"{FILE}/sign")).text
        other.close()
    quality.open(FILE)
    page = followed(quality, quality.send(f"{FILE}/hand-over", dossier="d" * 64, to="Body A")).text
    assert "handed over" in page
    page = followed(quality, quality.send(f"{FILE}/answer", answer="more-wanted")).text
    assert "more is wanted" in page
    told = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    assert "d" * 64 in told
    signed = [
        name for name in ("Second of quality", "Third of quality") if re.search(rf"Signed · [^·]+ · {name} · \d", told)
    ]
    assert ["Second of quality", "Third of quality"] == signed
    assert re.search(r"15 lb: 3 of 4 balls that could be drawn\. Drawn by fact \d+\.\d", told)


def test_a_refused_step_says_why_beside_its_form(service: Service, quality: Browser) -> None:
    """The freezer cannot sign; what was typed stands again."""
    quality.open("/evidence")
    fields = new_file(service, "AF-2")
    followed(quality, quality.send("/evidence/approvals", **fields))
    answer = quality.send("/evidence/approval/AF-2/announce", **{"balls-15": "99"})
    assert answer.status_code == 422
    assert "too few candidates" in answer.text
    assert 'value="99"' in answer.text


def test_a_ball_says_that_it_is_a_sample(service: Service, quality: Browser) -> None:
    """Of which file and for whom; the link is for those who may see the file."""
    quality.open("/evidence")
    followed(quality, quality.send("/evidence/approvals", **new_file(service, "AF-4")))
    file = "/evidence/approval/AF-4"
    followed(quality, quality.send(f"{file}/announce", **{"balls-15": "1"}))
    followed(quality, quality.send(f"{file}/draw"))
    [sample] = service["quality"].get("/approvals/AF-4").json()["page"]["samples"]
    told = service["station"].get(f"/balls/{sample['unit']}").json()["sample_of"]
    assert ("AF-4", "in") in [(one["file"], one["state"]) for one in told]

    seen = quality.open(f"/ball/{sample['unit']}").text
    assert f'of approval file <a class="id" href="{file}">AF-4</a> for body-a' in seen
    with browser_of(service, "station") as station:
        seen = station.open(f"/ball/{sample['unit']}").text
        assert 'of approval file <span class="id">AF-4</span> for body-a' in seen
        assert file not in seen
    others = [f"U-{number:06d}" for number in (5, 6, 7, 8) if f"U-{number:06d}" != sample["unit"]]
    assert all("AF-4" not in quality.open(f"/ball/{unit}").text for unit in others)


def test_an_item_is_answered_with_a_file(service: Service, quality: Browser) -> None:
    """A paper is stored, and a field of the data sheet needs none."""
    quality.open("/evidence")
    fields = new_file(service, "AF-3")
    followed(quality, quality.send("/evidence/approvals", **fields))
    items = service["quality"].get("/approvals/AF-3").json()["checklist"]["item"]
    item = next(one for one in items if one.get("documents"))
    action = "/evidence/approval/AF-3/item"
    fields = {"item": item["id"], "sort": "document", "part": item["documents"][0]}
    answer = quality.send(action, **fields)
    assert "no file came along" in answer.text
    sent = send_files(quality, action, [("content", ("sheet.pdf", PDF, "application/pdf"))], **fields)
    assert sent.status_code == 303, sent.text
    told = service["quality"].get("/approvals/AF-3").json()["page"]["parts"]
    assert [(item["id"], "document")] == [(part["item"], part["sort"]) for part in told]


def test_a_dossier_is_made_by_its_form(quality: Browser) -> None:
    """The file is the one that the verifier takes; a number that is none gives the form again with the reason."""
    quality.open("/evidence/dossier")
    answer = quality.send("/evidence/dossier", serials="P000001 P000002")
    assert answer.headers["content-type"] == "application/zip"
    report = check_dossier(io.BytesIO(answer.content), Trust(keys=[KEY]))
    assert report.counts.balls == 2
    quality.open("/evidence/dossier")
    refused = quality.send("/evidence/dossier", serials="P999999")
    assert refused.status_code == 404
    assert "P999999" in refused.text


def test_ball_and_lot_lead_to_the_form_filled_in(quality: Browser) -> None:
    """From a ball, from a shell lot and from an address with a file, each in its own field."""
    assert 'href="/evidence/dossier?serials=P000001"' in quality.open("/ball/U-000001").text
    assert "P000001</textarea>" in quality.open("/evidence/dossier?serials=P000001").text
    assert 'href="/evidence/dossier?lots=SL-1"' in quality.open("/lot/SL-1").text
    assert 'value="SL-1"' in quality.open("/evidence/dossier?lots=SL-1").text
    assert 'value="AF-9"' in quality.open("/evidence/dossier?approval_file=AF-9").text


def test_rule_of_the_draw_is_told_with_what_it_does_not_prevent(quality: Browser) -> None:
    """In words, for whoever reads the file."""
    assert "What it does not prevent" in quality.open("/evidence/draw-rule").text


def test_an_outside_auditor_is_let_in_and_every_look_is_seen(service: Service, quality: Browser) -> None:
    """Granted by days, looked at by its auditor, listed for the plant, and ended."""
    account = service.book.account_of(service.tokens["examiner"]).account
    quality.open("/evidence/examinations")
    fields = {"examination": "x-1", "account": account, "from_on": "2026-01-01", "to_on": "2026-03-31", "lots": "SL-1"}
    refused = quality.send("/evidence/examinations", **{**fields, "lots": "NONE"})
    assert "is no shell lot" in refused.text
    today = service.book.clock_ms()
    day = datetime.fromtimestamp(today / 1000, UTC).date()
    fields |= {"from_on": str(day - timedelta(1)), "to_on": str(day + timedelta(1))}
    page = followed(quality, quality.send("/evidence/examinations", **fields)).text
    assert "Examination X-1" in page
    with browser_of(service, "examiner") as auditor:
        assert "X-1" in auditor.open("/examination").text
        page = auditor.open("/examination/X-1").text
        assert "P000003" in page
        assert "recipes, suppliers, consignees; people and notes" in page
        assert verify_page_digest() in page
        assert "Ball P000003" in auditor.open("/examination/X-1/ball/U-000003").text
        assert "Verdicts by usbc-2026" in auditor.open("/examination/X-1/verdicts?rulebook=usbc-2026").text
        assert 'href="/examination/X-1/lot/SL-1"' in auditor.open("/examination/X-1").text
        seen = auditor.open("/examination/X-1/lot/SL-1").text
        assert "Lot SL-1" in seen
        assert "Account of the lot" in seen
        auditor.open("/examination/X-1")
        answer = auditor.send("/examination/X-1/dossier")
        assert check_dossier(io.BytesIO(answer.content), Trust(keys=[KEY])).counts.balls == 8
        assert auditor.open("/ball/U-000003").status_code == 403
        assert auditor.open("/evidence").status_code == 403
    page = quality.open("/evidence/examination/X-1").text
    for look in ("list of balls", "a ball", "a lot", "verdicts", "dossier taken along"):
        assert look in page
    page = followed(quality, quality.send("/evidence/examination/X-1/end", reason="done")).text
    assert "ended" in page


def test_a_grant_keeps_open_what_its_boxes_leave_open(service: Service, quality: Browser) -> None:
    """With no box set nothing stays sealed; the bounds of making count whole days."""
    account = service.book.account_of(service.tokens["examiner"]).account
    quality.open("/evidence/examinations")
    fields = {"examination": "x-2", "account": account, "from_on": "2026-01-01", "to_on": "2026-01-02", "lots": "SL-1"}
    fields |= {"made_from": "2026-03-01", "made_to": "2026-03-02"}
    followed(quality, quality.send("/evidence/examinations", **fields, withhold=[]))
    told = service["quality"].get("/examinations/X-2").json()["examination"]
    assert "withheld" not in told
    assert told["made_to"].startswith("2026-03-02T23:59:59.999")
