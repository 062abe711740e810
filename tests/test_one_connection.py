"""No look at the store is begun within another one, so that a thread holds one connection at a time."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
LOOKS = ("open_reader(", "open_long_reader(", ".reading()", ".writing()")
BOOK_ASKED = ("book.", "parts.book.", "self.book.", "self._book.")
CLOCK = ".clock_ms"
"""The one thing that is asked of a book and not of its store."""


def _nested(tree: ast.AST) -> Iterator[int]:
    """Lines within a look on which something gets a store, or a book is asked, and may begin another."""
    for block in ast.walk(tree):
        if not isinstance(block, ast.With):
            continue
        begun = " ".join(ast.unparse(item.context_expr) for item in block.items)
        if not any(look in begun for look in LOOKS):
            continue
        for call in (inner for line in block.body for inner in ast.walk(line) if isinstance(inner, ast.Call)):
            asked = ast.unparse(call.func)
            given = [ast.unparse(value) for value in (*call.args, *(named.value for named in call.keywords))]
            gets_store = any(value == "store" or value.endswith((".store", "_store")) for value in given)
            if gets_store or (asked.startswith(BOOK_ASKED) and not asked.endswith(CLOCK)):
                yield call.lineno


@pytest.mark.parametrize("package", ["api", "ledger"])
def test_no_look_is_begun_within_another(package: str) -> None:
    """What a look finds is given on when it has ended."""
    found = {
        f"{file.relative_to(ROOT)}:{line}"
        for file in sorted((ROOT / package).rglob("*.py"))
        for line in _nested(ast.parse(file.read_text("utf-8")))
    }
    assert set() == found


def test_a_look_within_another_is_found() -> None:
    """The rule sees a store that is given on, and a book that is asked; the clock is none of it."""
    text = "with open_reader(book.store) as reader:\n    put_blob(book.store, b'')\n    book.receipt(1)\n    book.clock_ms()\n"
    assert [2, 3] == list(_nested(ast.parse(text)))
