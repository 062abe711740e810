"""``python -m ops.screens --folder F [--page NAME]``: writes a picture of every page, and ``index.html`` that shows them.

Needs Chromium on the path and the packages of ``ops/dev.lock``; takes a few seconds a page, and half a minute more the
first time, for the demo plant.  Uses loopback, that folder and the project's ``.pourbook/screens``, nothing else.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path

from ledger.errors import LedgerError
from ops.screens.page_list import PAGES
from ops.screens.plant import built_demo, demo_plant

KEPT = Path(__file__).resolve().parents[2] / ".pourbook" / "screens"
"""Where the demo book that is looked at lies built; the tests use it too."""


def main(words: list[str] | None = None) -> int:
    """Write the pictures that are asked for, and say which were written; 0, or 1 with one sentence of what is missing."""
    given = _arguments(words)
    if find_spec("playwright") is None:
        print("Pictures need the package playwright: use the environment that bash ops/test sets up.", file=sys.stderr)
        return 1
    try:
        _write(given.folder, given.page or [page.name for page in PAGES], given.built)
    except LedgerError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


def _write(folder: Path, names: list[str], kept: Path) -> None:
    from ops.screens.browser import open_browser  # noqa: PLC0415  # needs a package of development
    from ops.screens.pictures import take_pictures, write_index  # noqa: PLC0415  # as above

    pages = [page for page in PAGES if page.name in names]
    with (
        open_browser() as browser,
        tempfile.TemporaryDirectory() as place,
        demo_plant(built_demo(kept), Path(place) / "book") as plant,
    ):
        pictures = []
        for picture in take_pictures(browser, plant, pages, folder):
            print(picture.file, flush=True)
            pictures.append(picture)
        print(write_index(pictures, folder))
    print(f"{len(pictures)} pictures of {len(pages)} pages")


def _arguments(words: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m ops.screens", description="Write a picture of every page.")
    parser.add_argument("--folder", type=Path, required=True, help="where the pictures go")
    parser.add_argument(
        "--page", action="append", choices=[page.name for page in PAGES], help="only this one; may repeat"
    )
    parser.add_argument("--built", type=Path, default=KEPT, help="where the demo book lies built")
    return parser.parse_args(words)


if __name__ == "__main__":
    sys.exit(main())
