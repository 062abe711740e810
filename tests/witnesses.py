"""Witnesses for tests: real ones, each with a key and a state of its own behind a real server, and other parties that err."""

from __future__ import annotations

import hashlib
import socket
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

from api.server import serving
from api.witness.app import Limits, witness_app
from ledger.application.witness import Witness
from ledger.book.policy import Policy, PolicyGroup, PolicyWitness
from ledger.book.signing import Signer, Verifier, signer_from_seed
from ledger.store.witness_state import WitnessState, open_witness_state
from tests.plant import ORIGIN, SIGNER, START_MS

KEYS: Mapping[str, Sequence[Verifier]] = {ORIGIN: [SIGNER.verifier]}


class Running(NamedTuple):
    """A running witness: its address, its key, its state."""

    url: str
    signer: Signer
    state: WitnessState

    def named(self, name: str) -> PolicyWitness:
        """The witness as a policy names it."""
        return PolicyWitness(name, self.signer.verifier, self.url)


def witness_key(name: str) -> Signer:
    """The key of an invented witness."""
    return signer_from_seed(f"{name}.witness.test", hashlib.sha256(name.encode()).digest(), "witness")


@contextmanager
def running_witness(
    folder: Path,
    name: str,
    logs: Mapping[str, Sequence[Verifier]] = KEYS,
    *,
    prefix: str = "",
    port: int = 0,
    limits: Limits | None = None,
) -> Iterator[Running]:
    """A witness that serves for the length of the block; its state stays in the folder."""
    path = folder / f"{name}.witness"
    signer = witness_key(name)
    state = open_witness_state(path, begin=not path.exists())
    witness = Witness(state, [signer], lambda: logs, lambda: START_MS)
    try:
        with serving(witness_app(witness, prefix=prefix, limits=limits), port=port) as address:
            yield Running(f"{address}{prefix}", signer, state)
    finally:
        state.close()


def policy_of(*witnesses: PolicyWitness, threshold: int = 0) -> Policy:
    """A policy whose quorum is so many of these witnesses; 0: all of them."""
    names = tuple(witness.name for witness in witnesses)
    group = PolicyGroup("quorum-of-them", threshold or len(names), names)
    return Policy(witnesses=witnesses, groups=(group,), quorum=group.name)


class RawServer:
    """Another party's server that answers every connection with the same bytes, or as slowly as it likes."""

    def __init__(self, answer: bytes, *, hold: bool = False) -> None:
        """``hold``: after the answer the connection stays open, and nothing more comes."""
        self._answer = answer
        self._hold = hold
        self._held: list[socket.socket] = []
        self.asked: list[bytes] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """Its address."""
        return f"http://127.0.0.1:{self._listener.getsockname()[1]}"

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self.asked.append(connection.recv(65_536))
            try:
                connection.sendall(self._answer)
            except OSError:
                self._hold = False
            if self._hold:
                self._held.append(connection)
            else:
                _end(connection)

    def close(self) -> None:
        """Stop answering, and let go of whoever is held."""
        # A thread that waits in accept is woken by this, and not by closing alone.
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join()
        for connection in self._held:
            connection.close()


def _end(connection: socket.socket) -> None:
    """Close after the answer: were a part of the question still unread, the answer would be taken back with a reset."""
    with suppress(OSError):
        connection.shutdown(socket.SHUT_WR)
        connection.settimeout(5)
        while connection.recv(65_536):
            pass
    connection.close()


@contextmanager
def raw_server(answer: bytes, *, hold: bool = False) -> Iterator[RawServer]:
    """A server of raw bytes for the length of the block."""
    server = RawServer(answer, hold=hold)
    try:
        yield server
    finally:
        server.close()


def http_answer(status: str, body: bytes, media: str = "text/plain") -> bytes:
    """The bytes of an HTTP answer."""
    head = f"HTTP/1.1 {status}\r\ncontent-type: {media}\r\ncontent-length: {len(body)}\r\nconnection: close\r\n\r\n"
    return head.encode() + body
