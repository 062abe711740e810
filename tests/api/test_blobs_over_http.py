"""Blobs over HTTP: bytes in, the same bytes out, and nothing that a browser would run."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.api.running import Service, running


def send(service: Service, raw: bytes | Iterator[bytes], media_type: str = "image/jpeg") -> httpx.Response:
    """Send bytes as an inspector."""
    return service["inspector"].post("/blobs", content=raw, headers={"content-type": media_type})


def test_bytes_come_back_by_their_digest(service: Service) -> None:
    """The digest is the SHA-256 of the bytes; the same bytes again are a 200 with the same answer."""
    raw = bytes(range(256)) * 5_000
    sent = send(service, raw)
    digest = hashlib.sha256(raw).hexdigest()
    assert (201, {"digest": digest, "media_type": "image/jpeg", "length": len(raw)}) == (sent.status_code, sent.json())
    again = send(service, raw, "text/html")
    assert (200, sent.json()) == (again.status_code, again.json())
    read = service["auditor"].get(f"/blobs/{digest}")
    assert (200, raw, "image/jpeg") == (read.status_code, read.content, read.headers["content-type"])


def test_a_page_that_was_sent_is_not_shown(service: Service) -> None:
    """HTML comes for saving, in a sandbox, and its type is not guessed."""
    sent = send(service, b"<script>alert(1)</script>", "text/html; charset=utf-8")
    read = service["desk"].get(f"/blobs/{sent.json()['digest']}")
    assert "text/html" == sent.json()["media_type"]
    assert read.headers["content-disposition"].startswith("attachment;")
    assert ("default-src 'none'; sandbox", "nosniff") == (
        read.headers["content-security-policy"], read.headers["x-content-type-options"],
    )  # fmt: skip


@pytest.mark.parametrize("digest", ["0" * 64, "F" * 64, "x", "%00", "..%2f.."])
def test_what_is_not_stored_is_a_404(service: Service, digest: str) -> None:
    """Unknown digests and what is none; the problem says what to ask by."""
    answer = service["auditor"].get(f"/blobs/{digest}")
    assert (404, "application/problem+json") == (answer.status_code, answer.headers["content-type"])


@pytest.mark.parametrize(("raw", "media_type", "where"), [(b"", "image/png", "body"), (b"x", "image", "Content-Type")])
def test_what_is_no_blob_is_a_400(service: Service, raw: bytes, media_type: str, where: str) -> None:
    """No bytes, or no type."""
    answer = send(service, raw, media_type)
    assert (400, where) == (answer.status_code, answer.json()["where"])


def test_the_limit_is_a_setting(tmp_path: Path) -> None:
    """As many bytes as the limit are taken, one more is a 413, however they are sent; other bodies keep their own limit."""
    with running(tmp_path, blob_limit=100_000, body_limit=1_000) as service:
        assert 201 == send(service, bytes(100_000)).status_code
        for raw in (bytes(100_001), iter([bytes(60_000), bytes(60_000)])):
            answer = send(service, raw)
            assert (413, "too-large", "body") == (answer.status_code, answer.json()["code"], answer.json()["where"])
        assert 413 == service.say("station", {"kind": "x" * 2_000}).status_code


def test_roles_of_blobs(service: Service) -> None:
    """The auditor reads and sends nothing; a station sends and reads nothing."""
    digest = send(service, b"a photo").json()["digest"]
    assert (403, 200) == (
        service["auditor"].post("/blobs", content=b"x").status_code,
        service["auditor"].get(f"/blobs/{digest}").status_code,
    )
    assert (200, 403) == (
        service["station"].post("/blobs", content=b"a photo", headers={"content-type": "image/png"}).status_code,
        service["station"].get(f"/blobs/{digest}").status_code,
    )
