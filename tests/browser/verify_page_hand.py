"""Using the page that checks dossiers as a person would: opened from disk, without a network, given a file and keys."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from playwright.sync_api import Browser, Page

from ops.screens.browser import SIZES, Look
from tests.browser.watching import Watch
from tests.evidence.small_dossier import members

PAGE = "verify.html"


class Outcome(NamedTuple):
    """What the page says: ``right``, ``unsigned``, ``wrong``, ``asked``, ``failed`` or ``stopped``; the first fault; its words."""

    kind: str
    where: str
    words: str

    @property
    def file(self) -> str:
        """The file in which the first fault is."""
        return self.where.partition(":")[0]


class VerifyPage:
    """The page, and how it is used. It can be given one dossier after another."""

    def __init__(self, page: Page) -> None:
        """Use an opened page."""
        self.page = page

    def give(self, raw: bytes, trust: str) -> None:
        """Choose a file of these bytes, and say what is trusted."""
        self.page.set_input_files("#file", {"name": "dossier.zip", "mimeType": "application/zip", "buffer": raw})
        self.page.fill("#keys", trust)

    def check(self, raw: bytes, trust: str) -> Outcome:
        """Give it a dossier and wait for the outcome."""
        self.give(raw, trust)
        return self.press()

    def press(self) -> Outcome:
        """Press the button and wait for the outcome."""
        before = self.page.locator("[data-part=outcome]").get_attribute("data-run") or ""
        self.page.click("button[type=submit]")
        self.page.wait_for_function(
            "before => { const part = document.querySelector('[data-part=outcome]');"
            " return !part.hidden && part.dataset.run !== before; }",
            arg=before,
        )
        box = self.page.locator("[data-part=outcome]")
        return Outcome(box.get_attribute("data-kind") or "", box.get_attribute("data-where") or "", box.inner_text())

    def told(self, part: str) -> str:
        """What a part of the findings says."""
        return self.page.locator(f"[data-part={part}]").inner_text()


def unpacked(raw: bytes, folder: Path) -> Path:
    """A dossier as any zip program unpacks it."""
    for name, content in members(raw).items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    return folder


@contextmanager
def opened_from_disk(
    browser: Browser, folder: Path, look: Look | None = None, *, script: str = "", foreseen: str = "\n"
) -> Iterator[VerifyPage]:
    """The page of an unpacked dossier, in a browser without a network; any request or error fails at the end.

    ``script`` runs before the page's own: it takes away what a browser may lack. ``foreseen``: words of a trouble that the
    test asks for.
    """
    size = SIZES[(look or Look()).size]
    context = browser.new_context(
        viewport={"width": size.width, "height": size.height},
        has_touch=size.touch,
        color_scheme="dark" if look and look.dark else "light",
        reduced_motion="reduce",
        offline=True,
    )
    watch = Watch(context, "file://")
    requested: list[str] = []
    context.on("request", lambda request: requested.append(request.url))
    page = context.new_page()
    if script:
        page.add_init_script(script)
    address = (folder / PAGE).as_uri()
    page.goto(address)
    try:
        yield VerifyPage(page)
    finally:
        context.close()
    assert (requested, [one for one in watch.troubles if foreseen not in one]) == ([address], [])
