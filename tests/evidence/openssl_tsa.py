"""A time stamping authority for tests: OpenSSL with a root and a certificate of its own, in a folder."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pytest

from ledger.errors import Unsupported
from ops.demo_walk.openssl_authority import OpenSslAuthority


class OpenSslTsa(OpenSslAuthority):
    """The authority, with what OpenSSL itself says. Skips a test where there is no OpenSSL."""

    def __init__(self, folder: Path, **more: Any) -> None:
        """As `OpenSslAuthority`."""
        try:
            super().__init__(folder, **more)
        except Unsupported as error:
            pytest.skip(error.problem)

    def verify(self, message: bytes, response: bytes) -> bool:
        """Whether OpenSSL itself finds the response good over ``message``, by the root alone."""
        (self.folder / "message").write_bytes(message)
        (self.folder / "checked.tsr").write_bytes(response)
        done = subprocess.run(
            ["openssl", "ts", "-verify", "-data", "message", "-in", "checked.tsr", "-CAfile", "root.crt"],
            cwd=self.folder, capture_output=True, check=False,
        )  # fmt: skip
        return done.returncode == 0 and b"Verification: OK" in done.stdout + done.stderr

    def query(self, message: bytes, *options: str) -> bytes:
        """A request that OpenSSL makes itself."""
        (self.folder / "message").write_bytes(message)
        self._run("ts", "-query", "-data", "message", "-out", "own.tsq", *options)
        return (self.folder / "own.tsq").read_bytes()
