"""A time stamping authority (RFC 3161) of OpenSSL's making, in a folder: a root, a certificate, answers over HTTP.

For the demo and the tests alone: it keeps its key beside its answers, and nobody vouches for its clock.
"""

from __future__ import annotations

import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import NamedTuple

from ledger.errors import Unsupported
from ledger.evidence.time_token import RESPONSE_TYPE

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
serial = serial
signer_cert = tsa.crt
signer_key = tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
other_policies = 1.2.3.4.5
digests = {digests}
accuracy = secs:1, millisecs:500
ess_cert_id_alg = sha256
{more}
"""
"""As tsa(1) and x509v3_config(5) of OpenSSL describe it, its files by their names in the folder where it runs.

The policies are the examples of its own documentation.
"""


class OpenSslAuthority:
    """Answers time stamp requests by ``openssl ts -reply``. Raises Unsupported where there is no OpenSSL."""

    def __init__(
        self,
        folder: Path,
        *,
        name: str = "Test",
        usage: str = "critical,timeStamping",
        digests: str = "sha256, sha384, sha512",
        with_chain: bool = False,
        days: int = 2,
    ) -> None:
        """Make root and authority. ``with_chain`` has every answer carry the root too (the option ``certs``)."""
        if shutil.which("openssl") is None:
            raise Unsupported("openssl is not on the path", mend="install OpenSSL 3")
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        more = "certs = root.crt" if with_chain else ""
        said = f"extendedKeyUsage = {usage}" if usage else ""
        config = _CONFIG.format(usage=said, digests=digests, more=more)
        (folder / "tsa.cnf").write_text(config, encoding="utf-8")
        (folder / "serial").write_text("01\n", encoding="utf-8")
        key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
        self._run(
            "req", "-x509", *key, "-keyout", "root.key", "-out", "root.crt", "-subj", f"/CN={name} root", "-days", "30",
            "-config", "tsa.cnf", "-extensions", "ca",
        )  # fmt: skip
        self._run(
            "req", "-new", *key, "-keyout", "tsa.key", "-out", "tsa.csr", "-subj", f"/CN={name} TSA", "-config", "tsa.cnf",
        )  # fmt: skip
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
        """The response (DER) to a request (DER); one at a time."""
        (self.folder / "q.tsq").write_bytes(request)
        self._run(
            "ts", "-reply", "-config", "tsa.cnf", "-section", "tsa_config1", "-queryfile", "q.tsq", "-out", "r.tsr"
        )
        return (self.folder / "r.tsr").read_bytes()

    def _run(self, *words: str) -> None:
        subprocess.run(["openssl", *words], cwd=self.folder, check=True, capture_output=True)


class Reply(NamedTuple):
    """What goes out over HTTP for one request."""

    body: bytes
    status: int = 200
    media: str = RESPONSE_TYPE


@contextmanager
def served(reply: Callable[[bytes], Reply]) -> Iterator[str]:
    """The address at which ``reply`` answers requests (RFC 3161 section 3.4), one after the other, while the block lasts."""
    door = threading.Lock()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            request = self.rfile.read(int(self.headers["content-length"]))
            with door:
                answer = reply(request)
            self.send_response(answer.status)
            self.send_header("content-type", answer.media)
            self.end_headers()
            self.wfile.write(answer.body)

        def log_message(self, *_: object) -> None:
            """Nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}/tsa"
        finally:
            server.shutdown()
            thread.join()
