"""Object storage for tests: moto's server as a process of its own, reached over HTTP as any S3 is."""

from __future__ import annotations

import http.client
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest

BUCKET = "books"


@contextmanager
def object_server() -> Iterator[str]:
    """The address of a server that has one empty bucket, stopped at the end."""
    pytest.importorskip("moto", reason="package moto is not installed")
    program = Path(sys.executable).with_name("moto_server")
    with subprocess.Popen(
        [program, "-H", "127.0.0.1", "-p", "0"], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    ) as server:
        assert server.stderr is not None
        try:
            said = ""
            for line in server.stderr:
                said = line
                if "Running on" in line:
                    break
            address = said.partition("Running on ")[2].strip()
            # What it logs from now on must not fill the pipe.
            with _drained(server):
                request(address, "PUT", f"/{BUCKET}")
                yield address
        finally:
            server.terminate()


@contextmanager
def _drained(server: subprocess.Popen[str]) -> Iterator[None]:
    from threading import Thread  # noqa: PLC0415  # beside its one use

    thread = Thread(target=lambda: server.stderr and server.stderr.read(), daemon=True)
    thread.start()
    try:
        yield
    finally:
        server.terminate()
        thread.join()


def request(address: str, verb: str, path: str, body: bytes | None = None) -> bytes:
    """One request that is signed for nobody; what was answered."""
    connection = http.client.HTTPConnection(urlsplit(address).netloc, timeout=30)
    try:
        connection.request(verb, path, body)
        answer = connection.getresponse()
        raw = answer.read()
        assert answer.status < 300, raw
        return raw
    finally:
        connection.close()


def use_server(monkeypatch: pytest.MonkeyPatch, address: str) -> None:
    """Have the library find this server, and invented credentials, in the environment."""
    for name, value in {
        "AWS_ENDPOINT_URL": address,
        "AWS_ACCESS_KEY_ID": "invented",
        "AWS_SECRET_ACCESS_KEY": "invented-too",
        "AWS_REGION": "us-east-1",
    }.items():
        monkeypatch.setenv(name, value)
