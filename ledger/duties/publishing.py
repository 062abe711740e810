"""Publishing: the newest checkpoint goes to the witnesses, and once their quorum signed it too, it is published.

A published checkpoint is the log's note with the cosignature lines after it, kept and served to the byte; time stamping
authorities are asked for tokens over exactly these bytes.  The policy says who the witnesses are and what quorum is
wanted (C2SP tlog-policy).  A witness that is away, slow, or answers anything else is logged, kept as its fault, and stops
neither the others nor the book.

Without witnesses there is something to publish only when a token is due: then the note is the log's alone, and says no
more than the log's word and the authority's time.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from ledger.book.checkpoint import check_checkpoint, check_extends, parse_checkpoint
from ledger.book.policy import Policy, PolicyWitness, quorum_of
from ledger.book.signing import Verifier, format_verifier
from ledger.book.witness import add_cosignatures, check_cosignature
from ledger.duties.token_talk import Authority, Stamped, ask_for_token
from ledger.duties.witness_talk import Cosigned, NotCosigned, Send, Submitted, ask_to_cosign
from ledger.errors import LedgerError
from ledger.store.cosignatures import Cosignature, put_cosignature, read_cosignatures
from ledger.store.engine import Store
from ledger.store.published import (
    Published,
    TimeToken,
    WitnessStanding,
    last_token,
    newest_published,
    put_published,
    put_time_token,
    put_token_fault,
    put_witness_standing,
    token_fault,
    witness_standings,
)
from ledger.store.reader import open_reader

LOG = logging.getLogger("pourbook.publishing")


@dataclass(frozen=True, slots=True)
class PublishingPlan:
    """How a service publishes. Times in seconds; ``roots`` are certificates (`ledger.evidence.time_token.parse_roots`).

    ``beside``: witnesses, by their policy name, of which it can be told that key or state lies beside the book, and why.
    They are asked like the others; the statement of the book counts them as none.
    """

    policy: Policy = field(default_factory=Policy)
    every_s: float = 60.0
    authorities: tuple[Authority, ...] = ()
    roots: Sequence[Any] = ()
    token_every_s: float = 3_600.0
    beside: Mapping[str, str] = field(default_factory=dict)


class Publishing:
    """One turn of publishing, over one store. Not for two threads at once; two processes only do the work twice."""

    def __init__(
        self,
        store: Store,
        plan: PublishingPlan,
        send: Send,
        *,
        newest: Callable[[], bytes],
        keys: Callable[[], Sequence[Verifier]],
        clock_ms: Callable[[], int],
        on_published: Callable[[bytes], None] | None = None,
    ) -> None:
        """``newest`` gives the newest signed checkpoint (empty: none), ``keys`` those that sign or signed this book's."""
        self.plan = plan
        self._store = store
        self._send = send
        self._newest = newest
        self._keys = keys
        self._clock_ms = clock_ms
        self._on_published = on_published

    def turn(self, *, now: bool = False) -> None:
        """Publish the newest checkpoint if the book grew, and ask for tokens that are due; ``now``: tokens in any case.

        Raises StoreError, and what is wrong with this book's own checkpoints.
        """
        note = self._newest()
        if not note:
            return
        size = parse_checkpoint(note).tree_size
        with open_reader(self._store) as reader:
            last = newest_published(reader.transaction)
        if last is None or size > last.size:
            if self.plan.policy.witnesses or self._due(size, now=now):
                last = self._publish(note, size, last) or last
        elif size == last.size:
            self._ask(self._late(size), note, size)
        if last is not None:
            for authority in self._due(last.size, now=now):
                self._stamp(authority, last)

    def _publish(self, note: bytes, size: int, last: Published | None) -> Published | None:
        """Have the note cosigned and keep it as published; None where the quorum is not reached."""
        policy = self.plan.policy
        if last is not None:
            # What was published stands for ever: a head that does not extend it is shown to nobody.
            check_extends(parse_checkpoint(last.note), parse_checkpoint(note), self._prove(size)(last.size))
        check_checkpoint(note, self._keys())
        self._ask(policy.witnesses, note, size)
        whole, signed = self._cosigned_note(note, size)
        quorum = quorum_of(policy, signed)
        if not quorum.reached:
            LOG.warning(
                "checkpoint of %s entries not published: expected %s, got %s", size, quorum.asks, quorum.witnessed
            )
            return None
        published = Published(size, whole, self._clock_ms())
        put_published(self._store, published)
        if self._on_published is not None:
            self._on_published(whole)
        return published

    def _late(self, size: int) -> Sequence[PolicyWitness]:
        """The witnesses that have not signed what is published: they were away then."""
        with open_reader(self._store) as reader:
            known = witness_standings(reader.transaction)
        return [
            witness
            for witness in self.plan.policy.witnesses
            if (standing := known.get(format_verifier(witness.verifier))) is None or standing.size < size
        ]

    def _ask(self, witnesses: Sequence[PolicyWitness], note: bytes, size: int) -> None:
        """Ask witnesses at the same time, and keep what each answered."""
        if not witnesses:
            return
        with open_reader(self._store) as reader:
            known = witness_standings(reader.transaction)
        submitted = Submitted(note, size, self._prove(size))

        def ask(witness: PolicyWitness) -> Cosigned | NotCosigned:
            before = known.get(format_verifier(witness.verifier))
            try:
                return ask_to_cosign(self._send, witness, submitted, min(before.size, size) if before else 0)
            except LedgerError as error:
                return NotCosigned(str(error))

        with ThreadPoolExecutor(len(witnesses), thread_name_prefix="witness") as threads:
            for witness, answer in zip(witnesses, threads.map(ask, witnesses), strict=True):
                self._keep(witness, answer, size, known.get(format_verifier(witness.verifier)))

    def _keep(
        self, witness: PolicyWitness, answer: Cosigned | NotCosigned, size: int, before: WitnessStanding | None
    ) -> None:
        now_ms, verifier = self._clock_ms(), format_verifier(witness.verifier)
        if isinstance(answer, Cosigned):
            put_cosignature(self._store, Cosignature(size, witness.verifier.name, answer.line, now_ms))
            standing = WitnessStanding(verifier, size, now_ms, now_ms, "", "")
        else:
            held, cosigned_ms = (before.size, before.cosigned_ms) if before else (0, None)
            # An alarm stands until the witness signs again, whether or not it can be reached meanwhile.
            alarm = self._alarm(answer) or (before.alarm if before else "")
            standing = WitnessStanding(verifier, held, now_ms, cosigned_ms, answer.fault, alarm)
        if before is None or (before.fault, before.alarm) != (standing.fault, standing.alarm):
            _tell(witness, standing)
        put_witness_standing(self._store, standing)

    def _alarm(self, answer: NotCosigned) -> str:
        """Whether a refusal says that there is another head of this book, or a larger one."""
        if answer.ahead:
            with open_reader(self._store) as reader:
                here = reader.head().size
            # Another process of the service may have submitted what it entered since.
            return f"it signed a head of {answer.ahead} entries; this book has {here}" if answer.ahead > here else ""
        return answer.fault if answer.forked else ""

    def _prove(self, size: int) -> Callable[[int], Sequence[bytes]]:
        def prove(old_size: int) -> Sequence[bytes]:
            with open_reader(self._store) as reader:
                return reader.consistency(old_size, size)

        return prove

    def _cosigned_note(self, note: bytes, size: int) -> tuple[bytes, list[Verifier]]:
        """The note with every good line that the policy's witnesses ever gave over it, in the policy's order."""
        lines = {one.witness: one.line for one in read_cosignatures(self._store, size)}
        whole, signed = note, []
        for witness in self.plan.policy.witnesses:
            line = lines.get(witness.verifier.name)
            if line is None:
                continue
            try:
                check_cosignature(add_cosignatures(note, line.encode()), witness.verifier)
                whole = add_cosignatures(whole, line.encode())
            except LedgerError:
                # A line of a key that the policy named before, or over a note that was signed again.
                continue
            signed.append(witness.verifier)
        return whole, signed

    def _due(self, size: int, *, now: bool) -> list[Authority]:
        """The authorities that are to be asked for a token over a note of ``size``."""
        if not self.plan.authorities:
            return []
        now_ms, due = self._clock_ms(), []
        with open_reader(self._store) as reader:
            for authority in self.plan.authorities:
                last = last_token(reader.transaction, authority.name)
                waited = last is None or now_ms - last.received_ms >= self.plan.token_every_s * 1000
                if last is None or (last.size < size and (now or waited)):
                    due.append(authority)
        return due

    def _stamp(self, authority: Authority, published: Published) -> None:
        answer = ask_for_token(self._send, authority, published.note, self.plan.roots)
        fault = answer if isinstance(answer, str) else ""
        if isinstance(answer, Stamped):
            token = TimeToken(published.size, authority.name, answer.response, answer.at_ms, self._clock_ms())
            put_time_token(self._store, token)
        with open_reader(self._store) as reader:
            before = token_fault(reader.transaction, authority.name)
        if fault != before:
            LOG.log(
                logging.WARNING if fault else logging.INFO, "time stamps of %s: %s", authority.name, fault or "good"
            )
            put_token_fault(self._store, authority.name, fault)


def _tell(witness: PolicyWitness, standing: WitnessStanding) -> None:
    """Log what changed about a witness, once."""
    if standing.alarm:
        LOG.critical("witness %s: %s", witness.verifier.name, standing.alarm)
    elif standing.fault:
        LOG.warning("witness %s did not sign: %s", witness.verifier.name, standing.fault)
    else:
        LOG.info("witness %s signs", witness.verifier.name)
