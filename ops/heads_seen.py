"""How far a book had come, by heads that others hold: what `pourbook restore` and `pourbook reopen` ask before they act."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.book.checkpoint import check_checkpoint
from ledger.book.signing import Verifier
from ledger.duties.fence import ask_heads
from ledger.errors import LedgerError, MalformedInput
from ops.commands.verify_dossier import read_policy

if TYPE_CHECKING:
    import argparse


def add_seen_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare where heads that others have seen are found."""
    parser.add_argument(
        "--seen",
        type=Path,
        action="append",
        default=[],
        help="a checkpoint kept in another place (POURBOOK_CHECKPOINT_COPY, and the file beside it); may be given again",
    )
    parser.add_argument("--policy", type=Path, help="file of witnesses that are asked for their latest head")
    parser.add_argument("--unseen", action="store_true", help="nobody else has seen a head of this book")


def heads_seen(
    arguments: argparse.Namespace, keys: Sequence[Verifier], origin: str, *, strict: bool = False
) -> list[bytes]:
    """The checkpoints of a book that the arguments name, each signed by one of ``keys``.

    ``strict``: a witness whose head none of them signed is not passed over, since keys may have been introduced out of
    sight. Raises MalformedInput where nothing is named, a file cannot be read or a witness was not heard; SignatureRejected.
    """
    if not (arguments.seen or arguments.policy or arguments.unseen):
        raise MalformedInput(
            "nothing says how far the book had come",
            expected="--seen FILE or --policy FILE",
            mend="give the checkpoint that is kept in a second place, or --unseen if there is none",
        )
    return [*_kept(arguments.seen, keys, origin), *_witnessed(arguments.policy, keys, origin, strict=strict)]


def _kept(files: Sequence[Path], keys: Sequence[Verifier], origin: str) -> list[bytes]:
    notes = []
    for file in files:
        try:
            note = file.read_bytes()
        except OSError as error:
            raise MalformedInput(f"checkpoint cannot be read: {error.strerror}", where=str(file)) from error
        check_checkpoint(note, keys, origin)
        notes.append(note)
    return notes


def _witnessed(policy: Path | None, keys: Sequence[Verifier], origin: str, *, strict: bool) -> list[bytes]:
    """What the witnesses show that a key of the book signed; one that does not answer is told. Raises MalformedInput."""
    if policy is None:
        return []
    from api.outgoing import Outgoing  # noqa: PLC0415  # a restore without witnesses needs no network

    notes = []
    for head in ask_heads(Outgoing(10.0), read_policy(policy), origin):
        name = head.witness.verifier.name
        if head.fault:
            raise MalformedInput(
                f"witness {name} was not heard: {head.fault}", mend="ask again, or leave it out of the policy"
            )
        if head.note is None:
            continue
        try:
            check_checkpoint(head.note, keys, origin)
        except LedgerError as error:
            if strict:
                raise
            print(f"witness {name} shows a head that no key of this book signed: {error.problem}")
            continue
        notes.append(head.note)
    return notes
