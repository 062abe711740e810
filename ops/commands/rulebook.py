"""`pourbook rulebook`: list the rulebooks that ship, check a file, and tell two editions apart in words."""

from __future__ import annotations

import argparse
from pathlib import Path

from ledger.conformity.requirement_words import requirement_words
from ledger.conformity.rulebook import RulebookFile, read_rulebook, shipped_rulebooks
from ledger.conformity.rulebook_diff import differences
from ledger.conformity.shelf import read_own_rulebook
from ledger.errors import MalformedRulebook, NotFound


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the three actions and what each takes."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="list|check|diff")
    actions.add_parser("list", help="the rulebooks that ship, with their digests")
    check = actions.add_parser("check", help="read a rulebook file; the first line that is wrong is named")
    check.add_argument("file", type=Path)
    diff = actions.add_parser("diff", help="what the second edition has otherwise than the first")
    diff.add_argument("one", help="id of a rulebook that ships, or a file")
    diff.add_argument("two", help="id of a rulebook that ships, or a file")


def run(arguments: argparse.Namespace) -> int:
    """Do the action; 0, or an error of the tree in `ledger.errors`."""
    if arguments.action == "list":
        lines = _listed()
    elif arguments.action == "check":
        lines = _checked(read_own_rulebook(_raw(arguments.file), str(arguments.file)))
    else:
        one, two = _find(arguments.one).rulebook, _find(arguments.two).rulebook
        lines = [each.sentence for each in differences(one, two)] or [f"{one.id} and {two.id} say the same"]
    print("\n".join(lines))
    return 0


def _listed() -> list[str]:
    shipped = shipped_rulebooks().values()
    width = max(len(edition.rulebook.id) for edition in shipped)
    return [
        f"{edition.rulebook.id:<{width}}  {len(edition.rulebook.requirements):>3} requirements  "
        f"{edition.digest[:16]}  {edition.rulebook.title}; edition {edition.rulebook.edition}"
        for edition in shipped
    ]


def _checked(edition: RulebookFile) -> list[str]:
    rulebook = edition.rulebook
    limits = [f"  {requirement.id}: {requirement_words(requirement)}" for requirement in rulebook.requirements]
    return [f"{rulebook.id}: {rulebook.title}, edition {rulebook.edition}", f"digest {edition.digest}", *limits]


def _find(name: str) -> RulebookFile:
    shipped = shipped_rulebooks().get(name)
    if shipped is not None:
        return shipped
    file = Path(name)
    if file.is_file():
        return read_rulebook(_raw(file), str(file))
    raise NotFound(
        f"no rulebook {name}",
        expected="a file, or one of " + ", ".join(shipped_rulebooks()),
        mend="`pourbook rulebook list` shows the ids",
    )


def _raw(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise MalformedRulebook("file cannot be read", where=str(file)) from error
