"""`pourbook verify dossier FILE --key KEY`: check a dossier with no service and no network.

KEY is the verifier line of the book's checkpoint key, or a file that holds such lines (witnesses' too), one a line;
lines that start with # are left out. Get it from elsewhere than from whoever handed the dossier over.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from ledger.book.signing import Verifier, parse_verifier
from ledger.errors import MalformedDossier, MalformedKey
from ledger.evidence.verifier import check_dossier

_MAX_KEY_FILE_BYTES = 100_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the dossier and the keys that the reader trusts."""
    parser.add_argument("file", type=Path, help="the dossier")
    parser.add_argument(
        "--key",
        action="append",
        required=True,
        help="verifier line of the book's checkpoint key, or a file of such lines; may be given again, for witnesses",
    )


def run(arguments: argparse.Namespace) -> int:
    """Print the report; 0, or the first thing that is wrong as an error of the tree in `ledger.errors`."""
    keys = [key for text in arguments.key for key in read_keys(text)]
    try:
        with arguments.file.open("rb") as file:
            report = check_dossier(file, keys)
    except OSError as error:
        raise MalformedDossier(f"dossier cannot be read: {error.strerror}", where=str(arguments.file)) from error
    print("\n".join(report.lines()))
    return 0


def read_keys(text: str) -> list[Verifier]:
    """The verifiers of a verifier line, or of the file of that name. Raises MalformedKey."""
    if "+" in text and not Path(text).is_file():
        return [parse_verifier(text)]
    try:
        with Path(text).open("rb") as file:
            lines = file.read(_MAX_KEY_FILE_BYTES).decode().splitlines()
    except (OSError, ValueError) as error:
        mend = "give the verifier line itself, or a file that holds it"
        raise MalformedKey("key is no verifier line and no readable file", got=text, mend=mend) from error
    keys = [parse_verifier(line.strip()) for line in lines if line.strip() and not line.startswith("#")]
    if not keys:
        raise MalformedKey("file holds no verifier line", where=text)
    return keys
