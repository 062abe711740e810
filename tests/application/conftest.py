"""A plant whose line stands ready, one a test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.application.floor import Floor


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with its model, plan and gauges; nothing is poured yet."""
    made = Floor(tmp_path)
    yield made
    made.book.close()


@pytest.fixture
def ready(floor: Floor) -> Floor:
    """The same with a drum, a batch, and BL-1, CL-1 and SL-1 of 40 each, all as planned."""
    floor.line()
    return floor
