"""The receipt of a ball, checked by the browser itself: it holds as it came, and not with one byte changed."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route

from ledger.book.signing import format_verifier, signer_from_seed
from ops.screens.visit import STILL
from tests.browser.browsing import Browsing

Change = Callable[[Page], None]

EDIT = """([selector, from, to]) => {
    const part = document.querySelector(selector);
    part.textContent = part.textContent.replace(from, to);
}"""


def checked(page: Page) -> tuple[str, list[str]]:
    """Press the button; the outcome, and what was said of each part."""
    page.click("[data-start] button")
    page.wait_for_function("() => document.querySelector('[data-outcome]').dataset.said")
    page.wait_for_function(STILL)
    lines = page.locator("[data-results] li")
    said = [lines.nth(place).get_attribute("data-said") or "" for place in range(lines.count())]
    return page.locator("[data-outcome]").get_attribute("data-said") or "", said


def receipt_of(page: Page) -> str:
    """The receipt as the page carries it, whether it is unfolded or not."""
    return page.locator("[data-receipt]").text_content() or ""


def proof_changed(page: Page) -> None:
    """One character of one hash of the proof is another."""
    line = receipt_of(page).split("\n")[2]
    other = ("B" if line[0] != "B" else "C") + line[1:]
    page.evaluate(EDIT, ["[data-receipt]", line, other])


def root_changed(page: Page) -> None:
    """One character of the root in the checkpoint is another."""
    root = receipt_of(page).split("\n\n")[1].split("\n")[2]
    other = ("B" if root[0] != "B" else "C") + root[1:]
    page.evaluate(EDIT, ["[data-receipt]", root, other])


def signature_changed(page: Page) -> None:
    """One character of the signature is another."""
    line = receipt_of(page).strip().split("\n")[-1]
    place = len(line) - 20
    other = line[:place] + ("B" if line[place] != "B" else "C") + line[place + 1 :]
    page.evaluate(EDIT, ["[data-receipt]", line, other])


def hash_changed(page: Page) -> None:
    """The hash that the page shows is another."""
    page.evaluate(
        "() => { const part = document.querySelector('[data-proof]');"
        " part.dataset.hash = (part.dataset.hash[0] === '0' ? '1' : '0') + part.dataset.hash.slice(1); }"
    )


def entry_changed(page: Page) -> None:
    """One byte of the entry is another."""

    def answer(route: Route) -> None:
        body = bytearray(route.fetch().body())
        body[len(body) // 2] ^= 1
        route.fulfill(body=bytes(body))

    page.route("**/entries/*/bytes", answer)


def test_a_receipt_holds(browsing: Browsing) -> None:
    """Hash, proof and signature are checked here; the page says that the key is the service's own."""
    page = browsing.open("/ball/{unit}", "auditor")

    assert ("all-ok", ["entry-ok", "proof-ok", "signature-ok", "key-ours", "witness-none"]) == checked(page)


def test_who_sees_no_entries_is_told_what_was_not_checked(browsing: Browsing) -> None:
    """For a station the hash comes from the service, and the outcome is said to be in part."""
    page = browsing.open("/ball/{unit}", "station")

    assert ("in-part", ["entry-not", "proof-ok", "signature-ok", "key-ours", "witness-none"]) == checked(page)


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (proof_changed, "proof-bad"), (root_changed, "signature-bad"), (signature_changed, "signature-bad"),
        (hash_changed, "entry-bad"), (entry_changed, "entry-bad"),
    ],
)  # fmt: skip
def test_one_changed_byte_is_found(browsing: Browsing, change: Change, fault: str) -> None:
    """Of the proof, the root, the signature, the hash, or the entry."""
    page = browsing.open("/ball/{unit}", "auditor")
    change(page)

    outcome, said = checked(page)

    assert "all-bad" == outcome
    assert fault in said


def test_another_key_is_found(browsing: Browsing) -> None:
    """A key that somebody was given and that is not the book's does not check; text that is no key says so."""
    page = browsing.open("/ball/{unit}", "auditor")
    other = format_verifier(signer_from_seed(browsing.plant.book.origin, bytes(32)).verifier)

    page.fill("#given-key", other)
    assert ("all-bad", True) == (checked(page)[0], "signature-bad" in checked(page)[1])
    page.fill("#given-key", "no key")
    page.click("[data-start] button")
    page.wait_for_selector("[data-said=key-bad]")


def test_the_key_that_was_given_is_taken(browsing: Browsing) -> None:
    """With the book's key typed in, nothing of the check rests on what the page shows as key."""
    page = browsing.open("/ball/{unit}", "auditor")
    page.fill("#given-key", page.locator("[data-key]").first.inner_text())

    assert ("all-ok", True) == (checked(page)[0], "key-given" in checked(page)[1])


def test_without_ed25519_the_rest_is_checked(browsing: Browsing) -> None:
    """A browser that lacks the algorithm says so and checks hash and proof."""
    page = browsing.page("auditor")
    page.add_init_script("crypto.subtle.importKey = () => Promise.reject(new DOMException('no', 'NotSupportedError'));")
    page.goto(browsing.plant.at("/ball/{unit}"))

    assert ("in-part", ["entry-ok", "proof-ok", "signature-not", "key-ours", "witness-none"]) == checked(page)
