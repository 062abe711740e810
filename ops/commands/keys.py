"""`pourbook keys new`, `new-seal`, `new-backup` and `show`: key files, made and looked at, what reports are sealed with,
and the key that opens backups.

The password is typed, or read from the first line of a file; it is never an argument, since other users of a
machine can see those. Nothing here puts a key into the book: introducing one is a record.
"""

from __future__ import annotations

import argparse
import getpass
import sys
from datetime import UTC, datetime
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256

from ledger.book.signing import PURPOSES, format_verifier
from ledger.errors import KeyFileRefused
from ops.age_files import create_identity
from ops.key_files import create_key_file, open_key_file, read_key_file
from ops.seal_files import create_seal_file


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the two actions and what each takes."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="new|new-seal|new-backup|show")
    new = actions.add_parser("new", help="make a key and write it, encrypted, to a new file")
    new.add_argument("file", type=Path)
    new.add_argument("--name", required=True, help="the key's name, as verifiers will know it")
    new.add_argument("--purpose", required=True, choices=PURPOSES, help="the one thing the key is for")
    new.add_argument("--password-file", type=Path, help="read the password from this file's first line")
    seal = actions.add_parser(
        "new-seal",
        help="make an RSA key and a certificate of its own for it, to seal reports with (PKCS#12, encrypted)",
    )
    seal.add_argument("file", type=Path)
    seal.add_argument("--name", required=True, help="whose seal it is, as readers of a report will see it")
    seal.add_argument("--password-file", type=Path, help="read the password from this file's first line")
    backup = actions.add_parser(
        "new-backup", help="make the key that opens backups (age format), and print its public line"
    )
    backup.add_argument("file", type=Path)
    show = actions.add_parser("show", help="print name, purpose and verifier line of a key file")
    show.add_argument("file", type=Path)
    show.add_argument("--prove", action="store_true", help="open it, to prove that the lines belong to the key")
    show.add_argument("--password-file", type=Path, help="read the password from this file's first line")


def run(arguments: argparse.Namespace) -> int:
    """Do the action; 0, or an error of the tree in `ledger.errors`."""
    if arguments.action == "new":
        password = _password(arguments.password_file, again=True)
        signer = create_key_file(arguments.file, arguments.name, arguments.purpose, password)
        print(f"written: {arguments.file}")
        print(f"verifier: {format_verifier(signer.verifier)}")
        return 0
    if arguments.action == "new-seal":
        password = _password(arguments.password_file, again=True)
        _print_seal(create_seal_file(arguments.file, arguments.name, password, datetime.now(UTC)), arguments.file)
        return 0
    if arguments.action == "new-backup":
        public = create_identity(arguments.file)
        print(f"written: {arguments.file}")
        print(f"recipient: {public}")
        print("keep the file elsewhere than the service and its backups: whoever has it reads them all")
        return 0
    key_file = read_key_file(arguments.file)
    if arguments.prove:
        open_key_file(arguments.file, _password(arguments.password_file))
    print(f"name: {key_file.name}")
    print(f"purpose: {key_file.purpose}")
    print(f"verifier: {key_file.verifier}")
    print("proven: " + ("yes, by the private key" if arguments.prove else "no; --prove asks for the password"))
    return 0


def _print_seal(certificate: x509.Certificate, file: Path) -> None:
    print(f"written: {file}")
    print(f"subject: {certificate.subject.rfc4514_string()}")
    print(f"valid until: {certificate.not_valid_after_utc:%Y-%m-%d}")
    print(f"SHA-256 of the certificate: {certificate.fingerprint(SHA256()).hex()}")
    print("publish that digest where readers of a report can compare it: the certificate is of its own making")


def _password(file: Path | None, *, again: bool = False) -> str:
    """From the file's first line, else typed at the terminal (twice if `again`)."""
    if file is not None:
        try:
            return file.read_text("utf-8").split("\n", 1)[0]
        except (OSError, UnicodeDecodeError) as error:
            raise KeyFileRefused("password file cannot be read", where=str(file)) from error
    if not sys.stdin.isatty():
        raise KeyFileRefused("no terminal to type the password at", mend="give --password-file FILE")
    password = getpass.getpass("password of the key file: ")
    if again and getpass.getpass("the same again: ") != password:
        raise KeyFileRefused("the two passwords differ", mend="run it again")
    return password
