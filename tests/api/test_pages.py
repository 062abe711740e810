"""Pages and headers: nothing comes from another host, and every answer carries the same headers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from api.headers import FIXED
from api.problems import explanations
from tests.api.running import GTIN, Service, running

PAGES = [
    "/",
    "/docs",
    f"/01/{GTIN}/21/P000001",
    f"/01/{GTIN}/21/P404404",
    "/problems/refused",
    "/problems/internal-error",
]
HTML = {"accept": "text/html"}
LOADS = re.compile(
    r"""(?:src|href|action|data|poster)\s*=\s*["']([^"']*)["']|url\(\s*["']?([^"')]+)|@import\s+["']([^"']+)"""
)


def loaded(text: str) -> list[str]:
    """Every address that a page or style sheet names."""
    return ["".join(found) for found in LOADS.findall(text)]


@pytest.mark.parametrize("path", PAGES)
def test_pages_load_nothing_from_another_host(service: Service, path: str) -> None:
    """Every address in a page, and in the files that it loads, is on this host, and every one of them is there."""
    page = service.nobody.get(path, headers=HTML)
    assert (200, True) == (page.status_code, page.text.startswith("<!doctype html>"))
    addresses = loaded(page.text)
    for address in list(addresses):
        answer = service.nobody.get(address)
        assert answer.status_code in {200, 303}, address
        if address.endswith(".css"):
            addresses += loaded(answer.text)
    # A link to the page in another language has the client remember that one.
    service.nobody.cookies.clear()

    assert addresses
    assert [] == [address for address in addresses if not (address.startswith(("/", "data:", "#")))]
    assert [] == [address for address in addresses if address.startswith("//")]


def test_no_page_holds_a_script_or_style_of_its_own(service: Service) -> None:
    """Scripts and styles are files, so that the policy can forbid all others."""
    for path in PAGES:
        text = service.nobody.get(path, headers=HTML).text
        assert [] == re.findall(r"<script(?![^>]*\bsrc=)|<style|\son\w+=|style=|javascript:", text), path


def test_the_viewer_asks_only_this_host(service: Service) -> None:
    """The viewer reads this service's description, and is told of no validator and no other address."""
    script = service.nobody.get("/static/viewer.js").text

    assert 'url: "/docs/openapi-3.0.json"' in script
    assert "validatorUrl: null" in script
    assert [] == re.findall(r"https?://", script)


def test_the_front_page_states_the_cautions(service: Service) -> None:
    """The first page says what a verdict, a warranty answer and a label are worth."""
    text = service.nobody.get("/", headers=HTML).text

    assert all(said in text for said in ("own assessment", "a person decides", "issued by us", "styrene"))


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/", 200),
        ("GET", "/nothing", 404),
        ("DELETE", "/live", 405),
        ("GET", "/standing", 401),
        ("GET", "/docs", 200),
    ],
)
def test_every_answer_carries_the_headers(service: Service, method: str, path: str, status: int) -> None:
    """Answers of every kind carry the security headers and a policy that loads from this host alone."""
    answer = service.nobody.request(method, path)

    assert status == answer.status_code
    assert FIXED.items() <= dict(answer.headers).items()
    assert "default-src 'none'; script-src 'self';" in answer.headers["content-security-policy"]
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
    assert "server" not in answer.headers


def test_a_failure_is_a_500_without_detail(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What nobody foresaw is a 500 with an incident id, the same headers, and nothing of its cause."""

    def failing() -> None:
        raise RuntimeError("secret of the plant")

    with running(tmp_path) as service:
        monkeypatch.setattr(service.book, "standing", failing)
        answer = service["quality"].get("/standing")
        after = service["quality"].get("/lots/SL-1")

    problem = answer.json()
    assert (500, "internal-error", True) == (answer.status_code, problem["code"], len(problem["incident"]) == 36)
    assert "secret" not in answer.text
    assert FIXED.items() <= dict(answer.headers).items()
    assert 200 == after.status_code


@pytest.mark.parametrize(
    "path", ["/", "/live", "/checkpoint", f"/01/{GTIN}/21/P000001", "/docs", "/nothing", "/standing"]
)
def test_head_is_answered_as_get_without_a_body(service: Service, path: str) -> None:
    """HEAD gives the status and headers of GET and no body."""
    head, get = service.nobody.head(path), service.nobody.get(path)

    assert (get.status_code, get.headers["content-type"], b"") == (
        head.status_code,
        head.headers["content-type"],
        head.content,
    )


def test_every_problem_code_is_explained(service: Service) -> None:
    """Each code has a page, for programs and for people."""
    for code, explained in explanations().items():
        answer = service.nobody.get(f"/problems/{code}")
        assert (200, code, explained.status) == (answer.status_code, answer.json()["code"], answer.json()["status"])
        assert code in service.nobody.get(f"/problems/{code}", headers=HTML).text


def test_answers_to_an_account_are_not_kept(service: Service) -> None:
    """No cache keeps what an account was shown; files of the pages may be kept."""
    assert "no-store" == service["desk"].get("/lots/SL-1").headers["cache-control"]
    assert "max-age" in service.nobody.get("/static/pages.css").headers["cache-control"]


def test_the_public_page_is_limited_by_address(tmp_path: Path) -> None:
    """After its burst an address is told when to come back, and other addresses of the service still answer."""
    with running(tmp_path, public_burst=3, public_per_minute=1) as service:
        answers = [service.nobody.get(f"/01/{GTIN}/21/P1") for _ in range(5)]
        other = service.nobody.get("/checkpoint")

    assert [200, 200, 200, 429, 429] == [answer.status_code for answer in answers]
    assert ("too-many-requests", True) == (answers[-1].json()["code"], int(answers[-1].headers["retry-after"]) > 0)
    assert 200 == other.status_code
