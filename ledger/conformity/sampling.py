"""Acceptance sampling by attributes: single sampling, normal inspection, general level II, as data.

Lot size gives a letter (Table I), letter and AQL give the sample and the acceptance number (Table II-A); an arrow leads
to another row, and the sample size of that row is taken, not that of the letter first found.  Where the sample is as
large as the lot or larger, every ball is inspected.
Source: MIL-STD-105E, Tables I and II-A (public domain; the same plans as ISO 2859-1:1999, Tables 1 and 2-A).  The cells
of AQL 0.65 for letters F to K, of 1.0 for G to K and of 1.5 for G were read as quoted in public texts; the others are
from memory.

Switching to tightened or reduced inspection is not here: a plan says what one lot's sample shows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import msgspec

from ledger.errors import MalformedQuantity

LEVEL = "II"

LETTERS: tuple[tuple[str, int, int], ...] = (
    ("A", 2, 8),
    ("B", 9, 15),
    ("C", 16, 25),
    ("D", 26, 50),
    ("E", 51, 90),
    ("F", 91, 150),
    ("G", 151, 280),
    ("H", 281, 500),
    ("J", 501, 1200),
    ("K", 1201, 3200),
    ("L", 3201, 10_000),
    ("M", 10_001, 35_000),
    ("N", 35_001, 150_000),
    ("P", 150_001, 500_000),
    ("Q", 500_001, 10**12),
)
"""Table I, level II: letter, least and largest lot; the last has no largest in the standard."""

SAMPLE_SIZES: dict[str, int] = {
    "A": 2,
    "B": 3,
    "C": 5,
    "D": 8,
    "E": 13,
    "F": 20,
    "G": 32,
    "H": 50,
    "J": 80,
    "K": 125,
    "L": 200,
    "M": 315,
    "N": 500,
    "P": 800,
    "Q": 1250,
    "R": 2000,
}
"""Letter to sample size. R is reached by no lot of level II; Table II-A has its row."""

MASTER: dict[str, str] = {
    # AQL   A  B  C  D  E  F  G  H  J  K  L  M  N  P  Q  R
    "0.40": "v  v  v  v  v  v  0  ^  v  1  2  3  5  7  10 14",
    "0.65": "v  v  v  v  v  0  ^  v  1  2  3  5  7  10 14 21",
    "1.0": "v  v  v  v  0  ^  v  1  2  3  5  7  10 14 21 ^",
    "1.5": "v  v  v  0  ^  v  1  2  3  5  7  10 14 21 ^  ^",
    "2.5": "v  v  0  ^  v  1  2  3  5  7  10 14 21 ^  ^  ^",
    "4.0": "v  0  ^  v  1  2  3  5  7  10 14 21 ^  ^  ^  ^",
}
"""Table II-A, a column a line: acceptance numbers by letter; ``v`` and ``^`` are the arrows down and up."""

_QUOTED = {("0.65", letter) for letter in "FGHJK"} | {("1.0", letter) for letter in "GHJK"} | {("1.5", "G")}


class Plan(msgspec.Struct, frozen=True, kw_only=True):
    """Take ``sample`` balls; accept the lot with at most ``accept`` failing, reject it with ``reject`` or more.

    ``lot_letter``: what Table I gives; ``letter``: the row after the arrows.  ``whole``: the sample is the lot.
    ``provenance``: ``second-hand`` for a cell quoted in a public text, else ``memory``.
    """

    lot: int
    aql: str
    lot_letter: str
    letter: str
    sample: int
    accept: int
    reject: int
    whole: bool
    provenance: str


def find_letter(lot: int) -> str:
    """The sample size letter of a lot, level II. Raises MalformedQuantity for a lot of fewer than 2."""
    for letter, least, largest in LETTERS:
        if least <= lot <= largest:
            return letter
    raise MalformedQuantity("lot has no sampling plan", expected=f"2 to {LETTERS[-1][2]} balls", got=lot, where="lot")


def find_plan(lot: int, aql: str) -> Plan:
    """The plan of a lot. Raises MalformedQuantity for a lot of fewer than 2 and an AQL that the table does not have."""
    column = MASTER.get(aql)
    if column is None:
        raise MalformedQuantity("AQL has no column", expected=" or ".join(MASTER), got=aql, where="aql")
    first = find_letter(lot)
    cells, letters = column.split(), list(SAMPLE_SIZES)
    at = letters.index(first)
    while cells[at] in "v^":
        at += 1 if cells[at] == "v" else -1
    letter, accept = letters[at], int(cells[at])
    sample = min(SAMPLE_SIZES[letter], lot)
    return Plan(
        lot=lot,
        aql=aql,
        lot_letter=first,
        letter=letter,
        sample=sample,
        accept=accept,
        reject=accept + 1,
        whole=sample == lot,
        provenance="second-hand" if {(aql, first), (aql, letter)} <= _QUOTED else "memory",
    )


def plan_line(plan: Plan) -> str:
    """The plan in words, such as "inspect 80 of 1000: accept with at most 2 failing, reject with 3 (AQL 1.0, ...)"."""
    take = f"inspect all {plan.lot}" if plan.whole else f"inspect {plan.sample} of {plan.lot}"
    arrow = "" if plan.letter == plan.lot_letter else f", letter {plan.lot_letter} leads to {plan.letter}"
    source = "quoted in a public text" if plan.provenance == "second-hand" else "from memory"
    return (
        f"{take}: accept with at most {plan.accept} failing, reject with {plan.reject} "
        f"(AQL {plan.aql}, level {LEVEL}, letter {plan.letter}{arrow}; table {source})"
    )


def _check(sample: int, accept: int) -> None:
    if sample < 1 or not 0 <= accept <= sample:
        raise MalformedQuantity(
            "plan is none", expected="a sample of at least 1 and an acceptance number within it", got=(sample, accept)
        )


def accept_chance(sample: int, accept: int, failing: float) -> float:
    """The chance to accept a lot much larger than the sample, ``failing`` (0 to 1) of which fails; binomial."""
    from scipy.special import bdtr  # noqa: PLC0415  # loaded when asked for

    _check(sample, accept)
    if not 0 <= failing <= 1:
        raise MalformedQuantity("share is out of range", expected="0 to 1", got=failing, where="failing")
    return float(bdtr(accept, sample, failing))


def accept_chance_of_lot(lot: int, failing: int, sample: int, accept: int) -> Fraction:
    """The chance to accept a lot with so many failing balls in it, exactly; hypergeometric."""
    _check(sample, accept)
    if not 0 <= failing <= lot or sample > lot:
        raise MalformedQuantity(
            "lot is none", expected=f"0 to {lot} failing and a sample within the lot", got=(failing, sample)
        )
    ways = sum(math.comb(failing, found) * math.comb(lot - failing, sample - found) for found in range(accept + 1))
    return Fraction(ways, math.comb(lot, sample))


def failing_at(sample: int, accept: int, chance: float) -> float:
    """The share failing (0 to 1) of a large lot that is accepted with this chance: the curve read the other way.

    At 0.95 it is what the producer may send, at 0.10 what the consumer is guarded from.
    """
    from scipy.special import bdtri  # noqa: PLC0415  # loaded when asked for

    _check(sample, accept)
    if not 0 < chance < 1:
        raise MalformedQuantity("chance is out of range", expected="between 0 and 1", got=chance, where="chance")
    if accept == sample:
        raise MalformedQuantity("plan accepts every lot", expected="an acceptance number below the sample", got=accept)
    return float(bdtri(accept, sample, chance))


def operating_curve(sample: int, accept: int, shares: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """The operating characteristic: each share failing with its chance of acceptance, binomial."""
    return tuple((share, accept_chance(sample, accept, share)) for share in shares)
