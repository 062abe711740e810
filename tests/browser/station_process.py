"""A service in a process of its own, at one port, that can be killed and started again; and somebody at its stations."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ledger.application.pourbook import open_account
from ledger.application.sign_in import set_password
from ledger.line.rows import Unit
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.selections import every_row
from tests.pages.forms_sent import PASSWORD
from tests.plant import line_start
from tests.whole.serving import PROJECT, Premises, new_premises

NAMES = ("Line", "Second line")
LONG_AGO_MS = 1_773_000_000_000


class StationService:
    """`pourbook serve` over a lot SL-1 of 200 balls; ``start`` after ``kill`` is at the same address.

    Tests share it, as a process costs more than most of them: each begins with ``begin``.  ``cookies``: of those who signed in.
    """

    def __init__(self, premises: Premises, port: int) -> None:
        """Not started yet."""
        self.premises = premises
        self.address = f"http://127.0.0.1:{port}"
        self.cookies: dict[str, Any] = {}
        self._port = port
        self._process: subprocess.Popen[str] | None = None
        self._before: frozenset[str] = frozenset()

    def begin(self) -> None:
        """It runs, and `balls` counts from here."""
        if self._process is None:
            self.start()
        self._before = frozenset(unit.unit for unit in self._all_balls())

    def start(self) -> None:
        """Start it, and wait until it takes requests."""
        with (self.premises.folder / "service.log").open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "ops.cli", "serve", "--port", str(self._port)],
                cwd=PROJECT, env={**os.environ, **self.premises.variables()}, stdout=subprocess.PIPE, stderr=log,
                text=True,
            )  # fmt: skip
        output = self._process.stdout
        assert output is not None
        said = [output.readline(), output.readline()]
        assert said[1] == "ready\n", said

    def kill(self) -> None:
        """End it at once, as a power cut would."""
        if self._process is None:
            return
        self._process.kill()
        self._process.wait(60)
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._process = None

    def balls(self) -> list[Unit]:
        """The balls that came into the book since `begin`, in the order of their engraving; read from the store itself."""
        return [unit for unit in self._all_balls() if unit.unit not in self._before]

    def _all_balls(self) -> list[Unit]:
        store = open_store(self.premises.url, migrate=False)
        try:
            with open_reader(store) as reader:
                rows: list[Unit] = every_row(reader.transaction, Unit)
        finally:
            store.close()
        return sorted(rows, key=lambda unit: (unit.engraved_ms or 0, unit.unit))


@contextmanager
def station_service(folder: Path) -> Iterator[StationService]:
    """The service, running, with accounts that sign in by `PASSWORD`."""
    premises = new_premises(folder, f"sqlite:///{folder / 'book.db'}", line_start(count=200))
    store = open_store(premises.url, migrate=False)
    for name in NAMES:
        account, _ = open_account(store, name, ("station",), LONG_AGO_MS)
        set_password(store, account.account, PASSWORD, LONG_AGO_MS, must_change=False)
    store.close()
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    service = StationService(premises, port)
    service.start()
    try:
        yield service
    finally:
        service.kill()
