"""What was found of a lot, in a sentence."""

from __future__ import annotations

from ledger.evidence.lot_check import LotFound


def lot_words(lot: LotFound) -> str:
    """How many balls of a closed lot are here, and what happened to them since."""
    if lot.is_whole and not lot.gone:
        told = f"all {lot.count} balls of lot {lot.lot} are here"
    else:
        told = f"{lot.here} of {lot.count} balls of lot {lot.lot} are here"
    since = [
        (lot.gone, "withdrawn since"),
        (lot.renumbered, "with another number since"),
        (lot.moved, "said to be of another lot since"),
        (lot.added, "added after the lot was closed"),
    ]
    said = ", ".join(f"{number} {words}" for number, words in since if number)
    return f"{told}, {said}" if said else told


def unclosed_words(lot: LotFound) -> str:
    """Why nothing is known of the number of balls of a lot."""
    balls = "1 ball is here" if lot.added == 1 else f"{lot.added} balls are here"
    return f"whether these are all the balls of lot {lot.lot}: no entry here closes it; {balls}"
