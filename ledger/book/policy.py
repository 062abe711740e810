"""Trust policies: whose word a reader wants before a checkpoint counts. Source: C2SP tlog-policy.

    log <verifier key> [<url>]
    witness <name> <verifier key> [<url>]
    group <name> <k|any|all> <member>...          members are witnesses and groups of lines above
    quorum <name|none>                            exactly one

One line each, items parted by spaces and tabs; empty lines and lines that begin with ``#`` say nothing. A checkpoint is
valid if one of the logs signed it and the quorum cosigned it. Names mean something within the file alone, and are
octets: text that is not UTF-8 is carried through.

Stricter than the source: at most 256 logs, witnesses and groups each (it asks for 32), Ed25519 keys alone (0x01 for
logs, 0x04 for witnesses), and no log's own key as a witness, since a log cannot vouch for itself.
Text that cannot be read is MalformedInput naming the line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from ledger.book.c2sp_text import parse_count
from ledger.book.checkpoint import Checkpoint, check_checkpoint
from ledger.book.signing import COSIGNATURE_KEY, NOTE_KEY, Verifier, format_verifier, parse_verifier
from ledger.errors import MalformedInput, MalformedKey, SignatureRejected

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Sequence

MAX_POLICY_BYTES = 100_000
MAX_NAMED = 256
NO_QUORUM = "none"

_FORBIDDEN = re.compile(rb"[\x00-\x08\x0b-\x1f\x7f]")
_BLANKS = re.compile(r"[ \t]+")


@dataclass(frozen=True, slots=True)
class PolicyLog:
    """A log whose checkpoints count; its verifier's name is its origin. ``url`` is empty where none is given."""

    verifier: Verifier
    url: str = ""


@dataclass(frozen=True, slots=True)
class PolicyWitness:
    """A witness, by its name in this policy. ``url`` is its submission prefix (C2SP tlog-witness), or empty."""

    name: str
    verifier: Verifier
    url: str = ""


@dataclass(frozen=True, slots=True)
class PolicyGroup:
    """``threshold`` of ``members`` (names of witnesses and groups before it) stand for the whole group."""

    name: str
    threshold: int
    members: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Policy:
    """A policy as read. ``quorum`` names a witness or a group, or is ``none``."""

    logs: tuple[PolicyLog, ...] = ()
    witnesses: tuple[PolicyWitness, ...] = ()
    groups: tuple[PolicyGroup, ...] = ()
    quorum: str = NO_QUORUM

    def verifiers(self) -> list[Verifier]:
        """Every key that the policy names."""
        return [*(log.verifier for log in self.logs), *(witness.verifier for witness in self.witnesses)]


@dataclass(frozen=True, slots=True)
class Quorum:
    """What cosignatures come to under a policy: whether it is reached, who witnessed (by policy name), what it asks for."""

    reached: bool
    witnessed: tuple[str, ...]
    asks: str


def parse_policy(raw: bytes) -> Policy:
    """Read a policy file; raises MalformedInput naming the line."""
    reading = _Reading()
    for where, words in _lines(raw):
        reading.take(where, words)
    if reading.quorum is None:
        raise MalformedInput("policy has no quorum line", expected="quorum <name>, or quorum none", where="policy")
    return Policy(tuple(reading.logs), tuple(reading.witnesses), tuple(reading.groups), reading.quorum)


def parse_log_lines(raw: bytes) -> tuple[PolicyLog, ...]:
    """Read a file of ``log`` lines alone: the logs that a witness knows. Raises MalformedInput naming the line."""
    reading = _Reading()
    for where, words in _lines(raw):
        if words[0] != "log":
            raise _misfit(where, "log <verifier key> [<url>]", words[0])
        reading.take(where, words)
    return tuple(reading.logs)


def format_policy(policy: Policy) -> bytes:
    """Give the policy as a file, without the comments that it was read with; `parse_policy` reads it back."""
    lines = [_line("log", format_verifier(log.verifier), log.url) for log in policy.logs]
    lines += [_line("witness", one.name, format_verifier(one.verifier), one.url) for one in policy.witnesses]
    lines += [_line("group", group.name, str(group.threshold), *group.members) for group in policy.groups]
    lines.append(_line("quorum", policy.quorum))
    return "".join(lines).encode("utf-8", "surrogateescape")


def quorum_of(policy: Policy, cosigned: Iterable[Verifier], *, leaving_out: Collection[str] = ()) -> Quorum:
    """What verified cosignatures come to. ``leaving_out``: names of witnesses that count as none."""
    signed = set(cosigned)
    witnessed = [one.name for one in policy.witnesses if one.verifier in signed and one.name not in leaving_out]
    standing = set(witnessed)
    for group in policy.groups:
        if len(standing.intersection(group.members)) >= group.threshold:
            standing.add(group.name)
    reached = policy.quorum == NO_QUORUM or policy.quorum in standing
    return Quorum(reached, tuple(map(shown_name, witnessed)), quorum_words(policy))


def check_quorum(checkpoint: Checkpoint, policy: Policy) -> Quorum:
    """Check that the cosignatures of a verified checkpoint reach the quorum; raises SignatureRejected."""
    found = quorum_of(policy, (line.verifier for line in checkpoint.cosignatures))
    if not found.reached:
        raise SignatureRejected(
            "quorum of witnesses is not reached",
            expected=found.asks,
            got=", ".join(found.witnessed) or "no cosignature",
            where=f"size {checkpoint.tree_size}",
        )
    return found


