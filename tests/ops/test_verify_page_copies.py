"""What stands in or about ``verify.html`` and follows from other files is as they are, and the page keeps to itself."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from ledger.evidence.files import verify_page, verify_page_digest
from ops.verify_page import fresh_page, fresh_readme

MEND = "run: python -m ops.verify_page"


@pytest.fixture(scope="module")
def text() -> str:
    """The page."""
    return verify_page().decode()


def test_table_and_policy_are_fresh(text: str) -> None:
    """Forms, limits, sealed fields and words are the program's; the policy states the digests of the scripts and the style."""
    assert text == fresh_page(text), MEND


def test_the_readme_states_the_digest(project: Path) -> None:
    """The README publishes the SHA-256 of the page."""
    readme = (project / "README.md").read_text("utf-8")

    assert readme == fresh_readme(readme, verify_page()), MEND
    assert verify_page_digest() in readme


def test_the_digest_is_that_of_the_file(project: Path) -> None:
    """What is published is what `sha256sum` says of the file."""
    page = project / "ledger" / "evidence" / "files" / "verify.html"

    assert hashlib.sha256(page.read_bytes()).hexdigest() == verify_page_digest()


def test_the_policy_lets_nothing_in_and_nothing_out(text: str) -> None:
    """No source but the page itself: nothing is loaded, fetched, framed or sent."""
    [policy] = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    said = dict(part.strip().split(" ", 1) for part in policy.split(";"))

    assert (
        "'none'"
        == said.pop("default-src")
        == said.pop("connect-src")
        == said.pop("form-action")
        == said.pop("base-uri")
    )
    assert {"script-src", "style-src"} == set(said)
    assert [] == re.findall(r"unsafe|https?:", policy)


def test_the_page_names_no_other_host(text: str) -> None:
    """No address of the web stands in it, and no attribute that would load or run something."""
    assert [] == re.findall(r"https?://|\bsrc=|\bhref=|\bon[a-z]+=|\bstyle=", text)


@pytest.mark.parametrize(
    "word", ["innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "new Function", "fetch("]
)
def test_what_a_file_says_cannot_become_markup_or_code(text: str, word: str) -> None:
    """The page uses nothing that reads text as markup or as a script, and asks nobody."""
    assert word not in text


def test_functions_of_the_page_are_short(text: str) -> None:
    """A function of the page does one thing: at most 40 lines; a script is one concept: under 250."""
    scripts = re.findall(r"<script>\n(.*?)</script>", text, re.DOTALL)
    functions = [
        found
        for script in scripts
        for found in re.findall(r"^( +)((?:async )?function.*?\n\1\})", script, re.DOTALL | re.MULTILINE)
    ]

    assert len(functions) > 80
    assert [] == [body.splitlines()[0] for _, body in functions if len(body.splitlines()) > 40]
    assert [] == [script.splitlines()[0] for script in scripts if len(script.splitlines()) > 250]
    assert [] == [
        script[:80] for script in scripts if not script.lstrip().startswith("// ") or '"use strict";' not in script
    ]
