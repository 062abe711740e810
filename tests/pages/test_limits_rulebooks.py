"""Rulebooks, gauges and sampling as pages: what they show, taking a plant's own file, refusals by line, roles."""

from __future__ import annotations

from collections.abc import Iterator

import httpx
import pytest

from api.pages.limits.rulebook_pages import wrong_lines
from api.pages.words import limit_words
from ledger.conformity.rulebook import shipped_rulebooks
from tests.api.running import Service
from tests.pages.forms_sent import Browser
from tests.pages.limits_plant import browser_of, limits_plant, text_of

OWN = b"""format = 1
id = "town-shop"
body = "Town shop (invented)"
edition = "1"
title = "Limits agreed with a shop"
made_event = "engraving"

[[requirement]]
id = "town.hardness"
row = "contract"
quantity = "hardness"
operator = ">="
limits = ["74"]
unit = "shore_d"
clock = "manufacture"
source = "contract, page 2"
provenance = "read"
"""


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The plant."""
    with limits_plant(tmp_path_factory.mktemp("rulebooks")) as one:
        yield one


@pytest.fixture
def browser(service: Service) -> Iterator[Browser]:
    """The quality lead's."""
    opened = browser_of(service, "quality")
    yield opened
    opened.close()


def sent(browser: Browser, raw: bytes, **changes: str) -> httpx.Response:
    """Send a file by the form of the page."""
    browser.open("/limits/rulebooks")
    fields = {**dict(browser.found().forms["/limits/rulebooks"]), **changes}
    files = {"file": ("own.toml", raw, "application/toml")} if raw else {"file": ("", b"", "application/toml")}
    return browser.client.post(
        "/limits/rulebooks", data={name: fields[name] for name in ("form_token", "key")}, files=files
    )


def test_every_edition_with_what_it_rests_on(browser: Browser) -> None:
    """Each that ships is listed with how many limits were read, quoted or remembered, and whether it is adopted."""
    words = text_of(browser.open("/limits/rulebooks").text)
    for name, file in shipped_rulebooks().items():
        assert name in words
        for code, told in (("read", "read in the body's own text"), ("memory", "from memory")):
            count = sum(one.provenance == code for one in file.rulebook.requirements)
            assert not count or f"{count} {told}" in words
    assert "not an approval" in words


def test_one_rulebook_limit_by_limit(browser: Browser) -> None:
    """Each limit as printed, with source and provenance."""
    words = text_of(browser.open("/limits/rulebooks/usbc-2026").text)
    for one in shipped_rulebooks()["usbc-2026"].rulebook.requirements:
        assert one.id in words
        assert limit_words(one.limit_text) in words
        assert " ".join(one.source.split()) in words


def test_the_difference_of_two_in_words(service: Service, browser: Browser) -> None:
    """As many differences as the JSON has, before and after side by side."""
    words = text_of(browser.open("/limits/difference?one=usbc-2023&two=usbc-2026").text)
    found = service["auditor"].get("/rulebooks/usbc-2023/diff/usbc-2026").json()["differences"]
    assert f"{len(found)} differences" in words
    assert all(" ".join(one["after"].split()) in words for one in found)
    assert "Nothing differs." in text_of(browser.open("/limits/difference?one=ibf&two=ibf").text)


def test_a_rulebook_of_the_plant_is_adopted_once(service: Service, browser: Browser) -> None:
    """The form leads back to the list, where it stands as adopted; sent twice it is one entry."""
    first = sent(browser, OWN)
    assert 303 == first.status_code
    done = browser.open(first.headers["location"])
    assert "Rulebook town-shop is adopted by entry" in text_of(done.text)
    assert "town-shop" in browser.open("/limits").text
    again = sent(browser, OWN)
    assert first.headers["location"] == again.headers["location"]
    shown = service["auditor"].get("/rulebooks").json()["rulebooks"]
    assert [True] == [one["adopted"] for one in shown if one["id"] == "town-shop"]


def test_a_refused_file_shows_its_line(browser: Browser) -> None:
    """What is wrong is told with the line, which is marked among those around it."""
    answer = sent(browser, OWN.replace(b'unit = "shore_d"', b'unit = "kg"'))
    assert answer.status_code in {400, 422}
    assert '<span class="wrong-line">▸   14  unit = &#34;kg&#34;</span>' in answer.text
    assert "rulebook line 14" in answer.text


