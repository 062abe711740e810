"""A witness of other parties' logs: cosigns what extends what it last signed, and remembers. Source: C2SP tlog-witness v1.0.0.

It has nothing to do with a book of its own: a key, a state, and the logs that it knows.  What a log signs is held against
what is stored, and the cosigned note is on the disk before the cosignature is given out.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Mapping, Sequence

from ledger.book.checkpoint import parse_checkpoint
from ledger.book.signing import Signer, Verifier
from ledger.book.witness import add_cosignatures, cosign, note_by_log, parse_add_checkpoint, witness_step
from ledger.errors import MalformedInput, MalformedKey, WitnessRefused
from ledger.store.witness_state import Misfit, Witnessed, WitnessState

LOG = logging.getLogger("pourbook.witness")

KnownLogs = Callable[[], Mapping[str, Sequence[Verifier]]]
"""Gives the keys of each log that is known now, by origin."""


def check_witness_keys(signers: Sequence[Signer]) -> None:
    """Check that every key is a witness's: one key, one purpose. Raises MalformedKey."""
    for signer in signers:
        if signer.purpose != "witness":
            raise MalformedKey("key has another purpose", expected="witness", got=signer.purpose, where=signer.name)


class Witness:
    """One witness. Any thread may ask."""

    def __init__(
        self, state: WitnessState, signers: Sequence[Signer], logs: KnownLogs, clock_ms: Callable[[], int]
    ) -> None:
        """``signers``: the witness's key; while it is rotated, both. Raises MalformedKey for one of another purpose."""
        check_witness_keys(signers)
        self._state = state
        self._signers = tuple(signers)
        self._logs = logs
        self._clock_ms = clock_ms

    def add_checkpoint(self, request: bytes) -> bytes:
        """Answer an add-checkpoint request with cosignature lines, once they are kept.

        Raises WitnessRefused with the status to answer with; StoreUnavailable where nothing can be kept.
        """
        try:
            head = parse_checkpoint(parse_add_checkpoint(request).note)
        except MalformedInput as error:
            raise WitnessRefused(str(error), status=400) from error
        logs = self._logs()
        if head.origin not in logs:
            raise WitnessRefused("origin is not known", status=404)
        before: Witnessed | None = None
        given: list[bytes] = []

        def judge(stored: Witnessed | None) -> Witnessed:
            nonlocal before
            before = stored
            accepted = witness_step(None if stored is None else (stored.size, stored.note), request, logs)
            note, now_ms = note_by_log(accepted.checkpoint), self._clock_ms()
            given[:] = [cosign(note, signer, now_ms // 1_000) for signer in self._signers]
            return Witnessed(accepted.checkpoint.tree_size, add_cosignatures(note, b"".join(given)), now_ms)

        try:
            self._state.exchange(head.origin, judge)
        except WitnessRefused as error:
            if error.status == 422 and before is not None:
                self._keep_misfit(request, before, str(error))
            raise
        return b"".join(given)

    def checkpoint(self, origin_hash: str) -> bytes | None:
        """The last checkpoint that was cosigned for an origin, by the hex of its SHA-256; None for no such log."""
        for origin in self._logs():
            if hashlib.sha256(origin.encode()).hexdigest() == origin_hash:
                stored = self._state.stored(origin)
                return None if stored is None else stored.note
        return None

    def _keep_misfit(self, request: bytes, before: Witnessed, why: str) -> None:
        """Both notes bear the log's signature: whoever asks the log for a proof between them has it answer for them."""
        asked = parse_add_checkpoint(request)
        head = parse_checkpoint(asked.note)
        LOG.critical(
            "log %s showed %s entries that do not extend %s: %s", head.origin, head.tree_size, before.size, why
        )
        self._state.keep_misfit(
            Misfit(head.origin, head.tree_size, head.root_hash, asked.note, before.note, self._clock_ms(), why)
        )
