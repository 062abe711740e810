"""`pourbook verify dossier FILE --key KEY`: check a dossier with no service and no network.

KEY is the verifier line of the book's checkpoint key, or a file that holds such lines (witnesses' too), one a line;
lines that start with # are left out. Get it from elsewhere than from whoever handed the dossier over. A line may say over
which sizes of the book the key speaks: `KEY from 101 to 2000`, or either alone; then it counts for no other size.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.book.c2sp_text import parse_count
from ledger.book.key_terms import KeyTerm
from ledger.book.policy import MAX_POLICY_BYTES, Policy, parse_policy
from ledger.book.signing import Verifier, parse_verifier
from ledger.errors import CheckFailed, MalformedDossier, MalformedInput, MalformedKey
from ledger.evidence.proofs_check import ProofsReport, check_proofs
from ledger.evidence.report import DossierReport, fault_json
from ledger.evidence.time_token import MAX_ROOTS_BYTES, parse_roots
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ops.several_hands import add_processes, hands_for

if TYPE_CHECKING:
    from cryptography import x509

_MAX_KEY_FILE_BYTES = 100_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the dossier, the keys that the reader trusts, and whose word is wanted besides."""
    parser.add_argument("file", type=Path, help="the dossier")
    parser.add_argument(
        "--key",
        action="append",
        default=[],
        help="verifier line of the book's checkpoint key, or a file of such lines; may be given again, for witnesses",
    )
    parser.add_argument(
        "--policy", type=Path, help="file of whose cosignatures are wanted (C2SP tlog-policy); may name the key too"
    )
    parser.add_argument(
        "--tsa-root",
        type=Path,
        action="append",
        default=[],
        help="root certificates of a time stamping authority (PEM); without any, time stamps are not checked",
    )
    parser.add_argument(
        "--proofs-only",
        action="store_true",
        help="check every digest, proof and signature, and make nothing anew: no sheet, verdict, lot or event",
    )
    add_processes(parser)
    parser.add_argument("--json", action="store_true", help="print what was found as JSON, a fault too")


def run(arguments: argparse.Namespace) -> int:
    """Print the report; 0, or the first thing that is wrong as an error of the tree in `ledger.errors`."""
    trust = Trust(
        keys=[term for text in arguments.key for term in read_terms(text)],
        policy=None if arguments.policy is None else read_policy(arguments.policy),
        roots=[root for path in arguments.tsa_root for root in read_roots(path)],
        now_ms=time.time_ns() // 1_000_000,
    )
    if not trust.terms():
        raise MalformedKey("no key is given", where="--key", mend="give the book's verifier line, or a policy with it")
    try:
        report = _checked(arguments, trust)
    except (MalformedInput, CheckFailed) as error:
        if not arguments.json:
            raise
        print(json.dumps(fault_json(error)))
        return 1
    print(json.dumps(report.as_json()) if arguments.json else "\n".join(report.lines()))
    return 0


def _checked(arguments: argparse.Namespace, trust: Trust) -> DossierReport | ProofsReport:
    path: Path = arguments.file
    check = check_proofs if arguments.proofs_only else check_dossier
    try:
        with path.open("rb") as file:
            return check(file, trust, hands_for(arguments.processes))
    except OSError as error:
        raise MalformedDossier(f"dossier cannot be read: {error.strerror}", where=str(path)) from error


def read_keys(text: str) -> list[Verifier]:
    """The verifiers of a verifier line, or of the file of that name. Raises MalformedKey."""
    return [term.verifier for term in read_terms(text)]


def read_terms(text: str) -> list[KeyTerm]:
    """The verifiers of a verifier line, or of the file of that name, with the sizes of the book. Raises MalformedKey."""
    if "+" in text and not Path(text).is_file():
        return [parse_term(text)]
    try:
        with Path(text).open("rb") as file:
            lines = file.read(_MAX_KEY_FILE_BYTES).decode().splitlines()
    except (OSError, ValueError) as error:
        mend = "give the verifier line itself, or a file that holds it"
        raise MalformedKey("key is no verifier line and no readable file", got=text, mend=mend) from error
    terms = [parse_term(line) for line in lines if line.strip() and not line.startswith("#")]
    if not terms:
        raise MalformedKey("file holds no verifier line", where=text)
    return terms


def parse_term(line: str) -> KeyTerm:
    """A verifier line, with the sizes over which it speaks where it says so. Raises MalformedKey."""
    match line.split():
        case [key]:
            return KeyTerm(parse_verifier(key))
        case [key, "from", first]:
            return KeyTerm(parse_verifier(key), _size(first))
        case [key, "to", last]:
            return KeyTerm(parse_verifier(key), 0, _size(last))
        case [key, "from", first, "to", last]:
            return KeyTerm(parse_verifier(key), _size(first), _size(last))
    raise MalformedKey("key line has another form", expected="KEY, or KEY from SIZE to SIZE", got=line)


def _size(text: str) -> int:
    return parse_count(text, MalformedKey, where="size of the book")


def read_policy(path: Path) -> Policy:
    """The policy in a file. Raises MalformedInput."""
    return parse_policy(_read(path, MAX_POLICY_BYTES + 1))


def read_roots(path: Path) -> tuple[x509.Certificate, ...]:
    """The certificates in a file. Raises MalformedKey."""
    return parse_roots(_read(path, MAX_ROOTS_BYTES + 1))


def _read(path: Path, most: int) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(most)
    except OSError as error:
        raise MalformedInput(f"file cannot be read: {error.strerror}", where=str(path)) from error
