"""What a program can say about accessibility: axe-core for WCAG 2.2 A and AA, and the keyboard by trying it.

axe-core (MPL-2.0) is fetched by ``bash ops/test --install-system`` into the project's folder, held to the hash in
``tests/browser/axe/package-lock.json``. It is put into the page past the content security policy, as only a test can.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, NamedTuple

from playwright.sync_api import Page

AXE = Path(__file__).resolve().parents[2] / ".pourbook" / "axe" / "node_modules" / "axe-core" / "axe.min.js"
AXE_MISSING = "no axe-core in .pourbook/axe; bash ops/test --install-system fetches it"

TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")

OF_COLOURS = ("color-contrast", "link-in-text-block")
"""The rules of these tags whose outcome lies in colours: a page has the same parts and words in the dark."""

_RUN = """([type, values]) => axe.run(document, {runOnly: {type, values}, resultTypes: ['violations']})
    .then(found => found.violations)"""


def axe_violations(page: Page, *, colours_alone: bool = False) -> list[str]:
    """Every violation on a page: the rule, the element, and what would mend it."""
    if page.evaluate("() => window.axe === undefined"):
        page.evaluate(AXE.read_text("utf-8"))
    asked = ["rule", list(OF_COLOURS)] if colours_alone else ["tag", list(TAGS)]
    found: list[dict[str, Any]] = page.evaluate(_RUN, asked)
    return [
        f"{rule['id']}: {' '.join(map(str, node['target']))}: {node.get('failureSummary', rule['help'])}"
        for rule in found
        for node in rule["nodes"]
    ]


def axe_clean(page: Page, *, colours_alone: bool = False) -> None:
    """Fail for each rule that the page breaks."""
    found = axe_violations(page, colours_alone=colours_alone)
    assert not found, "\n".join(found)


# Elements that a person can act on and that are shown. Of a group of radio buttons the keyboard reaches one.
_INTERACTIVE = (
    "a[href], button:enabled, input:enabled:not([type=hidden]), select:enabled, textarea:enabled, summary, "
    "[tabindex]:not([tabindex='-1'])"
)
_PREPARE = """selector => {
    const looks = element => {
        const style = getComputedStyle(element);
        return [style.outlineStyle, style.outlineWidth, style.boxShadow, style.borderColor, style.backgroundColor].join();
    };
    const key = element => element.type === "radio" ? "radio " + element.name : element;
    const found = [...document.querySelectorAll(selector)]
        .filter(element => element.checkVisibility({visibilityProperty: true}) && element.getClientRects().length);
    const before = new Map(found.map(element => [element, looks(element)]));
    const tabbing = {left: new Set(found.map(key)), unmarked: new Set(), unseen: new Set()};
    const note = () => {
        const element = document.activeElement;
        if (!tabbing.left.size || !element || element === document.body || element === document.documentElement) return;
        tabbing.left.delete(key(element));
        const box = element.getBoundingClientRect();
        const style = getComputedStyle(element);
        const outlined = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 1;
        const places = [[.5, .5], [.1, .5], [.9, .5], [.5, .1], [.5, .9]].map(([x, y]) =>
            document.elementFromPoint(box.left + x * box.width, box.top + y * box.height));
        const labels = [...(element.labels || [])];
        const what = element.outerHTML.slice(0, 120);
        if (!places.some(top => top && (element.contains(top) || top.contains(element)
            || labels.some(label => label.contains(top))))) tabbing.unseen.add(what);
        if (!outlined && !(before.has(element) && before.get(element) !== looks(element))) tabbing.unmarked.add(what);
    };
    // The key goes up on what has the focus by then: noted in the page, a press needs no question of its own.
    window.addEventListener("keyup", note, true);
    window.tabbing = Object.assign(tabbing, {end: () => {
        window.removeEventListener("keyup", note, true);
        return [[...tabbing.left].map(one => one.outerHTML ? one.outerHTML.slice(0, 120) : one),
            [...tabbing.unmarked], [...tabbing.unseen]];
    }});
    document.activeElement.blur();
    return tabbing.left.size;
}"""
_LEFT = "() => window.tabbing.left.size"
_END = "() => window.tabbing.end()"


class Tabbing(NamedTuple):
    """What pressing Tab through a page showed: elements never reached, reached unmarked, reached where none can see them."""

    unreached: list[str]
    unmarked: list[str]
    unseen: list[str]


def tab_through(page: Page) -> Tabbing:
    """Press Tab until every element that can be acted on had the focus, or the page was gone through twice."""
    left = page.evaluate(_PREPARE, _INTERACTIVE)
    most = 2 * left + 5
    while left and most > 0:
        presses = min(left + 1, most)
        for _ in range(presses):
            page.keyboard.press("Tab")
        most -= presses
        left = page.evaluate(_LEFT)
    return Tabbing(*page.evaluate(_END))


def small_targets(page: Page, least: int) -> list[str]:
    """Buttons, fields and menus of a page that are less than so many CSS pixels high.

    A check box or radio button counts with its label.
    """
    found: list[dict[str, Any]] = page.evaluate(_HEIGHTS)
    return [json.dumps(one) for one in found if one["height"] < least]


_HEIGHTS = """() => [...document.querySelectorAll("button, input:not([type=hidden]), select, textarea, summary")]
    .filter(element => element.checkVisibility({visibilityProperty: true}) && element.getClientRects().length)
    .map(element => {
        const boxes = ["checkbox", "radio"].includes(element.type) ? [element, ...element.labels] : [element];
        return {what: element.outerHTML.slice(0, 120),
            height: Math.max(...boxes.map(box => Math.round(box.getBoundingClientRect().height)))};
    })"""
