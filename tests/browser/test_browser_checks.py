"""The checks that every page is held to find what they are for: each is shown a page with the fault."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser

from ops.screens.browser import Look
from ops.screens.plant import DemoPlant
from tests.browser.accessibility import axe_violations, small_targets, tab_through
from tests.browser.browsing import Browsing

HEAD = '<!doctype html><html lang="en"><head><title>A page</title></head><body><main><h1>A page</h1>'
FAULTS = {
    # The page's own policy stops this one, and says so.
    "console error: Connecting to": "fetch('http://elsewhere.example/').catch(() => 0)",
    "console error": "console.error('wrong')",
    "console warning": "console.warn('doubtful')",
    "script error": "setTimeout(() => { throw new Error('broken') })",
    "404 for GET": "fetch('/nothing-here')",
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_watch_notes_each_trouble(browser: Browser, plant: DemoPlant, cookies: dict[str, Any], fault: str) -> None:
    """A request elsewhere, an error in the log, a script that fails and a refusal are told; a foreseen refusal is not."""
    browsing = Browsing(browser, plant, cookies)
    page = browsing.page(refusals={404} - ({404} if fault.startswith("404") else set()))
    page.goto(f"{plant.address}/live")
    page.evaluate(f"async () => {{ await {FAULTS[fault]} }}")
    page.evaluate("() => new Promise(done => setTimeout(done, 0))")
    page.evaluate("() => fetch('/live')")

    assert fault in {trouble[: len(fault)] for trouble in browsing.end()}


def test_a_watch_notes_another_host(browser: Browser, plant: DemoPlant, cookies: dict[str, Any]) -> None:
    """A page that asks another host is told of; the name leads nowhere, so nothing has left the machine."""
    browsing = Browsing(browser, plant, cookies)
    browsing.page().set_content(f'{HEAD}<img src="http://elsewhere.example/a.png" alt=""></main>')

    assert ["another host was asked: http://elsewhere.example/a.png"] == browsing.end()


def test_a_foreseen_refusal_is_no_trouble(browser: Browser, plant: DemoPlant, cookies: dict[str, Any]) -> None:
    """A status that the test asks for is let through, and nothing else is."""
    browsing = Browsing(browser, plant, cookies)
    browsing.open("/nothing-here", refusals={404})

    assert [] == browsing.end()


def test_axe_finds_what_breaks_a_rule(browsing: Browsing, axe: None) -> None:
    """A picture without words and a field without a label are found, by their rules."""
    page = browsing.page()
    page.set_content(f'{HEAD}<img src="data:image/gif;base64,R0lGODlhAQABAAAAACw="><input name="a"></main>')

    assert {"image-alt", "label"} == {found.partition(":")[0] for found in axe_violations(page)}


def test_tabbing_finds_what_a_keyboard_user_misses(browsing: Browsing) -> None:
    """A focus without a mark, one beneath something else, and what takes the focus away are told apart."""
    page = browsing.page()
    page.set_content(
        f'{HEAD}<style>#plain {{ outline: none }} #over {{ position: fixed; inset: 60% 0 0 0; background: #fff }}'
        '#under { position: fixed; bottom: 10px; left: 10px }</style>'
        '<a href="#a">fine</a> <a id="plain" href="#b">unmarked</a> <a id="under" href="#c">covered</a><div id="over">over</div>'
        '<a id="trap" href="#d">trap</a> <a id="never" href="#e">never</a>'
        "<script>document.getElementById('never').addEventListener('focus', () => document.getElementById('trap').focus())</script></main>"
    )  # fmt: skip
    found = tab_through(page)

    assert (["never"], ["plain"], ["under"]) == tuple(
        [what.partition('id="')[2].partition('"')[0] for what in part] for part in found
    )


def test_small_targets_are_told_by_their_height(browsing: Browsing) -> None:
    """A low button is found; a check box counts with its label."""
    page = browsing.page(look=Look("phone"))
    page.set_content(
        f'{HEAD}<style>button {{ height: 30px }} label {{ display: block; height: 44px }}</style><button>low</button>'
        '<label><input type="checkbox"> tall</label></main>'
    )  # fmt: skip

    assert ['{"what": "<button>low</button>", "height": 30}'] == small_targets(page, 44)
