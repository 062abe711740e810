"""The demo book, built once for these tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from fixtures_demo.build import DemoBook, build_demo_book, open_demo_book
from ledger.application.pourbook import Pourbook


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoBook:
    """The demo book as it is built from its own seed."""
    return build_demo_book(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="session")
def demo_book(demo: DemoBook) -> Iterator[Pourbook]:
    """The same, opened for looking."""
    book = open_demo_book(demo, lambda: demo.now_ms)
    book.start()
    yield book
    book.close()
