"""How this service publishes, from its settings: witnesses and quorum, time stamping authorities, what lies beside the book."""

import re
import socket
from collections.abc import Collection, Mapping
from pathlib import Path
from urllib.parse import urlsplit

from api.outgoing import Outgoing, check_address, is_loopback
from api.settings import Settings, variable
from ledger.book.policy import Policy, parse_policy
from ledger.book.signing import Verifier
from ledger.duties.publishing import PublishingPlan
from ledger.duties.token_talk import Authority
from ledger.duties.witness_talk import Answer, Unreached
from ledger.errors import MalformedInput, MalformedKey
from ledger.evidence.time_token import parse_roots, request_token

_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}", re.ASCII)


class Sender:
    """Reaches witnesses by https alone, and authorities of the settings by plain http too."""

    def __init__(self, settings: Settings, authorities: Collection[Authority]) -> None:
        """Requests have the time of the settings."""
        self._strict = Outgoing(settings.outgoing_s)
        self._plain = Outgoing(settings.outgoing_s, plain=True)
        self._authorities = {authority.url for authority in authorities}

    def __call__(self, method: str, url: str, body: bytes = b"", media: str = "") -> Answer | Unreached:
        """A `ledger.duties.witness_talk.Send`."""
        return (self._plain if url in self._authorities else self._strict)(method, url, body, media)


def publishing_plan(
    settings: Settings, keys: Collection[Verifier], keys_beside: Collection[bytes] = ()
) -> PublishingPlan | None:
    """The plan of the settings; None where they name neither witnesses nor authorities.

    ``keys``: those that sign this book's checkpoints; ``keys_beside``: public keys whose private key lies beside the book.
    Raises MalformedInput naming the variable, Unsupported where time stamps need an extra that is not installed.
    """
    if not settings.witness_policy and not settings.tsa:
        return None
    policy = _policy(settings, keys)
    authorities = parse_authorities(settings.tsa)
    roots = parse_roots(_file(settings.tsa_roots, "tsa_roots")) if authorities else ()
    if authorities:
        # An installation without the extra is told so at its start, not in the log an hour later.
        request_token(b"pourbook")
    return PublishingPlan(
        policy=policy,
        every_s=settings.publish_s,
        authorities=authorities,
        roots=roots,
        token_every_s=settings.tsa_minutes * 60,
        beside=witnesses_beside(policy, keys_beside),
    )


def witnesses_beside(policy: Policy, keys_beside: Collection[bytes] = ()) -> Mapping[str, str]:
    """The witnesses of which it can be told from here that they are no other party's, by policy name, and why."""
    found = {}
    own = {socket.gethostname().lower(), socket.getfqdn().lower()}
    for witness in policy.witnesses:
        host = (urlsplit(witness.url).hostname or "").lower()
        if witness.verifier.public in keys_beside:
            found[witness.name] = "its key lies in the folder of the book's own key"
        elif host and (is_loopback(host) or host in own):
            found[witness.name] = "its address is on the machine of the book"
    return found


def parse_authorities(text: str) -> tuple[Authority, ...]:
    """The authorities of a setting, ``name url`` on lines or parted by semicolons. Raises MalformedInput."""
    where, found = variable("tsa"), []
    for line in re.split(r"[\n;]", text):
        words = line.split()
        if not words:
            continue
        if len(words) != 2 or not _NAME.fullmatch(words[0]):
            raise MalformedInput(
                "time stamping authority is written otherwise",
                expected="a name (a-z, 0-9, hyphens) and an address",
                got=line.strip(),
                where=where,
            )
        check_address(words[1], where=where, plain=True)
        found.append(Authority(*words))
    if len({authority.name for authority in found}) != len(found):
        raise MalformedInput("two time stamping authorities have one name", where=where)
    return tuple(found)


def _policy(settings: Settings, keys: Collection[Verifier]) -> Policy:
    if not settings.witness_policy:
        return Policy()
    where = variable("witness_policy")
    try:
        policy = parse_policy(_file(settings.witness_policy, "witness_policy"))
    except MalformedInput as error:
        raise MalformedInput(
            error.problem, expected=error.expected, got=error.got, where=f"{where}, {error.where}", mend=error.mend
        ) from error
    for witness in policy.witnesses:
        if witness.url:
            check_address(witness.url, where=f"{where}, witness {witness.verifier.name}")
    if policy.logs and not {log.verifier for log in policy.logs} & set(keys):
        raise MalformedKey(
            "policy names other logs than this book", where=where, mend="name this book's checkpoint key in a log line"
        )
    return policy


def _file(path: str, setting: str) -> bytes:
    try:
        return Path(path).read_bytes()
    except OSError as error:
        raise MalformedInput(
            f"file cannot be read: {error.strerror}", got=path, where=variable(setting), mend="name a readable file"
        ) from error