def check_by_policy(
    note_bytes: bytes, policy: Policy, origin: str | None = None, *, log_keys: Sequence[Verifier] = ()
) -> Checkpoint:
    """Check a checkpoint by a whole policy: signed by a log of it, or by one of ``log_keys``, and by the quorum.

    Raises MalformedNote, MalformedCheckpoint, MalformedKey, SignatureRejected, ConsistencyFailed.
    """
    known = list(dict.fromkeys([*log_keys, *policy.verifiers()]))
    checkpoint = check_checkpoint(note_bytes, known, origin)
    check_quorum(checkpoint, policy)
    return checkpoint


def quorum_words(policy: Policy) -> str:
    """What the quorum asks for, in words: ``2 of (X1, X2, X3) and all of ...`` by the names of the policy."""
    said = {one.name: shown_name(one.name) for one in policy.witnesses}
    for group in policy.groups:
        named = ", ".join(said[member] for member in group.members)
        said[group.name] = f"{group.threshold} of ({named})"
    return said.get(policy.quorum, "no witness")


def shown_name(name: str) -> str:
    """A name as it may be printed: octets that are no UTF-8 become replacement characters."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


@dataclass(slots=True)
class _Reading:
    """A policy while it is read, line by line."""

    logs: list[PolicyLog] = field(default_factory=list)
    witnesses: list[PolicyWitness] = field(default_factory=list)
    groups: list[PolicyGroup] = field(default_factory=list)
    quorum: str | None = None
    _defined: set[str] = field(default_factory=set)
    _members: set[str] = field(default_factory=set)
    _keys: dict[bytes, str] = field(default_factory=dict)

    def take(self, where: str, words: list[str]) -> None:
        """Take one line."""
        match words:
            case ["log", key, *url] if len(url) <= 1:
                self.logs.append(PolicyLog(self._key(where, key, NOTE_KEY), *url))
            case ["witness", name, key, *url] if len(url) <= 1:
                self._define(where, name)
                self.witnesses.append(PolicyWitness(name, self._key(where, key, COSIGNATURE_KEY), *url))
            case ["group", name, count, *members] if members:
                self._group(where, name, count, members)
            case ["quorum", name]:
                self._quorum(where, name)
            case _:
                raise _misfit(where, "a log, witness, group or quorum line", " ".join(words))
        if max(len(self.logs), len(self.witnesses), len(self.groups)) > MAX_NAMED:
            raise MalformedInput("policy is too large", expected=f"at most {MAX_NAMED} of a sort", where=where)

    def _key(self, where: str, text: str, kind: int) -> Verifier:
        try:
            verifier = parse_verifier(text)
        except MalformedKey as error:
            raise MalformedInput(error.problem, expected=error.expected, got=_shown(error.got), where=where) from error
        if verifier.kind != kind:
            sort = "a log's key (0x01)" if kind == NOTE_KEY else "a witness's key (0x04)"
            raise MalformedInput("key is of another type", expected=sort, got=hex(verifier.kind), where=where)
        known = self._keys.setdefault(verifier.public, where)
        if known != where:
            raise MalformedInput("key stands in the policy twice", got=known, where=where)
        return verifier

    def _define(self, where: str, name: str) -> None:
        if name == NO_QUORUM or name in self._defined:
            raise MalformedInput("name is taken", got=shown_name(name), where=where)
        self._defined.add(name)

    def _group(self, where: str, name: str, count: str, members: list[str]) -> None:
        for member in members:
            if member not in self._defined:
                raise MalformedInput("member is not defined above", got=shown_name(member), where=where)
            if member in self._members:
                raise MalformedInput("member is in a group already", got=shown_name(member), where=where)
            self._members.add(member)
        words = {"any": 1, "all": len(members)}
        threshold = words[count] if count in words else parse_count(shown_name(count), MalformedInput, where)
        if not 1 <= threshold <= len(members):
            raise MalformedInput("threshold is out of range", expected=f"1 to {len(members)}", got=count, where=where)
        self._define(where, name)
        self.groups.append(PolicyGroup(name, threshold, tuple(members)))

    def _quorum(self, where: str, name: str) -> None:
        if self.quorum is not None:
            raise MalformedInput("policy has a second quorum line", where=where)
        if name != NO_QUORUM and name not in self._defined:
            raise MalformedInput("quorum is not defined above", got=shown_name(name), where=where)
        self.quorum = name


def _lines(raw: bytes) -> Iterator[tuple[str, list[str]]]:
    """The lines that say something, each with its place and its words."""
    if len(raw) > MAX_POLICY_BYTES:
        raise MalformedInput("policy is too long", expected=f"at most {MAX_POLICY_BYTES} bytes", got=len(raw))
    found = _FORBIDDEN.search(raw)
    if found is not None:
        before = raw.count(b"\n", 0, found.start())
        raise MalformedInput(
            "policy holds a control character", got=hex(raw[found.start()]), where=f"policy line {before + 1}"
        )
    if raw and not raw.endswith(b"\n"):
        raise MalformedInput("last line of the policy has no newline", where="policy", mend="end the file with one")
    # Not split by Unicode's idea of lines and blanks: every octet above 0x7f is part of a word.
    for number, line in enumerate(raw.decode("utf-8", "surrogateescape").split("\n"), 1):
        words = [word for word in _BLANKS.split(line) if word]
        if words and not words[0].startswith("#"):
            yield f"policy line {number}", words


def _line(*words: str) -> str:
    return " ".join(word for word in words if word) + "\n"


def _misfit(where: str, expected: str, got: str) -> MalformedInput:
    return MalformedInput("policy line has another form", expected=expected, got=shown_name(got), where=where)


def _shown(got: object) -> object:
    return shown_name(got) if isinstance(got, str) else got
