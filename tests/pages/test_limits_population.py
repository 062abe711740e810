"""A population against its limits: the page's figures are the JSON's, with and without scripts, refusals and roles."""

from __future__ import annotations

import csv
from collections.abc import Iterator

import httpx
import pytest

from ledger.conformity.rulebook import shipped_rulebooks
from tests.api.running import Service
from tests.pages.forms_sent import Browser
from tests.pages.limits_plant import browser_of, limits_plant, text_of

ASKED = "rulebook=usbc-2026&quantity=hardness"
FRAGMENT = {"x-fragment": "answer"}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The plant; long answers are made in a process of their own."""
    with limits_plant(tmp_path_factory.mktemp("population"), long_reads=1) as one:
        yield one


@pytest.fixture(scope="module")
def browser(service: Service) -> Iterator[Browser]:
    """The quality lead's."""
    opened = browser_of(service, "quality")
    yield opened
    opened.close()


def lines_of(answer: httpx.Response) -> list[dict[str, str]]:
    """The lines of a table, by the names of its head."""
    told = [line for line in answer.text.splitlines() if not line.startswith("#")]
    return list(csv.DictReader(told))


def test_the_page_works_nothing_out(browser: Browser) -> None:
    """The page with a whole question has the form as typed and a link to the answer, and no answer."""
    page = browser.open(f"/limits?{ASKED}&model=M1&lot=&state=")
    assert (200, False) == (page.status_code, "How they come out" in page.text)
    assert 'href="/limits/answer?rulebook=usbc-2026&amp;quantity=hardness&amp;model=M1"' in page.text
    assert {("rulebook", "usbc-2026"), ("quantity", "hardness"), ("model", "M1")} <= set(
        browser.found().forms["/limits/answer"]
    )


def test_without_scripts_the_answer_is_a_page(browser: Browser) -> None:
    """The form's own address is a whole page with form and answer; empty fields count for nothing."""
    page = browser.open(f"/limits/answer?{ASKED}&model=&lot=&from_on=&to_on=&state=&weight_class=&by=none")
    assert (200, 1, 1) == (page.status_code, page.text.count("<h1>"), page.text.count("<main"))
    assert "12 balls against usbc-2026" in page.text
    assert "/limits/answer" in browser.found().forms


def test_a_script_gets_the_answer_alone(browser: Browser) -> None:
    """By its header: the same answer, with no page around it, and no cache that would mix the two up."""
    part = browser.open(f"/limits/answer?{ASKED}", **FRAGMENT)
    assert (200, True, False) == (part.status_code, "12 balls against" in part.text, "<main" in part.text)
    assert "x-fragment" in part.headers["vary"]
    assert "no-store" == part.headers["cache-control"]


def test_the_figures_are_those_of_the_json(service: Service, browser: Browser) -> None:
    """Counts, worst margins and capability on the page are the answers of /conformity and /capability."""
    words = text_of(browser.open(f"/limits/answer?{ASKED}", **FRAGMENT).text)
    tally = service["quality"].get("/conformity", params={"rulebook": "usbc-2026"}).json()["tally"]
    for outcome, mark in (("does_not_conform", "✗ does not conform"), ("not_measured", "○ not measured")):
        assert f"{mark} {tally['overall'][outcome]} " in words
    worst = tally["worst"]["usbc.hardness"][0]
    assert ("P000008", "-7") == (worst["ball"], worst["margin"])
    assert "✗ does not conform P000008 -7 Shore D" in words
    asked = {"rulebook": "usbc-2026", "quantity": "hardness"}
    [group] = service["quality"].get("/capability", params=asked).json()["groups"]
    found = group["capability"]
    interval = found["cpk_interval"]
    assert f"Cpk {found['indices']['cpk']:.2f} " in words
    assert f"95 % interval {interval['low']:.2f} to {interval['high']:.2f}" in words
    assert f"mean {found['mean']:.2f} Shore D" in words
    assert f"≥ {found['tolerance'][0]:.2f} Shore D" in words
    assert all(" ".join(said.split()) in words for said in group["says"])


def test_worst_balls_lead_to_their_pages(browser: Browser) -> None:
    """A ball is called by its number, and its link by its unit."""
    assert '<a href="/ball/U-000008"><code>P000008</code></a>' in browser.open(f"/limits/answer?{ASKED}").text


def test_cautions_stand_with_the_answer(browser: Browser) -> None:
    """The caution of verdicts, and every limit used that was not read in the body's own text, by how it is known."""
    words = text_of(browser.open(f"/limits/answer?{ASKED}", **FRAGMENT).text)
    assert "not an approval: approval rests with the governing body" in words
    assert "from memory : usbc.out-of-round" in words
    requirements = shipped_rulebooks()["usbc-2026"].rulebook.requirements
    assert {"second-hand", "memory"} <= {one.provenance for one in requirements}


def test_the_picture_is_inline_and_says_itself(browser: Browser) -> None:
    """The histogram has a name for who does not see it, and neither style nor script in it."""
    text = browser.open(f"/limits/answer?{ASKED}", **FRAGMENT).text
    picture = text[text.index("<svg") : text.index("</svg>")]
    assert 'role="img"' in picture
    assert "Histogram of 12 readings" in picture
    assert "1 lie outside the limits" in picture
    assert not {"style=", "<script", "javascript:"} & set(picture.split())


