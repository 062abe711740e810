"""The witness over HTTP: each status with its media type and body, as C2SP tlog-witness has them, and its limits."""

from __future__ import annotations

import hashlib
import socket
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from api.server import serving
from api.witness.app import Limits, witness_app
from api.witness.known_logs import LogFile
from ledger.application.witness import Witness
from ledger.book.checkpoint import check_checkpoint, sign_checkpoint
from ledger.book.merkle import EMPTY_ROOT, prove_consistency, root
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.book.witness import check_cosignature, format_add_checkpoint
from ledger.errors import MalformedInput
from ledger.store.witness_state import open_witness_state
from tests.book.samples import LOG, NEXT_LOG, ORIGIN, leaves
from tests.witnesses import Running, running_witness

LEAVES = leaves(40)
KNOWN = {ORIGIN: [LOG.verifier]}
SHOWN = hashlib.sha256(ORIGIN.encode()).hexdigest()


@pytest.fixture
def witness(tmp_path: Path) -> Iterator[Running]:
    """A witness under a prefix that has signed nothing yet."""
    with running_witness(tmp_path, "w", KNOWN, prefix="/witness/one") as running:
        yield running


def note(size: int) -> bytes:
    """The log's checkpoint of a size."""
    return sign_checkpoint(ORIGIN, size, root(LEAVES[:size]), [LOG])


def body(old: int, new: int) -> bytes:
    """A request from one size to another."""
    return format_add_checkpoint(old, prove_consistency(LEAVES, old, new) if old else [], note(new))


def post(witness: Running, content: bytes) -> httpx.Response:
    """Submit a request."""
    return httpx.post(f"{witness.url}/add-checkpoint", content=content, timeout=60)


def test_200_is_cosignature_lines(witness: Running) -> None:
    """Each line begins with an em dash and ends in a newline, and checks over the checkpoint."""
    answer = post(witness, body(0, 8))
    assert (200, True, True) == (
        answer.status_code,
        answer.content.startswith("\u2014 ".encode()),
        answer.content.endswith(b"\n"),
    )
    assert check_cosignature(note(8) + answer.content, witness.signer.verifier)


def test_409_is_the_stored_size_and_nothing_else(witness: Running) -> None:
    """In decimal with a newline, of exactly the media type of the standard; then the log goes on from there."""
    assert b"0\n" == post(witness, body(3, 8)).content
    post(witness, body(0, 8))
    answer = post(witness, body(0, 12))
    assert (409, "text/x.tlog.size", b"8\n") == (answer.status_code, answer.headers["content-type"], answer.content)
    assert 200 == post(witness, body(8, 12)).status_code


def test_refusals_are_plain_text(witness: Running) -> None:
    """404, 403, 400 and 422, each case of the standard, with one line that says why."""
    post(witness, body(0, 8))
    stranger = signer_from_seed("other.example", bytes(32))
    fork = sign_checkpoint(ORIGIN, 8, root([*LEAVES[:7], LEAVES[9]]), [LOG])
    cases = {
        "unknown origin": (
            404,
            format_add_checkpoint(0, [], sign_checkpoint("other.example", 5, LEAVES[0], [stranger])),
        ),
        "no trusted signature": (
            403,
            format_add_checkpoint(8, [], sign_checkpoint(ORIGIN, 8, root(LEAVES[:8]), [NEXT_LOG])),
        ),
        "bad signature": (403, format_add_checkpoint(8, [], note(8).replace(b"\n8\n", b"\n9\n"))),
        "old above the size": (400, format_add_checkpoint(9, [], note(8))),
        "no request": (400, b"hello"),
        "no octets": (400, b""),
        "64 hashes": (400, b"old 1\n" + b"A" * 43 + b"=\n" * 64 + b"\n" + note(8)),
        "no proof": (422, format_add_checkpoint(8, [], note(12))),
        "another root": (422, format_add_checkpoint(8, [], fork)),
        "proof at the same size": (422, format_add_checkpoint(8, [LEAVES[0]], note(8))),
        "empty tree with a root": (422, format_add_checkpoint(0, [], sign_checkpoint(ORIGIN, 0, LEAVES[0], [LOG]))),
    }
    for name, (status, content) in cases.items():
        answer = post(witness, content)
        assert (status, 1) == (answer.status_code, answer.text.count("\n")), name
        assert answer.headers["content-type"].startswith("text/plain"), name


def test_a_proof_from_nothing_is_422(witness: Running) -> None:
    """The proof from size 0 is empty, or the request is refused."""
    assert 422 == post(witness, format_add_checkpoint(0, [EMPTY_ROOT], note(8))).status_code


def test_the_last_checkpoint_is_shown(witness: Running) -> None:
    """404 before the first and for another hash, then the whole note with log and witness under it."""
    address = f"{witness.url}/{SHOWN}/checkpoint"
    assert 404 == httpx.get(address).status_code
    post(witness, body(0, 8))
    answer = httpx.get(address)
    shown = check_checkpoint(answer.content, [LOG.verifier, witness.signer.verifier], ORIGIN)
    assert (200, 8, 1) == (answer.status_code, shown.tree_size, len(shown.cosignatures))
    assert "no-cache" == answer.headers["cache-control"]
    assert 404 == httpx.get(f"{witness.url}/{SHOWN.upper()}/checkpoint").status_code


