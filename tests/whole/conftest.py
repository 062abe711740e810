"""Premises on each database, and no service left over by a test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.stores import fresh_database, fresh_file, postgres_server
from tests.whole.serving import ServiceProcess, end_what_is_left


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """The address of a PostgreSQL server for the tests of the whole."""
    with postgres_server() as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty store."""
    if request.param == "sqlite":
        return fresh_file(tmp_path)
    return fresh_database(request.getfixturevalue("postgres"))


@pytest.fixture(autouse=True)
def _none_left() -> Iterator[None]:
    # Those that several tests share were started before this, and end with the last of them.
    shared = set(ServiceProcess.living)
    yield
    end_what_is_left(shared)
