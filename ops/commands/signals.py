"""`pourbook signals`: which lots, moulds, stations and weeks have more claims than the rest, and one of them in full."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from ledger.application.pourbook import wall_clock_ms
from ledger.application.signals import LISTED, FamilySignals, SignalsAsked, draw_family, signal_words, signals_of
from ledger.application.survival_view import (
    MONTHS,
    draw_member_forecast,
    draw_member_survival,
    member_in_claims,
)
from ledger.errors import MalformedInput
from ledger.store.engine import open_store
from ledger.store.reader import Reader, open_reader
from ledger.warranty.lot_signals import Q
from ledger.warranty.members import FAMILIES


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store, the family and member, the rate, the day and the pictures."""
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument("--family", choices=FAMILIES, help="one family alone")
    parser.add_argument("--name", help="one member of the family, with curve, forecast and claims")
    parser.add_argument("--q", type=float, default=Q, help=f"rate of false signals in a year of weekly looks ({Q})")
    parser.add_argument("--on", metavar="DATE", help="as of the end of this UTC day; by default as of now")
    parser.add_argument(
        "--list", dest="listed", type=int, default=LISTED, metavar="N", help="members named of a family"
    )
    parser.add_argument("--months", type=int, default=MONTHS, metavar="N", help=f"months to forecast ({MONTHS})")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="the family's ratios, or the member's curves")
    parser.add_argument("--forecast", type=Path, metavar="FILE", help="the member's claims to come, as a picture")


def run(arguments: argparse.Namespace) -> int:
    """Print the look and write the pictures; 0, or an error of the tree in `ledger.errors`."""
    if arguments.name is not None and arguments.family is None:
        raise MalformedInput("a member is of one family", expected=", ".join(FAMILIES), where="--family")
    if arguments.listed < 0:
        raise MalformedInput("number is out of range", expected="0 or more", got=arguments.listed, where="--list")
    store = open_store(arguments.store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            _answer(reader, arguments)
    finally:
        store.close()
    return 0


def _answer(reader: Reader, given: argparse.Namespace) -> None:
    asked = SignalsAsked(wall_clock_ms(), given.family, given.q, given.on, given.listed)
    if given.name is None:
        look = signals_of(reader, asked)
        for family in look.families:
            print("\n".join(family_lines(family)))
        print("\n".join(["", *look.says]))
        _write(given.svg, lambda: draw_family(reader, asked))
        return
    member = member_in_claims(reader, asked, given.name, given.months)
    print("\n".join(member.says))
    for claim in member.claims:
        print(
            f"  {claim.claim}: {claim.mode} after {claim.days} days, {claim.unit} ({claim.certainty}; fact {claim.fact})"
        )
    _write(given.svg, lambda: draw_member_survival(reader, asked, given.name))
    _write(given.forecast, lambda: draw_member_forecast(reader, asked, given.name, given.months))


def family_lines(family: FamilySignals) -> list[str]:
    """A family in lines: how many signal, and its first members that have a claim."""
    lines = [
        f"{family.family}: {family.signals} of {family.tested} signal, {family.stand_out} more stand out at this look alone"
    ]
    lines += [f"  {one.stands.replace('-', ' ')}: {signal_words(one)}" for one in family.listed if one.claims]
    return lines


def _write(file: Path | None, draw: Callable[[], str]) -> None:
    if file is None:
        return
    try:
        file.write_text(draw(), "utf-8")
    except OSError as error:
        raise MalformedInput("picture cannot be written", where=str(file), mend="name a file in a folder") from error
    print(f"picture in {file}")
