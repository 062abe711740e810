"""A book on its own premises: key files, a keeper, a line that is begun, and service processes over it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import ClassVar, NamedTuple

from ledger.application.creating import create_book
from ledger.application.pourbook import open_book
from ledger.application.proofs import BookReport, check_book
from ledger.application.signers import Signers, dossier_key_name
from ledger.book.signing import format_verifier
from ledger.line.submission import Submission
from ledger.store.engine import open_store
from ops.key_files import create_key_file
from tests.plant import ORIGIN, line_start

PROJECT = Path(__file__).resolve().parent.parent.parent
PASSWORD = "a password for tests"
STEM = "https://id.example.com"


class Premises(NamedTuple):
    """Where a book is kept, its keys, and the token of its keeper, who is its quality lead too."""

    folder: Path
    url: str
    signers: Signers
    token: str
    origin: str = ORIGIN
    pen: str = ""
    """The folder in which its services share a pen; empty: each enters its own."""

    @property
    def verifier(self) -> str:
        """The line by which others check what the book signs."""
        return format_verifier(self.signers.checkpoint.verifier)

    def variables(self) -> dict[str, str]:
        """The settings of a service over this book."""
        return {
            "POURBOOK_STORE_URL": self.url,
            "POURBOOK_LABEL_STEM": STEM,
            "POURBOOK_CHECKPOINT_KEY_FILE": str(self.folder / "checkpoint.key"),
            "POURBOOK_CHECKPOINT_PASSWORD_FILE": str(self.folder / "password"),
            "POURBOOK_DOSSIER_KEY_FILE": str(self.folder / "dossier.key"),
            "POURBOOK_DOSSIER_PASSWORD_FILE": str(self.folder / "password"),
            "POURBOOK_PEN_FOLDER": self.pen,
        }

    def sharing_a_pen(self) -> Premises:
        """The same, its services sharing a pen."""
        return self._replace(pen=str(self.folder / "pen"))

    def check(self, *, views: bool = True) -> BookReport:
        """Check the whole book; raises what is wrong with it."""
        store = open_store(self.url, migrate=False)
        try:
            return check_book(store, self.origin, [self.signers.checkpoint.verifier], views=views)
        finally:
            store.close()


def new_premises(folder: Path, url: str, begun: list[Submission] | None = None, *, origin: str = ORIGIN) -> Premises:
    """A new book that holds what was ``begun``: by default the line up to a shell lot of 100,000 balls."""
    (folder / "password").write_text(PASSWORD, encoding="utf-8")
    signers = Signers(
        create_key_file(folder / "checkpoint.key", origin, "checkpoint", PASSWORD),
        create_key_file(folder / "dossier.key", dossier_key_name(origin), "dossier", PASSWORD),
    )
    created = create_book(url, origin=origin, plant="Test plant", signers=signers, keeper="A keeper")
    book = open_book(url, origin=origin, signers=signers, label_stem=STEM)
    book.start()
    for submission in line_start(count=100_000) if begun is None else begun:
        book.submit(submission, created.account).result(30)
    book.close()
    return Premises(folder, url, signers, created.token, origin)


class ServiceProcess:
    """One `pourbook serve`; ``address`` is told once it is ready."""

    living: ClassVar[set[ServiceProcess]] = set()

    def __init__(self, premises: Premises) -> None:
        """Start it, and do not wait."""
        self.living.add(self)
        self.log = premises.folder / "service.log"
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "ops.cli", "serve", "--port", "0"],
                cwd=PROJECT, env={**os.environ, **premises.variables()}, stdout=subprocess.PIPE, stderr=log, text=True,
            )  # fmt: skip

    def ready(self) -> str:
        """Its address, once it takes requests."""
        output = self.process.stdout
        assert output is not None
        first, second = output.readline(), output.readline()
        assert "ready\n" == second, self.log.read_text("utf-8")[-2000:]
        return first.split(" at ")[1].split(" ")[0]

    def kill(self) -> None:
        """End it as a power cut would, as far as a process can tell."""
        self.process.kill()
        self._gone()

    def stop(self) -> int:
        """Ask it to end; its exit code."""
        self.process.terminate()
        return self._gone()

    def stop_refused(self) -> int:
        """Wait for the end of one that does not start; its exit code."""
        return self._gone()

    def _gone(self) -> int:
        code = self.process.wait(60)
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.living.discard(self)
        return code


def end_what_is_left(shared: set[ServiceProcess]) -> None:
    """End the services that a test which failed has left, so that the next one is not blamed for them; not the shared ones."""
    for service in ServiceProcess.living - shared:
        service.kill()


@contextmanager
def served(premises: Premises) -> Iterator[str]:
    """A service process for the length of the block; its address."""
    service = ServiceProcess(premises)
    try:
        yield service.ready()
    finally:
        code = service.stop()
    assert 0 == code
