"""A time stamping authority for tests: OpenSSL with a root and a certificate of its own, in a folder."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

_CONFIG = """
[req]
distinguished_name = dn
[dn]
[ca]
basicConstraints = critical,CA:true
keyUsage = critical,keyCertSign,cRLSign
subjectKeyIdentifier = hash
[tsa]
basicConstraints = critical,CA:false
keyUsage = critical,digitalSignature
{usage}
subjectKeyIdentifier = hash
authorityKeyIdentifier = keyid
[tsa_config1]
serial = {folder}/serial
signer_cert = {folder}/tsa.crt
signer_key = {folder}/tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
other_policies = 1.2.3.4.5
digests = {digests}
accuracy = secs:1, millisecs:500
ess_cert_id_alg = sha256
{more}
"""


class OpenSslTsa:
    """Answers time stamp requests by ``openssl ts -reply``. Skips a test where there is no OpenSSL."""

    def __init__(
        self,
        folder: Path,
        *,
        usage: str = "critical,timeStamping",
        digests: str = "sha256, sha384, sha512",
        with_chain: bool = False,
        days: int = 2,
    ) -> None:
        """Make root and authority. ``with_chain`` has every answer carry the root too (the option ``certs``)."""
        if shutil.which("openssl") is None:
            pytest.skip("openssl is not on the path")
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        more = f"certs = {folder}/root.crt" if with_chain else ""
        said = f"extendedKeyUsage = {usage}" if usage else ""
        config = _CONFIG.format(folder=folder, usage=said, digests=digests, more=more)
        (folder / "tsa.cnf").write_text(config, encoding="utf-8")
        (folder / "serial").write_text("01\n", encoding="utf-8")
        key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
        self._run(
            "req", "-x509", *key, "-keyout", "root.key", "-out", "root.crt", "-subj", "/CN=Test root", "-days", "30",
            "-config", "tsa.cnf", "-extensions", "ca",
        )  # fmt: skip
        self._run(
            "req", "-new", *key, "-keyout", "tsa.key", "-out", "tsa.csr", "-subj", "/CN=Test TSA", "-config", "tsa.cnf"
        )
        self._run(
            "x509", "-req", "-in", "tsa.csr", "-CA", "root.crt", "-CAkey", "root.key", "-CAcreateserial", "-days", str(days),
            "-out", "tsa.crt", "-extfile", "tsa.cnf", "-extensions", "tsa",
        )  # fmt: skip

    @property
    def roots(self) -> bytes:
        """The root certificate, PEM."""
        return (self.folder / "root.crt").read_bytes()

    @property
    def certificate(self) -> bytes:
        """The authority's own certificate, PEM."""
        return (self.folder / "tsa.crt").read_bytes()

    def answer(self, request: bytes) -> bytes:
        """The response (DER) to a request (DER)."""
        (self.folder / "q.tsq").write_bytes(request)
        self._run(
            "ts", "-reply", "-config", "tsa.cnf", "-section", "tsa_config1", "-queryfile", "q.tsq", "-out", "r.tsr"
        )
        return (self.folder / "r.tsr").read_bytes()

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

    def _run(self, *words: str) -> None:
        subprocess.run(["openssl", *words], cwd=self.folder, check=True, capture_output=True)
