"""The service that the tests of a module share; a test that changes much starts its own."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service, running


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service whose book holds three balls, U-000001 to U-000003."""
    with running(tmp_path_factory.mktemp("service"), balls=3, public_per_minute=60_000, public_burst=10_000) as one:
        yield one
