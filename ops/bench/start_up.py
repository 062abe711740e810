"""The start of a real ``pourbook serve``, as an operator starts it: from its command to its first answer."""

from __future__ import annotations

import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from ledger.book.signing import Signer, format_verifier, private_pem
from ops.bench.drivers import one_value
from ops.bench.field import Field
from ops.bench.figures import Row
from ops.bench.plant import LABEL_STEM, SIGNERS
from ops.bench.serving import Serving
from ops.bench.storage import url_of
from ops.key_files import KeyFile, format_key_file

MOST_S = 2.0
_PASSWORD = "a password of the bench"  # noqa: S105  # the keys are anyone's to make


def measure_start(field: Field, folder: Path, what: str) -> Row:
    """Start it ``rounds`` times over the book of a folder; beside it an interpreter that imports the application."""
    entries = one_value(url_of(folder), 'SELECT "size" FROM "head"')
    started: list[float] = []
    imported: list[float] = []
    for _ in range(field.sizes.rounds):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import ops.cli, ops.commands.serve"], check=True)
        imported.append(time.perf_counter() - began)
        began = time.perf_counter()
        with pourbook_serve(folder) as serving:
            urllib.request.urlopen(f"{serving.address}/checkpoint", timeout=60).close()  # noqa: S310  # loopback
            started.append(time.perf_counter() - began)
    taken = median(started)
    return Row(
        what=f"pourbook serve to its first answer, {what} ({entries:,} entries)",
        measured=f"{taken:.2f} s", floor=f"its modules imported {median(imported):.2f} s",
        ratio=f"{taken / median(imported):.2f}", target=f"under {MOST_S:.0f} s", reached=taken < MOST_S,
    )  # fmt: skip


@contextmanager
def pourbook_serve(folder: Path) -> Iterator[Serving]:
    """The service over the book of a folder, for the length of the block; its settings are those of a first start."""
    settings = {
        "POURBOOK_STORE_URL": url_of(folder), "POURBOOK_PORT": "0", "POURBOOK_LABEL_STEM": LABEL_STEM,
        **_keys(folder, "checkpoint", SIGNERS.checkpoint), **_keys(folder, "dossier", SIGNERS.dossier),
    }  # fmt: skip
    given = [f"{name}={value}" for name, value in settings.items()]
    words = ["env", *given, sys.executable, "-m", "ops.cli", "serve"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        try:
            line = server.stdout.readline() if server.stdout else ""
            # It says the book, " at ", its address, and how it is stopped.
            address = line.partition(" at ")[2].partition(" ")[0]
            if not address:
                message = f"pourbook serve did not start: {line}"
                raise RuntimeError(message)
            yield Serving(address, server.pid)
        finally:
            server.terminate()
            server.wait(60)


def _keys(folder: Path, purpose: str, signer: Signer) -> dict[str, str]:
    """A key file of the measured book and its password's, made where they are not yet; the settings that name them."""
    key, password = folder / f"{purpose}.key", folder / f"{purpose}.password"
    if not key.exists():
        pem = private_pem(signer, _PASSWORD.encode())
        key.write_bytes(format_key_file(KeyFile(signer.name, purpose, format_verifier(signer.verifier), pem)))
        password.write_text(_PASSWORD, "utf-8")
        for file in (key, password):
            file.chmod(0o600)
    name = f"POURBOOK_{purpose.upper()}"
    return {f"{name}_KEY_FILE": str(key), f"{name}_PASSWORD_FILE": str(password)}
