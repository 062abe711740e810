"""The command line: `pourbook COMMAND`.

`COMMANDS` is the one list of commands; the help text and the README's table are made from it.
Each command is a file in `ops/commands` with two functions: `add_arguments(parser)` and `run(arguments) -> int`,
where the int is the exit code. Only the module of the command that was asked for is imported, so that
`pourbook verify` needs no service and starts quickly.

Exit codes: 0 done, 1 refused or found wrong (one line on standard error, and the mend), 2 wrong usage,
130 stopped by Ctrl-C.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.errors import LedgerError
from ops.collector import without_collecting

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Command:
    """One command: its words as typed, what it is for in one line, and the module that does it."""

    name: str
    purpose: str
    module: str


COMMANDS: tuple[Command, ...] = (
    Command("begin", "start a new book: keys, store, first account", "ops.commands.begin"),
    Command("serve", "run the service over one book", "ops.commands.serve"),
    Command("demo", "walk through the main job on an invented plant", "ops.commands.demo"),
    Command("rebuild", "make every view anew from the entries", "ops.commands.rebuild"),
    Command("verify book", "check a whole book: chain, tree, openings, checkpoint, views", "ops.commands.verify_book"),
    Command(
        "verify dossier",
        "check a dossier with nothing but the file and a key: no service, no network",
        "ops.commands.verify_dossier",
    ),
    Command(
        "verify receipt",
        "check that an entry stands in a book, by its receipt and a key",
        "ops.commands.verify_receipt",
    ),
    Command("verify fork", "check the evidence that two heads of one book were signed", "ops.commands.verify_fork"),
    Command("witness", "cosign the checkpoints of other parties' books, as a second party", "ops.commands.witness"),
    Command("find", "which ball is it, by a half-worn, scanned or former number", "ops.commands.find"),
    Command(
        "claim", "a number or a claim as the desk reads it: term, reasons, what speaks for what", "ops.commands.claim"
    ),
    Command("import", "shipments, balls made before the book and old claims from a CSV file", "ops.commands.import_"),
    Command("conformity", "how a selection of balls comes out under a rulebook", "ops.commands.conformity"),
    Command("impact", "what changes when a rule does, a gauge was wrong, a correction lands", "ops.commands.impact"),
    Command("case", "cases of suspect lots: list, show, add their balls up to the last one", "ops.commands.case"),
    Command("approval", "approval files: list, show what is missing, drawn, signed, changed", "ops.commands.approval"),
    Command("signals", "lots, moulds, stations and weeks with more claims than the rest", "ops.commands.signals"),
    Command("chart", "control charts and capability of a quantity, as figures and pictures", "ops.commands.chart"),
    Command("gauge", "one gauge for a report: calibrations, studies, uncertainty budget", "ops.commands.gauge"),
    Command("rulebook", "list the rulebooks that ship, check a file, tell two editions apart", "ops.commands.rulebook"),
    Command("export", "write the dossier of a selection of balls to a file", "ops.commands.export"),
    Command("mirror", "follow a book from outside, and keep the evidence if it is ever forked", "ops.commands.mirror"),
    Command("directory", "many plants: whose serial is this, and what each book shows", "ops.commands.directory"),
    Command(
        "directory serve", "answer whose serial this is over HTTP, keeping nothing", "ops.commands.directory_serve"
    ),
    Command("epcis", "the history of a ball or a lot as EPCIS 2.0 events", "ops.commands.epcis"),
    Command("copy", "move or copy a book to another store: SQLite to PostgreSQL, and back", "ops.commands.copy"),
    Command("reopen", "take a book back to the store it was moved from, if the new one is lost", "ops.commands.reopen"),
    Command("backup", "the whole book in one encrypted file, while the service runs", "ops.commands.backup"),
    Command("restore", "a book from a backup, in an empty store of either kind", "ops.commands.restore"),
    Command("archive", "closed ranges of the book to object storage, still read and proved", "ops.commands.archive"),
    Command("grant", "let a database role serve the book that can change nothing entered", "ops.commands.grant"),
    Command("accounts", "who has an account; a first password, a code for a device", "ops.commands.accounts"),
    Command("keys", "make a key file, or show what one says", "ops.commands.keys"),
)


def command_table() -> str:
    """The commands as a Markdown table, as it stands in the README."""
    rows = [f"| `pourbook {command.name}` | {command.purpose} |" for command in COMMANDS]
    return "\n".join(("| command | what it is for |", "| --- | --- |", *rows))


def help_text() -> str:
    """What `pourbook --help` prints."""
    width = max(len(command.name) for command in COMMANDS)
    rows = [f"  {command.name:<{width}}  {command.purpose}" for command in COMMANDS]
    lines = ("usage: pourbook COMMAND [arguments]", "", "commands:", *rows, "")
    return "\n".join((*lines, "`pourbook COMMAND --help` says more about one of them."))


def find_command(words: Sequence[str], commands: Sequence[Command] = COMMANDS) -> tuple[Command, Sequence[str]] | None:
    """The command that `words` begin with, and the words after it; the longest name wins."""
    for command in sorted(commands, key=lambda each: -len(each.name.split())):
        name = command.name.split()
        if list(words[: len(name)]) == name:
            return command, words[len(name) :]
    return None


def main(words: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; `words` are those after `pourbook`."""
    words = sys.argv[1:] if words is None else words
    if not words or words[0] in {"-h", "--help", "help"}:
        print(help_text())
        return 0 if words else 2
    found = find_command(words)
    if found is None:
        print(f"pourbook: no command {' '.join(words[:2])!r}; `pourbook --help` lists them", file=sys.stderr)
        return 2
    command, rest = found
    return _run(command, rest)


def _run(command: Command, words: Sequence[str]) -> int:
    with without_collecting():
        module = importlib.import_module(command.module)
    parser = argparse.ArgumentParser(prog=f"pourbook {command.name}", description=command.purpose)
    module.add_arguments(parser)
    try:
        code: int = module.run(parser.parse_args(words))
        sys.stdout.flush()
    except LedgerError as error:
        print(f"pourbook: {error}", file=sys.stderr)
        if error.mend:
            print(f"  to mend it: {error.mend}", file=sys.stderr)
        return 1
    except Exception as error:
        if not _is_of_a_store(error):
            raise
        print(f"pourbook: store failed meanwhile ({type(error).__name__})", file=sys.stderr)
        print("  to mend it: see that the database runs and can be reached, then run this again", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("pourbook: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader (head, say) has gone: no error, and nothing more to write at exit either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code


def _is_of_a_store(error: Exception) -> bool:
    """Whether a database, or the way to it, failed; its own text may show a row, so only its class is told."""
    return type(error).__module__.partition(".")[0] in {"sqlite3", "psycopg", "sqlalchemy"}


if __name__ == "__main__":
    sys.exit(main())
