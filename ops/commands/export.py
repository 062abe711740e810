"""`pourbook export`: the dossier of a selection of balls as a file, without the service.

For an approval submission, a customer or an auditor; check it with `pourbook verify dossier`. What is withheld stays
provable. ``--lot`` alone gives the whole lot, and the dossier says whether a ball is missing. It needs the dossier key of
the book, and reads only. The file has its name only once it is whole.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

from api.sealing import stamp_of
from api.settings import first_line, settings_from_environment
from ledger.application.credentials import issuer_of
from ledger.application.dossier_report import DossierReporter
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_selected, write_wanted
from ledger.application.dossiers import USUAL_PARTS
from ledger.errors import MalformedInput, NotFound
from ledger.evidence.withholding import NAMES, SEALINGS
from ledger.store.engine import open_store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import Selection
from ops.key_files import open_key_file
from ops.seal_files import open_seal_file
from ops.selection import add_selection, selection_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the file, the store, the key, what stays closed, and the selection."""
    names = f"{', '.join(NAMES)}, or one field as entry/record/field"
    parser.add_argument("file", type=Path, help="the dossier to write; an existing file is never written over")
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument("--dossier-key", type=Path, required=True, help="file of the dossier key")
    parser.add_argument("--password-file", required=True, help="file whose first line is the key's password")
    parser.add_argument(
        "--open",
        dest="opened",
        metavar="NAME",
        action="append",
        default=[],
        help=f"open these sealed fields; all are closed otherwise: {names}",
    )
    parser.add_argument(
        "--withhold",
        metavar="NAME",
        action="append",
        default=[],
        help="leave only these sealed fields closed, and open the others; names as with --open",
    )
    parser.add_argument(
        "--without", action="append", choices=USUAL_PARTS, default=[], help="leave this part out; may be given again"
    )
    parser.add_argument(
        "--with",
        dest="added",
        action="append",
        choices=["report"],
        default=[],
        help="add report.pdf, for people who print it",
    )
    parser.add_argument("--seal", type=Path, help="the file that the report is sealed with (pourbook keys new-seal)")
    parser.add_argument("--seal-password-file", help="file whose first line is the password of the seal")
    parser.add_argument("--paper", choices=["A4", "Letter"], default="A4", help="the paper of the report")
    parser.add_argument("--approval-file", metavar="ID", help="the samples of this approval file, and the file itself")
    parser.add_argument(
        "--label-stem", default="", help="where the addresses of labels begin; without it, no EPCIS events"
    )
    parser.add_argument(
        "--credential-key", type=Path, help="file of the key for credentials; without it, none are given"
    )
    parser.add_argument(
        "--credential-issuer", default="", help="did:web identifier of the issuer; that of --label-stem"
    )
    add_selection(parser)


def run(arguments: argparse.Namespace) -> int:
    """Write the dossier; 0, or an error of the tree in `ledger.errors`."""
    wanted = DossierWanted(
        approval_file=arguments.approval_file,
        withhold=tuple(arguments.withhold) or SEALINGS,
        open=tuple(arguments.opened),
        parts=tuple(part for part in (*USUAL_PARTS, *arguments.added) if part not in arguments.without),
    )
    reporter = _reporter(arguments)
    selection = selection_of(arguments)
    if wanted.approval_file is not None and selection != Selection():
        raise MalformedInput("an approval file names its balls itself", where="--approval-file", mend="name no others")
    store = open_store(arguments.store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            giver = dataclasses.replace(_giver(arguments, reader), reporter=reporter)
            with whole_file(arguments.file) as out:
                if wanted.approval_file is None:
                    count = len(write_selected(reader, out, selection, wanted, giver).units)
                else:
                    count = len(write_wanted(reader, out, wanted, giver).units)
    finally:
        store.close()
    print(f"dossier of {count} balls in {arguments.file}")
    if reporter is not None:
        print(reporter.said)
    return 0


def _reporter(arguments: argparse.Namespace) -> DossierReporter | None:
    """How the report is made; with the time stamping authorities of the environment. Raises KeyFileRefused, Unsupported."""
    if "report" not in arguments.added:
        return None
    if arguments.seal is None:
        return DossierReporter(None, arguments.paper)
    if arguments.seal_password_file is None:
        raise MalformedInput("password of the seal is missing", where="--seal-password-file", mend="name its file")
    password = first_line(arguments.seal_password_file)
    stamp = stamp_of(settings_from_environment())
    return DossierReporter(open_seal_file(arguments.seal, password, datetime.now(UTC), stamp), arguments.paper)


def _giver(arguments: argparse.Namespace, reader: Reader) -> DossierGiver:
    note = reader.head().checkpoint
    if note is None:
        raise NotFound("book has no checkpoint yet", mend="start the service once, which signs one")
    password = first_line(arguments.password_file)
    issuer = None
    if arguments.credential_key is not None:
        signer = open_key_file(arguments.credential_key, password)
        issuer = issuer_of(arguments.label_stem, arguments.credential_issuer, signer)
    signer = open_key_file(arguments.dossier_key, password)
    return DossierGiver(note=note, signer=signer, stem=arguments.label_stem, issuer=issuer)


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """A file to write that gets its name at the end, and goes away where that is not reached. Raises MalformedInput."""
    beside = path.with_name(f".{path.name}.{secrets.token_hex(8)}")
    try:
        try:
            with beside.open("xb") as out:
                yield out
                out.flush()
                os.fsync(out.fileno())
            # A link fails where the name is taken; a renaming would write over it.
            path.hardlink_to(beside)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise MalformedInput(f"file cannot be written: {error.strerror}", where=str(path)) from error
