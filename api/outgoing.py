"""Requests that this service makes of others (witnesses, time stamping authorities), by the standard library alone.

One request has one time limit for all of it, however slowly the other side sends, and one limit on what is read.  No
redirect is followed, no proxy is used, and certificates are checked by the system's roots (``SSL_CERT_FILE`` names others).
Addresses are https, or http on this machine; time stamping authorities may be asked by plain http, as most of them are,
since what they answer is signed and is checked.
"""

import http.client
import ipaddress
import socket
import ssl
import threading
import time
from contextlib import suppress
from typing import Self
from urllib.parse import SplitResult, urlsplit

from ledger.duties.witness_talk import Answer, Unreached
from ledger.errors import MalformedInput

MAX_ANSWER_BYTES = 200_000
AGENT = "pourbook"


def is_loopback(host: str) -> bool:
    """Whether a host as written is this machine: ``localhost``, or an address of its loopback."""
    if host.lower().rstrip(".") == "localhost":
        return True
    with suppress(ValueError):
        return ipaddress.ip_address(host).is_loopback
    return False


def check_address(url: str, *, where: str, plain: bool = False) -> SplitResult:
    """Check an address that requests go to; ``plain`` allows http to other machines. Raises MalformedInput."""
    try:
        parts = urlsplit(url)
        port, host = parts.port, parts.hostname or ""
    except ValueError as error:
        raise MalformedInput("address cannot be read", got=ascii(url), where=where) from error
    if parts.scheme not in {"https", "http"} or not host or port == 0 or not url.isascii() or not url.isprintable():
        raise MalformedInput("address is none", expected="https://host/...", got=ascii(url), where=where)
    if parts.scheme == "http" and not plain and not is_loopback(host):
        raise MalformedInput("address is not https", expected="https, or http on this machine", got=url, where=where)
    if parts.query or parts.fragment or "@" in parts.netloc or " " in url:
        raise MalformedInput("address has more than host and path", got=url, where=where)
    return parts


class Outgoing:
    """Sends requests; several threads may. A `ledger.duties.witness_talk.Send`."""

    def __init__(self, timeout_s: float, *, plain: bool = False, max_bytes: int = MAX_ANSWER_BYTES) -> None:
        """``timeout_s`` is for a whole request. ``plain``: see `check_address`."""
        self._timeout_s = timeout_s
        self._plain = plain
        self._max_bytes = max_bytes

    def __call__(self, method: str, url: str, body: bytes = b"", media: str = "") -> Answer | Unreached:
        """Send one request; what came back, or why nothing did. Raises nothing."""
        try:
            parts = check_address(url, where="url", plain=self._plain)
        except MalformedInput as error:
            return Unreached(str(error))
        with _Limited(parts, self._timeout_s) as limited:
            try:
                found = self._exchange(limited.connected(), parts, (method, body, media))
            except (OSError, http.client.HTTPException, ValueError) as error:
                found = Unreached(_words(error))
        return Unreached(f"no whole answer within {self._timeout_s:g} s") if limited.late else found

    def _exchange(
        self, connection: http.client.HTTPConnection, parts: SplitResult, request: tuple[str, bytes, str]
    ) -> Answer | Unreached:
        method, body, media = request
        headers = {"user-agent": AGENT, "accept-encoding": "identity", "connection": "close"}
        if media:
            headers["content-type"] = media
        connection.request(method, parts.path or "/", body=body or None, headers=headers)
        response = connection.getresponse()
        content = response.read(self._max_bytes + 1)
        if len(content) > self._max_bytes:
            return Unreached(f"its answer is longer than {self._max_bytes} bytes")
        return Answer(response.status, response.headers.get_content_type(), content)


class _Limited:
    """A connection that is cut when its time is over.

    A socket's own timeout is for one wait: who sends a byte now and then would hold the request for ever, in the TLS
    handshake too.
    """

    def __init__(self, parts: SplitResult, timeout_s: float) -> None:
        self._parts = parts
        self._until = time.monotonic() + timeout_s
        self._socket: socket.socket | None = None
        self._timer = threading.Timer(timeout_s, self._cut)
        self._timer.daemon = True
        self.late = False

    def __enter__(self) -> Self:
        self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()
        if self._socket is not None:
            with suppress(OSError):
                self._socket.close()

    def connected(self) -> http.client.HTTPConnection:
        """A connection to the host. Raises OSError."""
        host, secure = self._parts.hostname or "", self._parts.scheme == "https"
        port = self._parts.port or (443 if secure else 80)
        plain = self._socket = self._open(host, port)
        if secure:
            context = ssl.create_default_context()
            secured = context.wrap_socket(plain, server_hostname=host, do_handshake_on_connect=False)
            self._socket = secured
            secured.do_handshake()
        # With the default port the header names none, as servers behind a name expect it.
        named = f"[{host}]" if ":" in host else host
        connection = http.client.HTTPConnection(named, port) if self._parts.port else http.client.HTTPConnection(named)
        connection.sock = self._socket
        return connection

    def _open(self, host: str, port: int) -> socket.socket:
        failed: OSError = TimeoutError()
        for family, kind, protocol, _, address in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM):
            left = self._until - time.monotonic()
            if left <= 0:
                break
            opened = socket.socket(family, kind, protocol)
            opened.settimeout(left)
            try:
                opened.connect(address)
            except OSError as error:
                opened.close()
                failed = error
            else:
                # From here on the timer cuts; this is for the case that it could not.
                opened.settimeout(left + 5)
                return opened
        raise failed

    def _cut(self) -> None:
        self.late = True
        if self._socket is not None:
            with suppress(OSError):
                # Of the plain class: that of a TLS socket would take its state away from the thread that reads.
                socket.socket.shutdown(self._socket, socket.SHUT_RDWR)


def _words(error: Exception) -> str:
    """Why there is no answer, without this machine's part in it."""
    if isinstance(error, TimeoutError):
        return "it cannot be reached in time"
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted: {error.verify_message}"
    if isinstance(error, OSError) and not isinstance(error, http.client.HTTPException):
        return f"it cannot be reached: {error.strerror or type(error).__name__}"
    return f"its answer is no HTTP: {type(error).__name__}"
