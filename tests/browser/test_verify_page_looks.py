"""How the page that checks dossiers looks and is used: from disk, by keyboard, on a phone, in the dark, with many balls."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from playwright.sync_api import Browser

from ledger.evidence.dossier_format import MANIFEST
from ops.screens.browser import Look
from tests.browser.accessibility import axe_clean, small_targets, tab_through
from tests.browser.verify_page_hand import VerifyPage, opened_from_disk, unpacked
from tests.evidence.small_dossier import members, resealed, written
from tests.evidence.tamperings import GROUPS
from tests.evidence.witnessed_dossier import KEYS, full_content, full_dossier

LOOKS = [Look(), Look(dark=True), Look("phone"), Look("phone", dark=True), Look("narrow")]

DROP = """([name, base64]) => {
    const transfer = new DataTransfer();
    transfer.items.add(new File([Uint8Array.from(atob(base64), sign => sign.charCodeAt(0))], name));
    for (const kind of ["dragover", "drop"]) {
        const event = new DragEvent(kind, {dataTransfer: transfer, bubbles: true, cancelable: true});
        document.querySelector("main").dispatchEvent(event);
    }
}"""

SIDEWAYS = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A good dossier, unpacked."""
    return unpacked(full_dossier(), tmp_path_factory.mktemp("dossier"))


@pytest.fixture
def verify_page(browser: Browser, folder: Path) -> Iterator[VerifyPage]:
    """The page of the good dossier."""
    with opened_from_disk(browser, folder) as page:
        yield page


def first_ball_open(page: VerifyPage) -> None:
    """Open the sheet of the first ball."""
    page.page.click("[data-part=ball-list] summary >> nth=0")
    page.page.wait_for_selector("[data-part=ball-list] details[open] table")


@pytest.mark.usefixtures("axe")
@pytest.mark.parametrize("look", LOOKS, ids=str)
def test_every_state_is_accessible(browser: Browser, folder: Path, look: Look) -> None:
    """Before a check, with its findings and an open sheet, and with a fault: no rule of WCAG 2.2 AA is broken."""
    with opened_from_disk(browser, folder, look) as page:
        axe_clean(page.page)
        page.check(full_dossier(), KEYS)
        first_ball_open(page)
        axe_clean(page.page)
        assert (0, []) == (page.page.evaluate(SIDEWAYS), small_targets(page.page, 44))
        page.check(GROUPS["forged"]["an entry"].make(), KEYS)
        axe_clean(page.page)


def test_the_keyboard_reaches_everything(verify_page: VerifyPage) -> None:
    """Each field, button, sheet and wide table takes the focus, shows it, and is seen then."""
    verify_page.check(full_dossier(), KEYS)
    first_ball_open(verify_page)

    assert ([], [], []) == tuple(tab_through(verify_page.page))


def test_the_outcome_takes_the_focus(verify_page: VerifyPage) -> None:
    """Who cannot see the page is led to the outcome when it is there."""
    verify_page.check(full_dossier(), KEYS)

    assert "Nothing is wrong in what this page can check" == verify_page.page.evaluate(
        "() => document.activeElement.textContent"
    )


def test_the_page_says_first_that_it_proves_nothing_by_itself(verify_page: VerifyPage) -> None:
    """Its own digest stands outside of it, and where that is comes before anything that it finds."""
    text = verify_page.page.locator("main").inner_text()

    assert text.startswith("This page proves nothing by itself")
    assert "README of Pourbook" in text
    assert "/verifier" in text


def test_a_dropped_file_is_taken(verify_page: VerifyPage) -> None:
    """A dossier may be dropped anywhere on the page."""
    verify_page.page.evaluate(DROP, ["dropped.zip", base64.b64encode(full_dossier()).decode()])
    verify_page.page.fill("#keys", KEYS)

    assert "dropped.zip" in verify_page.told("file-name")
    assert "right" == verify_page.press().kind


def test_a_sheet_is_told_in_plain_words(verify_page: VerifyPage) -> None:
    """Serial, model, readings with uncertainty, limits with where they are known from, and that it is no approval."""
    verify_page.check(full_dossier(), KEYS)
    first_ball_open(verify_page)

    sheet = verify_page.page.locator("[data-part=ball-list] details").first.inner_text()
    for words in (
        "2345ACDFG",
        "Rockrose (ROC)",
        "the maker's own assessment, never an approval",
        "U = 0.02 lb (k = 2)",
        "second-hand",
        "conforms",
        "possibly: one of several",
        "<= 16 lb",
    ):
        assert words in sheet


def test_a_ball_is_found_by_a_part_of_its_serial(verify_page: VerifyPage) -> None:
    """The list is narrowed while one types."""
    verify_page.check(full_dossier(), KEYS)

    verify_page.page.fill("#search", "cdfh")
    assert "2345ACDFH (ball U-2)" == verify_page.told("ball-list").strip()
    verify_page.page.fill("#search", "no such")
    assert "no ball of that number" == verify_page.told("which")


def test_what_a_file_says_is_text_and_never_markup(verify_page: VerifyPage) -> None:
    """Words of a dossier are shown as they are, whatever they look like."""
    files = members(full_dossier())
    hostile = "<img src=x onerror=alert(1)><script>alert(1)</script>"
    scope = {**msgspec.json.decode(files[MANIFEST])["scope"], "words": hostile}

    verify_page.check(resealed(files, stated={"scope": scope}), KEYS)

    assert hostile in verify_page.told("about")
    assert 0 == verify_page.page.locator("main img, main script").count()


def test_scripts_that_are_not_the_pages_own_do_not_run(browser: Browser, folder: Path) -> None:
    """The page's policy lets those scripts run whose digests it states, and no other."""
    with opened_from_disk(browser, folder, foreseen="Content Security Policy") as page:
        ran = page.page.evaluate(
            """() => new Promise(done => {
                document.addEventListener("securitypolicyviolation", event => done([window.ran, event.effectiveDirective]));
                const script = document.createElement("script");
                script.textContent = "window.ran = true";
                document.body.append(script);
            })"""
        )

    assert [None, "script-src-elem"] == ran


def test_a_check_can_be_stopped_and_begun_again(verify_page: VerifyPage) -> None:
    """A check that another takes the place of says nothing any more."""
    verify_page.give(full_dossier(), KEYS)
    kinds = verify_page.page.evaluate(
        """async () => {
            const first = start(), second = start();
            await Promise.all([first, second]);
            const kind = part("outcome").dataset.kind;
            const third = start();
            stop();
            await third;
            return [kind, part("outcome").dataset.kind, part("found").hidden];
        }"""
    )

    assert ["right", "stopped", True] == kinds


def test_a_file_is_read_in_slices(verify_page: VerifyPage) -> None:
    """No more than one file or one slice of the dossier is asked for at once, and it is gone through a few times, no more."""
    raw = written(full_content(report=bytes(9_000_000)))
    verify_page.page.evaluate(
        """() => {
            window.reads = [];
            const slice = Blob.prototype.slice;
            Blob.prototype.slice = function (from, to) { window.reads.push(to - from); return slice.call(this, from, to); };
        }"""
    )

    assert "right" == verify_page.check(raw, KEYS).kind
    reads = verify_page.page.evaluate("() => window.reads")
    assert max(reads) <= 9_000_200
    assert sum(reads) <= 4 * len(raw)
