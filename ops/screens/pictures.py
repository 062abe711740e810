"""Taking the pictures: each page in the light and in the dark, on a desk's screen and on a phone's, and a page of them all."""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from playwright.sync_api import Browser, Page

from ledger.errors import Refused
from ops.demo_walk.people import PASSWORD
from ops.screens.browser import SIZES, Look, new_context
from ops.screens.page_list import PageExample
from ops.screens.plant import DemoPlant, sign_in_name
from ops.screens.visit import open_page, sign_in

LOOKS = tuple(Look(size, dark=dark) for size in ("desk", "phone") for dark in (False, True))
"""How each page is shown."""


class Picture(NamedTuple):
    """A picture that was written."""

    page: PageExample
    look: Look
    file: Path


def take_pictures(browser: Browser, plant: DemoPlant, pages: Sequence[PageExample], folder: Path) -> Iterator[Picture]:
    """Write a PNG of the whole of each page in each look to a folder, telling each as it is written.

    Raises Refused where a page answers otherwise than its example says.
    """
    folder.mkdir(parents=True, exist_ok=True)
    cookies: dict[str, Any] = {"": None}
    for example in pages:
        if example.role not in cookies:
            cookies[example.role] = sign_in(browser, plant.address, sign_in_name(example.role), PASSWORD)
        for look in LOOKS:
            picture = Picture(example, look, folder / f"{example.name}.{name_of(look)}.png")
            context = new_context(browser, plant.address, look, cookies[example.role])
            _take(context.new_page(), plant.at(example.address), picture)
            context.close()
            yield picture


def _take(page: Page, address: str, picture: Picture) -> None:
    status = open_page(page, address)
    if status != picture.page.status:
        raise Refused("page answered otherwise", where=address, expected=picture.page.status, got=status)
    page.screenshot(path=picture.file, full_page=True)


def name_of(look: Look) -> str:
    """A look in a file name, after the dot: ``front-desk.phone-dark.png``."""
    return f"{look.size}-{'dark' if look.dark else 'light'}"


def write_index(pictures: Sequence[Picture], folder: Path) -> Path:
    """Write ``index.html``: a thumbnail of each picture, a row a page, with where it stands and who sees it."""
    rows = []
    for example in dict.fromkeys(picture.page for picture in pictures):
        cells = "".join(_cell(picture) for picture in pictures if picture.page == example)
        who = example.role or "nobody signed in"
        rows.append(
            f"<tr><th scope=row>{html.escape(example.name)}<br><code>{html.escape(example.route)}</code><br>"
            f"{html.escape(who)}</th>{cells}</tr>"
        )
    heads = "".join(f"<th scope=col>{name_of(look)}, {SIZES[look.size].width} px</th>" for look in LOOKS)
    index = folder / "index.html"
    index.write_text(_INDEX.format(heads=heads, rows="\n".join(rows)), "utf-8")
    return index


_INDEX = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Every page</title><style>
body {{ font-family: sans-serif; margin: 1rem }}
th, td {{ text-align: left; vertical-align: top; padding: .5rem; border-top: 1px solid #999 }}
img {{ width: 16rem; max-height: 24rem; object-fit: cover; object-position: top; border: 1px solid #999 }}
</style></head><body><h1>Every page</h1>
<table><thead><tr><th scope=col>page</th>{heads}</tr></thead><tbody>
{rows}
</tbody></table></body></html>
"""


def _cell(picture: Picture) -> str:
    name = html.escape(picture.file.name)
    return f'<td><a href="{name}"><img src="{name}" alt="{name}" loading="lazy"></a></td>'