def test_other_addresses_and_methods_are_none(witness: Running) -> None:
    """Outside the prefix there is nothing, and each address knows its one method."""
    outside = witness.url.removesuffix("/witness/one")
    assert 404 == httpx.post(f"{outside}/add-checkpoint", content=body(0, 8)).status_code
    assert 405 == httpx.get(f"{witness.url}/add-checkpoint").status_code
    assert 405 == httpx.delete(f"{witness.url}/{SHOWN}/checkpoint").status_code


def test_a_connection_is_kept(witness: Running) -> None:
    """The standard asks for it: one connection serves request after request."""
    with httpx.Client() as client:
        for old, new in ((0, 5), (5, 8), (8, 9)):
            answer = client.post(f"{witness.url}/add-checkpoint", content=body(old, new))
            assert (200, None) == (answer.status_code, answer.headers.get("connection"))


def test_limits_are_told(tmp_path: Path) -> None:
    """A long body is 413, one that does not come is 408, and too many requests from one address are 429."""
    limits = Limits(body=2_000, body_s=0.2, per_minute=1, burst=4)
    with running_witness(tmp_path, "w", KNOWN, limits=limits) as witness:
        assert 413 == post(witness, b"x" * 2_001).status_code
        host, _, port = witness.url.removeprefix("http://").partition(":")
        with socket.create_connection((host, int(port))) as slow:
            slow.sendall(b"POST /add-checkpoint HTTP/1.1\r\nhost: w\r\ncontent-length: 100\r\n\r\nold 0\n")
            slow.settimeout(60)
            assert slow.recv(200).startswith(b"HTTP/1.1 408")
        assert (200, 409) == (post(witness, body(0, 8)).status_code, post(witness, body(0, 8)).status_code)
        refused = post(witness, body(8, 9))
        assert (429, True) == (refused.status_code, int(refused.headers["retry-after"]) > 0)


def test_requests_at_once_have_a_limit(tmp_path: Path) -> None:
    """Where every place is taken by a body that does not come, the next one is told to come again."""
    with running_witness(tmp_path, "w", KNOWN, limits=Limits(at_once=1, body_s=30)) as witness:
        host, _, port = witness.url.removeprefix("http://").partition(":")
        with socket.create_connection((host, int(port))) as slow:
            # The server asks for the rest once the handler reads: then the place is taken.
            slow.sendall(
                b"POST /add-checkpoint HTTP/1.1\r\nhost: w\r\nexpect: 100-continue\r\ncontent-length: 9\r\n\r\n"
            )
            assert slow.recv(200).startswith(b"HTTP/1.1 100")
            assert 503 == post(witness, body(0, 8)).status_code
        with httpx.Client(transport=httpx.HTTPTransport(retries=0)) as client:
            status = 503
            while status == 503:
                status = client.post(f"{witness.url}/add-checkpoint", content=body(0, 8)).status_code
        assert 200 == status


def test_what_cannot_be_kept_is_not_signed(tmp_path: Path) -> None:
    """With the state gone there is no cosignature, and no word of why to a stranger."""
    with running_witness(tmp_path, "w", KNOWN) as witness:
        witness.state.close()
        answer = post(witness, body(0, 8))
        assert (503, "nothing was signed\n") == (answer.status_code, answer.text)


def test_a_log_is_added_without_a_restart(tmp_path: Path) -> None:
    """The file of known logs is read anew when it changes; one that is broken changes nothing."""
    file, line = tmp_path / "logs", f"log {format_verifier(LOG.verifier)}\n"
    file.write_text("# none yet\n", encoding="utf-8")
    state = open_witness_state(tmp_path / "state", begin=True)
    signer = signer_from_seed("w", bytes(32), "witness")
    app = witness_app(Witness(state, [signer], LogFile(file), lambda: 1_000_000))
    with serving(app) as url:
        witness = Running(url, signer, state)
        assert 404 == post(witness, body(0, 8)).status_code
        file.write_text(line, encoding="utf-8")
        assert 200 == post(witness, body(0, 8)).status_code
        file.write_text("log of what\n", encoding="utf-8")
        assert 200 == post(witness, body(8, 9)).status_code
        file.unlink()
        assert 200 == post(witness, body(9, 10)).status_code
        file.write_text(f"log {format_verifier(NEXT_LOG.verifier)}\n", encoding="utf-8")
        assert 403 == post(witness, body(10, 11)).status_code
    state.close()


def test_a_file_of_logs_that_is_none_keeps_a_witness_from_starting(tmp_path: Path) -> None:
    """No file, and a line of another form, are told at the start."""
    with pytest.raises(MalformedInput, match="cannot be read"):
        LogFile(tmp_path / "none")
    (tmp_path / "logs").write_text("quorum none\n", encoding="utf-8")
    with pytest.raises(MalformedInput, match="policy line 1"):
        LogFile(tmp_path / "logs")
