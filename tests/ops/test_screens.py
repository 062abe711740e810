"""Pictures of pages: one command writes them, and a page that shows them all."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ops.screens import __main__ as screens
from ops.screens.browser import MISSING, find_browser


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where pictures go; a browser is here to take them."""
    if find_browser() is None:
        pytest.skip(MISSING)
    return tmp_path / "pictures"


def test_pictures_of_pages_are_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each page is shown light and dark, on a desk and on a phone; the index shows them all; what is written is listed."""
    assert 0 == screens.main(["--folder", str(folder), "--page", "front", "--page", "account"])
    told = capsys.readouterr().out.splitlines()
    names = {
        f"{page}.{size}-{tone}.png"
        for page in ("front", "account")
        for size in ("desk", "phone")
        for tone in ("light", "dark")
    }

    assert {*names, "index.html"} == {path.name for path in folder.iterdir()}
    assert [*sorted(names), "index.html"] == sorted(Path(line).name for line in told[:-1])
    assert "8 pictures of 2 pages" == told[-1]
    assert names == set(re.findall(r'<img src="([^"]+)"', (folder / "index.html").read_text("utf-8")))
    assert all((folder / name).read_bytes().startswith(b"\x89PNG") for name in names)


def test_a_phones_picture_is_as_wide_as_the_phone(folder: Path) -> None:
    """The picture of a phone is 360 pixels wide, since nothing of the page is wider, and that of a desk 1280."""
    assert 0 == screens.main(["--folder", str(folder), "--page", "front"])
    # PNG (ISO/IEC 15948): the width is the four bytes from 16 on.
    widths = {path.name: int.from_bytes(path.read_bytes()[16:20], "big") for path in folder.glob("*-light.png")}
    assert {"front.desk-light.png": 1280, "front.phone-light.png": 360} == widths


def test_what_is_missing_is_said_in_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without the package of development, or without a browser on the path, the command says so and writes nothing."""
    words = ["--folder", str(tmp_path / "pictures"), "--page", "front"]
    monkeypatch.setenv("PATH", str(tmp_path))
    assert 1 == screens.main(words)
    assert "no Chromium on PATH" in capsys.readouterr().err
    monkeypatch.setattr(screens, "find_spec", lambda _name: None)
    assert 1 == screens.main(words)
    assert (
        capsys.readouterr().err
        == "Pictures need the package playwright: use the environment that bash ops/test sets up.\n"
    )
    assert not (tmp_path / "pictures").exists()
