"""A figure held against its family, in words that a person at the desk can check."""

from __future__ import annotations

from fractions import Fraction

import msgspec

from ledger.conformity.decision import shown
from ledger.tracing.parts import Certainty
from ledger.warranty.ball_record import Figure
from ledger.warranty.out_of_family import LEAST, FamilyOutcome, FamilyVerdict, judge_family


class Compared(msgspec.Struct, frozen=True, kw_only=True):
    """A figure and how it lies among those of its like; ``about`` is the node that it is a figure of."""

    about: str
    certainty: Certainty
    what: str
    outcome: FamilyOutcome
    others: int
    said: str
    facts: tuple[str, ...]


def compare(figure: Figure, about: str, certainty: Certainty = "certain") -> Compared:
    """How a figure lies in its family, by the rule of `out_of_family`."""
    verdict = judge_family(figure.value, figure.others)
    return Compared(
        about=about,
        certainty=certainty,
        what=figure.what,
        outcome=verdict.outcome,
        others=verdict.others,
        said=_said(figure, verdict),
        facts=figure.facts,
    )


def _said(figure: Figure, verdict: FamilyVerdict) -> str:
    value = f"{figure.what} {_shown(Fraction(figure.value), figure)}"
    if verdict.median is None or verdict.sigma is None:
        return f"{value}: not compared, since there are {verdict.others} others {figure.among}, and it takes {LEAST}"
    family = f"{verdict.others} others {figure.among}: median {_shown(verdict.median, figure)}"
    if verdict.outcome == "no spread":
        return f"{value} differs from {family}; more than half of them read that, so that no spread can be told"
    if verdict.sigmas is None:
        return f"{value} is that of {family}"
    away = f"{shown(abs(verdict.sigmas), 2)} robust sigmas {'above' if verdict.sigmas > 0 else 'below'}"
    family += f", robust sigma {_shown(verdict.sigma, figure)}"
    return (
        f"{value} lies {away} {family}" if verdict.outcome == "out of family" else f"{value} is in family with {family}"
    )


def _shown(value: Fraction, figure: Figure) -> str:
    """A figure in its unit, to four digits after the point at most, without trailing zeros."""
    text = f"{float(value / figure.parts):.4f}".rstrip("0").rstrip(".")
    return f"{text} {figure.unit}".rstrip()
