"""What changes when, as pages: three forms, answers as the JSON has them, to whom balls went, refusals."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import Any

import pytest

from api.pages.limits.change_rows import matrix_rows
from api.pages.words import limit_words
from ledger.conformity.outcome import OUTCOMES
from tests.api.running import Service
from tests.pages.forms_sent import Browser
from tests.pages.limits_plant import LATER, browser_of, limits_plant, text_of

RULES = "rulebook=usbc-2026&against=usbc-2012"
GAUGE = "gauge=HD1&rulebook=usbc-2026&bias=2"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The plant, where one reading of hardness was typed wrong and corrected."""
    with limits_plant(tmp_path_factory.mktemp("changes")) as one:
        history = one["quality"].get("/balls/U-000003").json()["history"]
        fact = next(told["fact"] for told in history if told["kind"] == "inspection")
        readings = [
            {"quantity": "mass", "unit": "lb", "values": ["15.05"], "gauge": "G1"},
            {"quantity": "hardness", "unit": "shore_d", "values": ["71.5"], "gauge": "HD1"},
        ]
        again = {
            "kind": "inspection", "at": "2026-03-02T08:03:00.000+00:00", "unit": "U-000003", "station": "E1",
            "readings": readings,
        }  # fmt: skip
        fix = {"kind": "correction", "at": LATER, "reason": "typing", "changes": [{"fact": fact, "replacement": again}]}
        assert 201 == one.say("quality", fix).status_code
        yield one


@pytest.fixture(scope="module")
def browser(service: Service) -> Iterator[Browser]:
    """The quality lead's."""
    opened = browser_of(service, "quality")
    yield opened
    opened.close()


def corrected(service: Service) -> str:
    """The address of the fact that was corrected."""
    history = service["quality"].get("/balls/U-000003").json()["history"]
    return str(next(told["fact"] for told in history if told["kind"] == "inspection"))


def asked(service: Service, question: str, query: str) -> dict[str, Any]:
    """The JSON's answer to the same question."""
    found: dict[str, Any] = service["auditor"].get(f"/impact/{question}?{query}&listed=20").json()
    return found


def lines_of(browser: Browser, address: str) -> list[dict[str, str]]:
    """The lines of a table."""
    return list(csv.DictReader(line for line in browser.open(address).text.splitlines() if not line.startswith("#")))


def test_each_question_has_a_form(browser: Browser) -> None:
    """Three forms, of which that of the question asked is filled in; the page works nothing out."""
    page = browser.open(f"/limits/changes?{GAUGE}")
    forms = browser.found().forms
    assert {"/limits/changes/rules", "/limits/changes/gauge", "/limits/changes/correction"} <= set(forms)
    assert {("gauge", "HD1"), ("bias", "2")} <= set(forms["/limits/changes/gauge"])
    assert 'href="/limits/changes/gauge?gauge=HD1&amp;rulebook=usbc-2026&amp;bias=2"' in page.text
    assert "come out otherwise</h2>" not in page.text


def test_a_link_to_a_form_asks_nothing_yet(browser: Browser) -> None:
    """A gauge's page leads to its form, which waits for the bias."""
    page = browser.open("/limits/changes?gauge=HD1&open=yes")
    assert (200, False) == (page.status_code, "data-from" in page.text)


def test_the_rule_changes(service: Service, browser: Browser) -> None:
    """Both editions, the counts, and where the balls are, as /impact/rules has them."""
    words = text_of(browser.open(f"/limits/changes/rules?{RULES}").text)
    found = asked(service, "rules", RULES)
    assert f"{found['change']['changed']} of {found['balls']} balls" in words
    for side in ("before", "after"):
        assert found[side]["edition"] in words
    for moved in matrix_rows(found["change"]["transitions"]):
        assert f"{moved.balls}" in words


def test_the_gauge_was_wrong(service: Service, browser: Browser) -> None:
    """With the error taken out so many fail; the worst are listed with value and margin as the book has them."""
    text = browser.open(f"/limits/changes/gauge?{GAUGE}").text
    words, found = text_of(text), asked(service, "gauge", GAUGE)
    failing = found["shifted"]["transitions"]["conforms"]["does_not_conform"]
    assert f"✓ conforms ✗ does not conform {failing} " in words
    first = found["listed"][0]
    assert f'href="/ball/{first["ball"]["unit"]}"' in text
    change = first["by_shift"][0]
    assert (
        f"{change['after']['value']} Shore D; {limit_words(change['after']['limit'])}; margin {change['after']['margin']}"
        in words
    )
    assert "nothing in the book found it wrong" in words


