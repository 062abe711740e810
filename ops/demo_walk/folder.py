"""The demo's folder: the built book, kept, and the copy of it that one walk works on.

``built/`` holds the book as the story left it and is used again while nothing that makes it has changed (`stamp`).
Each walk begins with a fresh copy, so that every walk shows the same.  Keys lie in encrypted files as a plant's would;
their seeds and passwords are public, and good for this demo alone.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec

from fixtures_demo.build import STORE, DemoBook, build_demo_book
from fixtures_demo.plant import demo_signers
from ledger.application.signers import Signers
from ledger.book.signing import Signer, format_verifier, private_pem
from ledger.errors import StoreUnavailable
from ops.key_files import KeyFile, format_key_file

PROJECT = Path(__file__).resolve().parent.parent.parent
DEFAULT = PROJECT / ".pourbook" / "demo"

PASSWORD = "demo only, public password"  # noqa: S105  # of keys that prove nothing, and printed nowhere as a secret

_SOURCES = ("fixtures_demo/**/*.py", "fixtures_demo/*.toml", "ledger/**/*.py", "ledger/**/*.toml")


class DemoFolder:
    """Paths of one demo folder."""

    def __init__(self, folder: Path) -> None:
        """Nothing is made before it is needed."""
        self.folder = folder
        self.built = folder / "built"
        self.store = folder / STORE
        self.facts = folder / "demo.json"
        self.label = folder / "label.svg"
        self.dossier = folder / "dossier.zip"
        self.table = folder / "conformity.csv"
        self.chart = folder / "hardness.svg"
        self.letter = folder / "letter.pdf"
        self.notice = folder / "notice.pdf"
        self.survival = folder / "survival.svg"
        self.key = folder / "checkpoint.vkey"
        self.seal = folder / "report.seal"
        self.report = folder / "approval-file.pdf"
        self.changed = folder / "changed"

    @contextmanager
    def taken(self) -> Iterator[None]:
        """Hold the folder for the length of the block. Raises StoreUnavailable while another walk holds it."""
        self.folder.mkdir(parents=True, exist_ok=True)
        with (self.folder / "lock").open("w") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as error:
                mend = "stop it with Ctrl-C, or give another folder with --folder"
                raise StoreUnavailable("another demo runs in this folder", where=str(self.folder), mend=mend) from error
            yield

    def build(self, seed: int, progress: Callable[[float], None]) -> bool:
        """Build the book unless the kept one is as this program would build it; whether it was built now."""
        stamp = self.built / "stamp"
        wanted = stamp_of(seed)
        try:
            kept = stamp.read_text("utf-8") == wanted
        except OSError:
            kept = False
        if kept:
            return False
        shutil.rmtree(self.built, ignore_errors=True)
        demo = build_demo_book(self.built, seed=seed, progress=progress)
        write_private(self.built / "demo.json", msgspec.json.encode(demo))
        # Written last: a build that was interrupted has no stamp.
        stamp.write_text(wanted, "utf-8")
        return True

    def copy(self) -> DemoBook:
        """A fresh copy of the built book to walk on, with its key files; what is known of it."""
        for old in (*self.folder.glob(f"{STORE}*"), *self._shown()):
            old.unlink(missing_ok=True)
        for file in self.built.glob(f"{STORE}*"):
            shutil.copyfile(file, self.folder / file.name)
        demo = msgspec.json.decode((self.built / "demo.json").read_bytes(), type=DemoBook)
        demo = msgspec.structs.replace(demo, file=str(self.store))
        write_private(self.facts, msgspec.json.encode(demo))
        signers = demo_signers(demo.seed)
        self._write_keys(signers)
        return demo

    def _shown(self) -> tuple[Path, ...]:
        """What a walk asks for and writes down."""
        return self.table, self.chart, self.letter, self.notice, self.survival, self.report

    def read(self) -> DemoBook:
        """What is known of the copy."""
        return msgspec.json.decode(self.facts.read_bytes(), type=DemoBook)

    def _write_keys(self, signers: Signers) -> None:
        self.key.write_text(format_verifier(signers.checkpoint.verifier) + "\n", "utf-8")
        write_private(self.folder / "password", PASSWORD.encode() + b"\n")
        for signer in (signers.checkpoint, signers.dossier, signers.credential):
            if signer is not None:
                write_private(self.folder / f"{signer.purpose}.key", _key_file(signer))


def _key_file(signer: Signer) -> bytes:
    pem = private_pem(signer, PASSWORD.encode())
    return format_key_file(KeyFile(signer.verifier.name, signer.purpose, format_verifier(signer.verifier), pem))


def stamp_of(seed: int) -> str:
    """A digest over the seed and every file that a built book depends on."""
    digest = hashlib.sha256(str(seed).encode())
    for pattern in _SOURCES:
        for path in sorted(PROJECT.glob(pattern)):
            digest.update(str(path.relative_to(PROJECT)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def write_private(path: Path, content: bytes) -> None:
    """Write a file that its owner alone may read."""
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
