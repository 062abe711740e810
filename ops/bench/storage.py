"""Where measured books lie: SQLite files, or databases of a PostgreSQL server (`ops.bench.postgres_storage`).

A book has a folder on both (what `ops.bench.plant` must know of it lies there); on PostgreSQL the folder holds the address
of its database.
"""

from __future__ import annotations

import shutil
import sqlite3
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ops.bench.drivers import connect
from ops.bench.shim import Shim

ADDRESS = "address"
"""The file of a book's folder with the address of its store; a folder without it holds the file book.sqlite."""

Command = Callable[..., list[str]]


def url_of(folder: Path) -> str:
    """The address of the store of a book's folder."""
    address = folder / ADDRESS
    return address.read_text("utf-8") if address.exists() else f"sqlite:///{folder / 'book.sqlite'}"


class Storage(ABC):
    """One of the two. ``folder`` holds the folders of its books."""

    name: str

    def __init__(self, folder: Path) -> None:
        """Use this folder, which is there."""
        self.folder = folder

    @abstractmethod
    def version(self) -> str:
        """Name and version of the database."""

    @abstractmethod
    def fresh(self, folder: Path) -> str:
        """Empty a book's folder and give the address of a store that does not exist yet or is empty."""

    @abstractmethod
    def copy(self, kept: Path, to: Path) -> None:
        """Copy a book that nobody has open, the folder's files too."""

    @abstractmethod
    def remove(self, folder: Path) -> None:
        """Take a book and its folder away."""

    @abstractmethod
    def find(self, folder: Path) -> str:
        """The address of a book that was made by an earlier run."""

    @abstractmethod
    def settle(self, folder: Path) -> None:
        """Write back what the database put off, so that what follows does not pay for what went before."""

    @abstractmethod
    def flushing(self, shim: Shim, *, slow_us: int = 0, count_file: Path | None = None) -> Any:
        """A context in which flushes are slow or counted: gives what makes a program's words a command."""

    @abstractmethod
    def close(self) -> None:
        """End what was started."""


class Files(Storage):
    """SQLite: a file in the book's folder."""

    name = "sqlite"

    def version(self) -> str:
        """By its library."""
        return f"SQLite {sqlite3.sqlite_version}"

    def fresh(self, folder: Path) -> str:
        """No file yet."""
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        return url_of(folder)

    def copy(self, kept: Path, to: Path) -> None:
        """Copy the files."""
        shutil.rmtree(to, ignore_errors=True)
        shutil.copytree(kept, to)

    def remove(self, folder: Path) -> None:
        """Take the files away."""
        shutil.rmtree(folder)

    def find(self, folder: Path) -> str:
        """Where it always lies."""
        return url_of(folder)

    def settle(self, folder: Path) -> None:
        """Copy the write-ahead log back into the file."""
        with connect(url_of(folder)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    @contextmanager
    def flushing(self, shim: Shim, *, slow_us: int = 0, count_file: Path | None = None) -> Iterator[Command]:
        """The program itself flushes, so the library stands before it."""

        def command(*words: str) -> list[str]:
            return shim.command(*words, slow_us=slow_us, count_file=count_file)

        yield command

    def close(self) -> None:
        """Nothing was started."""


@contextmanager
def opened_storage(name: str, folder: Path) -> Iterator[Storage]:
    """``sqlite`` or ``postgresql``, with its books under ``folder``, for the length of the block. Raises Unsupported."""
    folder.mkdir(parents=True, exist_ok=True)
    storage: Storage
    if name == "sqlite":
        storage = Files(folder)
    else:
        from ops.bench.postgres_storage import Server  # noqa: PLC0415  # measuring files does without it

        storage = Server(folder / "postgresql")
    try:
        yield storage
    finally:
        storage.close()
