"""`pourbook begin`: start a new book: its key files, the store with entry 0, and the keeper's account.

It writes ``checkpoint.key``, ``dossier.key`` and ``credential.key`` into FOLDER, each under a password file of its own that
it makes there, readable by the owner alone. Move the password files to where the service's secrets lie. The token is printed once.
"""

from __future__ import annotations

import argparse
import os
import secrets
from pathlib import Path

from ledger.application.creating import create_book
from ledger.application.signers import Signers, credential_key_name, dossier_key_name
from ledger.book.signing import Signer, format_verifier, is_key_name
from ledger.errors import KeyFileRefused, MalformedKey
from ops.key_files import create_key_file


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare where the book is to be and what it is called."""
    parser.add_argument("folder", type=Path, help="a folder for the key files; made if it is not there")
    parser.add_argument("--store", dest="store_url", help="where the book goes, as a URL; by default a file in FOLDER")
    parser.add_argument("--origin", required=True, help="name of the book for ever, such as balls.example.com/line-1")
    parser.add_argument("--plant", required=True, help="the plant's name, as entry 0 states it")
    parser.add_argument("--keeper", required=True, help="name of the first account, which opens the others")


def run(arguments: argparse.Namespace) -> int:
    """Begin the book; 0, or an error of the tree in `ledger.errors`."""
    if not is_key_name(arguments.origin):
        raise MalformedKey(
            "origin cannot name a key", expected="no spaces and no plus sign", got=arguments.origin, where="--origin"
        )
    folder: Path = arguments.folder
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    signers = Signers(
        _new_key(folder, "checkpoint", arguments.origin),
        _new_key(folder, "dossier", dossier_key_name(arguments.origin)),
        credential=_new_key(folder, "credential", credential_key_name(arguments.origin)),
    )
    url = arguments.store_url or f"sqlite:///{(folder / 'book.sqlite').resolve()}"
    created = create_book(url, origin=arguments.origin, plant=arguments.plant, signers=signers, keeper=arguments.keeper)
    print(f"book {arguments.origin} begun in {url}")
    print(f"verifier of its checkpoints, to be kept elsewhere too: {format_verifier(signers.checkpoint.verifier)}")
    print(f"keeper's token, shown only now: {created.token}")
    print("to serve it:")
    print(f"  export POURBOOK_STORE_URL={url}")
    for purpose in ("checkpoint", "dossier", "credential"):
        stem = f"POURBOOK_{purpose.upper()}"
        print(
            f"  export {stem}_KEY_FILE={folder / f'{purpose}.key'} {stem}_PASSWORD_FILE={folder / f'{purpose}.password'}"
        )
    print("  pourbook serve")
    print("to let the keeper sign in with a browser:")
    print(f"  pourbook accounts password '{arguments.keeper}' --store {url}")
    return 0


def _new_key(folder: Path, purpose: str, name: str) -> Signer:
    password = secrets.token_urlsafe(24)
    path = folder / f"{purpose}.password"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as error:
        raise KeyFileRefused(
            f"password file cannot be made: {error.strerror}", where=str(path), mend="begin in a folder of its own"
        ) from error
    with os.fdopen(handle, "w") as file:
        file.write(f"{password}\n")
    return create_key_file(folder / f"{purpose}.key", name, purpose, password)
