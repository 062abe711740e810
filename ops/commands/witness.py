"""`pourbook witness`: cosign the checkpoints of other parties' books, as a second party (C2SP tlog-witness).

It needs no book: a key of its own (`pourbook keys new FILE --purpose witness`), a file of the logs that it knows, and a
state that it begins once (``--begin``) and keeps for ever::

    # logs.txt: a line for each key of each book; read anew when it changes
    log balls.example.com/line-1+<8 hex>+<base64>

Run it on another machine than the book, under another party's hands: a witness whose key or state lies beside the book
counts as none. It speaks plain http and expects a proxy with https before it. Do not restore its state from a backup: a
witness that forgot what it signed must become a new one, with another key.
"""

from __future__ import annotations

import argparse
import re
import signal
from pathlib import Path

from api.server import Server, address_of, listening
from api.settings import first_line, settings_from_environment
from api.witness.app import Limits, witness_app
from api.witness.known_logs import LogFile
from ledger.application.pourbook import wall_clock_ms
from ledger.application.witness import Witness, check_witness_keys
from ledger.book.signing import Signer, format_verifier
from ledger.errors import MalformedInput
from ledger.store.witness_state import WitnessState, open_witness_state
from ops.key_files import open_key_file
from ops.service_log import begin_logging

_PREFIX = re.compile(r"(?:/[A-Za-z0-9._~-]+)*", re.ASCII)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare key, state, logs and address."""
    parser.add_argument("--state", type=Path, required=True, help="the file in which it remembers what it signed")
    parser.add_argument("--begin", action="store_true", help="make the state: once, for a new witness")
    parser.add_argument(
        "--key-file", type=Path, action="append", help="its key; twice while one takes over from another"
    )
    parser.add_argument("--password-file", action="append", help="the password of each key file, in their order")
    parser.add_argument("--logs", type=Path, help="the file of the logs that it knows")
    parser.add_argument("--host", default="127.0.0.1", help="the address to listen at")
    parser.add_argument("--port", type=int, default=8770, help="the port; 0 takes a free one")
    parser.add_argument("--prefix", default="", help="the path before both of its addresses, such as /witness")
    parser.add_argument("--per-minute", type=int, default=600, help="requests a minute from one address")
    parser.add_argument(
        "--misfits", type=Path, metavar="FOLDER", help="write what did not fit into this folder, and end: evidence"
    )


def run(arguments: argparse.Namespace) -> int:
    """Witness until stopped; 0, or an error of the tree in `ledger.errors`."""
    if arguments.misfits is not None:
        return _write_misfits(open_witness_state(arguments.state), arguments.misfits)
    begin_logging(settings_from_environment().log)
    signers, logs = _signers(arguments), _logs(arguments)
    if not _PREFIX.fullmatch(arguments.prefix) or arguments.per_minute < 1:
        raise MalformedInput("prefix or rate is none", expected="/path without a slash at its end, and 1 or more")
    with listening(arguments.host, arguments.port) as listener:
        state = open_witness_state(arguments.state, begin=arguments.begin)
        try:
            witness = Witness(state, signers, logs, wall_clock_ms)
            for signer in signers:
                print(f"witness {format_verifier(signer.verifier)}")
            print(f"at {address_of(listener)}{arguments.prefix} (Ctrl-C stops it)", flush=True)
            limits = Limits(per_minute=arguments.per_minute, burst=max(60, arguments.per_minute // 10))
            server = Server(
                witness_app(witness, prefix=arguments.prefix, limits=limits),
                stop_s=10,
                on_started=lambda: print("ready", flush=True),
            )
            # The server raises the signal again once it has stopped; by then there is nothing left to end.
            signal.signal(signal.SIGTERM, lambda _signal, _frame: None)
            server.run(sockets=[listener])
        finally:
            state.close()
    return 0 if server.started else 1


def _signers(arguments: argparse.Namespace) -> list[Signer]:
    files, passwords = arguments.key_file or [], arguments.password_file or []
    if not files or len(files) != len(passwords):
        raise MalformedInput("each key file needs its password file", expected="--key-file and --password-file alike")
    signers = [open_key_file(file, first_line(word)) for file, word in zip(files, passwords, strict=True)]
    check_witness_keys(signers)
    return signers


def _logs(arguments: argparse.Namespace) -> LogFile:
    if arguments.logs is None:
        raise MalformedInput("no file of known logs is named", mend="give --logs FILE")
    return LogFile(arguments.logs)


def _write_misfits(state: WitnessState, folder: Path) -> int:
    """Two notes for each misfit, both signed by the log: what it showed, and what it had shown before."""
    try:
        misfits = state.misfits()
    finally:
        state.close()
    folder.mkdir(parents=True, exist_ok=True)
    for number, misfit in enumerate(misfits, 1):
        (folder / f"{number:04}-shown").write_bytes(misfit.note)
        (folder / f"{number:04}-before").write_bytes(misfit.stored)
        print(f"{number:04}  {misfit.origin}  {misfit.size} entries: {misfit.why}")
    print(f"{len(misfits)} written to {folder}" if misfits else "every log that it knows only grew")
    return 0