def test_a_correction_lands(service: Service, browser: Browser) -> None:
    """The corrected fact, the ball it touches, and its verdict before and after."""
    fact = corrected(service)
    words = text_of(browser.open(f"/limits/changes/correction?fact={fact}&rulebook=usbc-2026").text)
    found = asked(service, "correction", f"fact={fact}&rulebook=usbc-2026")
    assert f"Correction {found['correction']} touches 1 ball" in words
    assert f"inspection, said anew: {fact}" in words
    assert "76.5 Shore D; ≥ 73 Shore D; margin 3.5 ✗ does not conform 71.5 Shore D" in words


@pytest.mark.parametrize(("role", "named"), [("quality", True), ("auditor", True), ("inspector", False)])
def test_to_whom_is_told_to_who_may_see_entries(service: Service, role: str, named: bool) -> None:  # noqa: FBT001  # a parameter of the test
    """The consignee is withheld: an inspector is told the entry alone, on the page and in the file."""
    opened = browser_of(service, role)
    words = text_of(opened.open(f"/limits/changes/gauge?{GAUGE}").text)
    assert ("SH-1" in words, named) == (True, "A shop in a town" in words)
    assert "A shop" not in opened.open(f"/limits/changes/gauge.csv?{GAUGE}").text
    opened.close()


def test_limits_that_nobody_read_are_named(browser: Browser) -> None:
    """Provenance stands with the answer, as it does with every verdict."""
    words = text_of(browser.open(f"/limits/changes/gauge?{GAUGE}").text)
    assert "second-hand: quoted elsewhere : usbc.hardness-earlier" in words
    assert "not an approval" in words


@pytest.mark.parametrize("question", ["rules", "gauge", "correction"])
def test_the_balls_as_a_table(service: Service, browser: Browser, question: str) -> None:
    """A line for each quantity of a ball that changes, outcomes in words and values as the book has them."""
    query = {"rules": RULES, "gauge": GAUGE, "correction": f"fact={corrected(service)}&rulebook=usbc-2026"}[question]
    lines = lines_of(browser, f"/limits/changes/{question}.csv?{query}")
    listed = asked(service, question, query).get("listed", [])
    assert {one["ball"]["unit"] for one in listed} == {line["unit"] for line in lines}
    if question == "gauge":
        first = lines[0]
        assert ("conforms", "does not conform") == (first["verdict before"], first["verdict after"])
        assert float(first["value before"]) - 2 == float(first["value after"])


@pytest.mark.parametrize(
    ("address", "status", "field"),
    [
        ("rules?rulebook=usbc-2026&against=usbc-2026", 400, "against"),
        ("rules?rulebook=none-such&against=usbc-2026", 404, "rulebook"),
        ("rules?rulebook=usbc-2026&made_on=2026-02-30", 400, "made_on"),
        ("gauge?gauge=X9&rulebook=usbc-2026", 404, "gauge"),
        ("gauge?gauge=HD1&rulebook=usbc-2026&bias=much", 400, "bias"),
        ("correction?fact=1&rulebook=usbc-2026", 400, "fact"),
        ("correction?fact=9999.0&rulebook=usbc-2026", 404, "fact"),
    ],
)
def test_what_cannot_be_asked_is_told_beside_the_field(browser: Browser, address: str, status: int, field: str) -> None:
    """A refusal names the field, and the form that was sent stands open."""
    answer = browser.open(f"/limits/changes/{address}")
    assert (status, True) == (answer.status_code, f"<code>{field}</code>" in answer.text)
    assert 1 == answer.text.count('<details class="question" open>')


def test_no_outcome_is_lost() -> None:
    """Rows have every pair that is counted, and none that stays as it was."""
    matrix: dict[str, dict[str, int]] = {before: dict.fromkeys(OUTCOMES, 1) for before in OUTCOMES}
    rows = matrix_rows(matrix)
    assert len(OUTCOMES) * (len(OUTCOMES) - 1) == len({(row.before, row.after) for row in rows}) == len(rows)


def test_two_rulebooks_are_proposed(browser: Browser) -> None:
    """The form begins with two that differ, whichever is asked about."""
    for query in ("", "?rulebook=ibf"):
        browser.open(f"/limits/changes{query}")
        sent = dict(browser.found().forms["/limits/changes/rules"])
        assert sent["rulebook"] != sent["against"]
