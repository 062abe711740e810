"""Chromium as it is found on the path, how it is started, and the screens on which pages are looked at."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

from playwright.sync_api import Browser, BrowserContext, sync_playwright

from ledger.errors import Unsupported

NAMES = ("chromium", "chromium-browser", "google-chrome")
"""Programs that count as the browser, first come first taken; `ops/test` looks for the same."""

MISSING = "no Chromium on PATH; bash ops/test --install-system installs one"

FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--force-color-profile=srgb"),
    # No name leads anywhere: a page that asks another host is found out, and nothing leaves the machine.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)


WITHIN_MS = 180_000
"""How long a page may take: one that judges a population takes its time on a machine that does much else."""


class Size(NamedTuple):
    """A screen in CSS pixels; ``touch``: fingers in place of a pointer."""

    width: int
    height: int
    touch: bool = False


SIZES = {
    "desk": Size(1280, 800),
    "phone": Size(360, 740, touch=True),
    "narrow": Size(320, 640, touch=True),
    "wall": Size(1920, 1080),
}
"""Screens by name. ``narrow`` is the width at which WCAG 2.2 asks for reflow (1.4.10)."""


class Look(NamedTuple):
    """How a page is looked at: on which of `SIZES`, in the dark, with scripts, in which language."""

    size: str = "desk"
    dark: bool = False
    scripts: bool = True
    language: str = "en-GB"


def find_browser() -> str | None:
    """The path of the browser, or None."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


@contextmanager
def open_browser() -> Iterator[Browser]:
    """A browser with a fresh profile for the length of the block. Raises Unsupported where none is on the path."""
    path = find_browser()
    if path is None:
        raise Unsupported("no Chromium on PATH", expected=" or ".join(NAMES), mend="install one of them")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


def new_context(browser: Browser, address: str, look: Look, storage: Any = None) -> BrowserContext:
    """A context of its own, with cookies of ``storage``, in which addresses are those of the service at ``address``."""
    size = SIZES[look.size]
    context = browser.new_context(
        base_url=address,
        viewport={"width": size.width, "height": size.height},
        has_touch=size.touch,
        color_scheme="dark" if look.dark else "light",
        java_script_enabled=look.scripts,
        locale=look.language,
        reduced_motion="reduce",
        storage_state=storage,
    )
    context.set_default_timeout(WITHIN_MS)
    context.set_default_navigation_timeout(WITHIN_MS)
    return context