@pytest.mark.parametrize("raw", [b"", b"\xff\xfe", b"= no toml", OWN.replace(b"town-shop", b"usbc-2026")])
def test_what_is_no_rulebook_of_the_plant_is_refused(browser: Browser, raw: bytes) -> None:
    """No file, no text, no TOML, the name of one that ships: a page with the reason, and the form to try again."""
    answer = sent(browser, raw)
    assert (400 <= answer.status_code < 500, True) == (True, "What mends it" in answer.text)
    assert 'enctype="multipart/form-data"' in answer.text


def test_a_form_without_its_key_enters_nothing(browser: Browser) -> None:
    """The key of the form is what keeps a double tap from counting twice."""
    assert 400 == sent(browser, OWN, key="").status_code


@pytest.mark.parametrize(("role", "may"), [("auditor", False), ("desk", False), ("quality", True)])
def test_only_a_quality_lead_adopts(service: Service, role: str, may: bool) -> None:  # noqa: FBT001  # a parameter of the test
    """Everyone may look; the form is the quality lead's, and so is what it sends."""
    opened = browser_of(service, role)
    page = opened.open("/limits/rulebooks")
    assert (200, may) == (page.status_code, "Check and adopt it" in page.text)
    if not may:
        token = dict(opened.found().forms["/sign-out"])["form_token"]
        answer = opened.client.post(
            "/limits/rulebooks", data={"form_token": token, "key": "k"}, files={"file": ("own.toml", OWN)}
        )
        assert 403 == answer.status_code
    opened.close()


def test_lines_around_a_wrong_one() -> None:
    """At the ends of a file there are fewer; where no line is named there are none."""
    raw = b"a\nb\nc\nd"
    assert [1, 2, 3] == [line.number for line in wrong_lines(raw, "rulebook line 1")]
    assert [2, 3, 4] == [line.number for line in wrong_lines(raw, "rulebook line 4")]
    assert () == wrong_lines(raw, "rulebook")
    assert () == wrong_lines(b"", "rulebook line 9")


def test_every_gauge_says_whether_it_may_be_used(service: Service, browser: Browser) -> None:
    """As /gauges has it, with a way to the question what changes if it was wrong."""
    text = browser.open("/limits/gauges").text
    for one in service["quality"].get("/gauges").json()["gauges"]:
        assert f'href="/limits/gauges/{one["gauge"]}"' in text
        assert f'href="/limits/changes?gauge={one["gauge"]}&amp;open=yes"' in text
        assert one.get("why", "") in text


def test_one_gauge_with_its_calibrations(service: Service, browser: Browser) -> None:
    """U, k and the day it is due, as the book has them, and the uncertainty of what it reads."""
    words = text_of(browser.open("/limits/gauges/HD1").text)
    found = service["quality"].get("/gauges/HD1").json()
    assert "✓ good – – 0.6 2 5 Mar 2027" in words
    assert found["calibrations"][0]["fact"] in words
    assert f"{found['budgets'][0]['u']:.5f}" in words
    assert all(" ".join(said.split()) in words for said in found["says"])


def test_an_unknown_gauge_is_told(browser: Browser) -> None:
    """A 404 as a page."""
    assert 404 == browser.open("/limits/gauges/X9").status_code


def test_a_station_sees_gauges_and_no_questions(service: Service) -> None:
    """The tabs are those that a role may open."""
    opened = browser_of(service, "station")
    text = opened.open("/limits/gauges").text
    assert ('href="/limits/rulebooks"' in text, 'href="/limits/changes' in text) == (True, False)
    opened.close()


def test_a_sampling_plan(service: Service, browser: Browser) -> None:
    """Sample, acceptance and rejection number of a lot, as /sampling-plan has them, with where the table was read."""
    words = text_of(browser.open("/limits/sampling?lot_size=40&aql=0.65").text)
    plan = service["quality"].get("/sampling-plan", params={"lot_size": 40, "aql": "0.65"}).json()
    assert f"Take {plan['n']} of 40" in words
    assert f"with at most {plan['Ac']} failing; reject it with {plan['Re']} or more" in words
    assert "from memory" in words or "second-hand" in words
    refused = browser.open("/limits/sampling?lot_size=one&aql=0.65")
    assert (400, True) == (refused.status_code, "a whole number of balls, 2 or more" in refused.text)
    assert 200 == browser.open("/limits/sampling").status_code