def test_a_quantity_without_readings_leaves_the_rest(browser: Browser) -> None:
    """Where there is no distribution the answer says why, and the outcomes stand."""
    words = text_of(browser.open("/limits/answer?rulebook=usbc-2026&quantity=top_weight", **FRAGMENT).text)
    assert "12 balls against usbc-2026" in words
    assert "too few readings of top_weight" in words


def test_groups_are_told_apart(browser: Browser) -> None:
    """Each mould set has a distribution of its own."""
    assert "mould set MS1" in text_of(browser.open(f"/limits/answer?{ASKED}&by=mould", **FRAGMENT).text)


@pytest.mark.parametrize(
    ("query", "status", "field"),
    [
        ("rulebook=none-such", 404, "rulebook"),
        ("", 400, "rulebook"),
        ("rulebook=usbc-2026&from_on=2026-02-30", 400, "from_on"),
        ("rulebook=usbc-2026&lot=sl-1", 400, "lot"),
        ("rulebook=usbc-2026&quantity=loudness", 400, "quantity"),
        ("rulebook=usbc-2026&rulebook=ibf", 400, "rulebook"),
        ("rulebook=usbc-2026&wanted=1", 400, "wanted"),
    ],
)
def test_what_cannot_be_asked_is_told(browser: Browser, query: str, status: int, field: str) -> None:
    """A refusal names the field, as a page with the form and as a part alike."""
    for headers in ({}, FRAGMENT):
        answer = browser.open(f"/limits/answer?{query}", **headers)
        assert (status, True) == (answer.status_code, f"<code>{field}</code>" in answer.text)
        assert (headers == {}) == ("<form" in answer.text)
        assert "loudness" in query or status == 404 or "What mends it" in answer.text


def test_a_wrong_field_is_marked(browser: Browser) -> None:
    """The form is shown with what was typed, and the field says what is wrong with it."""
    text = browser.open("/limits/answer?rulebook=usbc-2026&lot=sl-1").text
    field = browser.found().fields["lot"]
    assert ("sl-1", "true") == (field["value"], field["aria-invalid"])
    assert "the id of a lot, as SL-104" in text


def test_the_table_by_requirement(service: Service, browser: Browser) -> None:
    """Every requirement with its counts, provenance and source, and the caution before the head."""
    answer = browser.open("/limits/requirements.csv?rulebook=usbc-2026")
    counts = service["auditor"].get("/conformity", params={"rulebook": "usbc-2026"}).json()["tally"]["counts"]
    lines = lines_of(answer)
    assert list(counts) == [line["requirement"] for line in lines]
    assert [str(one["conforms"]) for one in counts.values()] == [line["conforms"] for line in lines]
    assert {"read", "second-hand", "memory"} == {line["limit read"] for line in lines}
    assert "not an approval" in answer.text.splitlines()[2]


def test_the_bins_as_a_table(browser: Browser) -> None:
    """The readings of all bins add up, and those outside are counted."""
    lines = lines_of(browser.open(f"/limits/histogram.csv?{ASKED}"))
    assert (12, 1) == (
        sum(int(line["readings"]) for line in lines),
        sum(int(line["outside the limits"]) for line in lines),
    )


def test_the_page_holds_no_choice_of_balls(browser: Browser) -> None:
    """What can be chosen is few: models, rulebooks, quantities; lots are typed."""
    browser.open("/limits")
    assert "text" == browser.found().fields["lot"]["type"]


@pytest.mark.parametrize(
    ("role", "status"),
    [("station", 403), ("desk", 403), ("admin", 403), ("inspector", 200), ("auditor", 200), ("quality", 200)],
)
def test_who_may_look(service: Service, role: str, status: int) -> None:
    """Inspector, quality lead and auditor; others are told so as a page."""
    opened = browser_of(service, role)
    assert [status] * 2 == [opened.open(address).status_code for address in ("/limits", f"/limits/answer?{ASKED}")]
    opened.close()


def test_who_is_not_signed_in_comes_back_to_the_question(service: Service) -> None:
    """The sign-in page is told the whole question."""
    nobody = Browser(service)
    answer = nobody.open(f"/limits?{ASKED}")
    assert (303, "/sign-in?next=%2Flimits%3Frulebook%3Dusbc-2026%26quantity%3Dhardness") == (
        answer.status_code,
        answer.headers["location"],
    )
    nobody.close()


def test_the_page_speaks_german(browser: Browser) -> None:
    """Words and numbers are German; what the book says itself is marked as English."""
    text = browser.open(f"/limits/answer?{ASKED}", cookie=_german(browser)).text
    assert '<html lang="de">' in text
    assert "12 Bälle nach usbc-2026" in text
    assert "8,33 %" in text
    assert '<span lang="en">' in text


def _german(browser: Browser) -> str:
    return f"pourbook={browser.client.cookies['pourbook']}; pourbook-language=de"
