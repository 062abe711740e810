"""What a check of a dossier found: what was checked and what was not, in plain words and as JSON.

The JSON (`as_json`) is for machines; its field names stay. ``ok`` is true; ``checked`` and ``not_checked`` are lists of
``{"code", "words"}``, whose codes are those of this file and stay too, while the words may change. A dossier with a fault is
told by `fault_json`: ``ok`` false, and the parts of the first fault's error.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import msgspec

from ledger.book.instant import Instant, format_instant
from ledger.conformity.words import OUTCOME_WORDS
from ledger.errors import LedgerError
from ledger.evidence.dossier_format import VERDICTS_LIMIT, Counts, Scope
from ledger.evidence.lot_check import LotFound
from ledger.evidence.lot_words import lot_words, unclosed_words
from ledger.evidence.token_check import TokenFound


class Line(NamedTuple):
    """One line of a report: a code that stays, and the words."""

    code: str
    words: str


class Cosigned(NamedTuple):
    """A witness by its key's name, and when it says that it cosigned (POSIX seconds)."""

    name: str
    at_seconds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DossierReport:
    """A dossier in which everything that was checked is right.

    ``key_given``: the dossier key was given to the check, instead of being found in the book. ``quorum``: what the policy
    that was given asks for, in words; empty without one. ``tokens_why_not``: why time stamps were not checked.
    ``report_left``: what of report.pdf was not checked. ``candidates_left``: what no closed lot here shows of the lists that
    samples were drawn from. ``is_our_page``: whether verify.html is the one of this version.
    ``parts``: the parts beside the sheets that were checked (``events``, ``credentials``, ``approval``, ``candidates``, ``report``), with what was found in words.
    ``outcomes``: rulebook id to outcome to number of balls, by the worst verdict of each. ``signed_entries``: entries that
    carry a station's signature. ``files``: photos and papers that claims name by their SHA-256, which lie beside the book;
    ``files_erased``: those of them that an entry here says were erased.
    """

    book: str
    tree_size: int
    scope: Scope
    signed_by: str
    key_given: bool
    counts: Counts
    cosigned: tuple[Cosigned, ...] = ()
    quorum: str = ""
    tokens: tuple[TokenFound, ...] = ()
    tokens_why_not: str = ""
    lots: tuple[LotFound, ...] = ()
    is_our_page: bool = True
    parts: Mapping[str, str] = field(default_factory=dict)
    report_left: str = ""
    candidates_left: str = ""
    signed_entries: int = 0
    files: int = 0
    files_erased: int = 0
    outcomes: Mapping[str, Mapping[str, int]] = field(default_factory=dict)

    @property
    def witnesses(self) -> tuple[str, ...]:
        """Names of the known witnesses that cosigned."""
        return tuple(one.name for one in self.cosigned)

    def lines(self) -> list[str]:
        """The report, line by line."""
        counts = self.counts
        return [
            f"nothing is wrong with this dossier: {counted(counts.balls, 'ball')}, {counted(counts.entries, 'entry')}",
            f"book: {self.book}, {counted(self.tree_size, 'entry')} at its checkpoint",
            f"scope, as stated: {self.scope.words}",
            "",
            "checked:",
            *(f"  - {line.words}" for line in self.checked()),
            "",
            "not checked:",
            *(f"  - {line.words}" for line in self.not_checked()),
            "",
            "verdicts, by the worst of each ball (the maker's own assessment, not an approval):",
            *(self._verdicts() or ["  - none: the dossier holds no rulebook"]),
        ]

    def as_json(self) -> dict[str, Any]:
        """The report for machines; see the head of this file."""
        return {
            "ok": True,
            "book": self.book,
            "tree_size": self.tree_size,
            "scope": msgspec.to_builtins(self.scope),
            "signed_by": self.signed_by,
            "key_given": self.key_given,
            "counts": msgspec.to_builtins(self.counts),
            "cosigned": [{"name": one.name, "at": _instant(one.at_seconds * 1000)} for one in self.cosigned],
            "quorum": self.quorum,
            "tokens": [{"name": one.name, "at": _instant(one.at_ms), "by": one.authority} for one in self.tokens],
            "lots": [msgspec.to_builtins(one) for one in self.lots],
            "checked": [line._asdict() for line in self.checked()],
            "not_checked": [line._asdict() for line in self.not_checked()],
            "verdicts": {rulebook: dict(counts) for rulebook, counts in self.outcomes.items()},
        }

    def checked(self) -> list[Line]:
        """What was checked and is right, in the order of the check."""
        counts = self.counts
        key = "given to this check" if self.key_given else "introduced in the book by an entry that is proved here"
        lines = [
            Line("manifest", f"the manifest is signed by {self.signed_by}, a key {key}"),
            Line("digests", "every file has the digest that the manifest states, and there is no other file"),
            Line("checkpoint", "the checkpoint is signed by the book's key that was given"),
            *self._witnessed(),
            *(Line("time", _token_words(one)) for one in self.tokens),
            Line("entries", "every entry stands in the book under that checkpoint, byte for byte"),
            *self._stations(),
            Line(
                "sealed",
                f"sealed fields: {counts.opened} opened and as sealed, {counts.withheld} withheld, {counts.erased} erased",
            ),
            Line("keys", "the keys of the book are those that entries introduce, each for its sizes of the book"),
            *(Line("lots", lot_words(one)) for one in self.lots if one.count is not None),
            Line(
                "sheets",
                "every sheet says what its entries say, corrections included: facts, lots with certainty, readings",
            ),
            Line("verdicts", "every verdict follows from those readings by the rulebooks in the dossier"),
            Line(
                "house",
                "every verdict by the rule of the house follows from them by the newest release policy in the dossier, if any",
            ),
        ]
        if counts.verdicts:
            lines.append(Line("table", "the table of verdicts is that of the sheets"))
        return lines + [Line(part, words) for part, words in self.parts.items()]

    def _stations(self) -> Iterator[Line]:
        if self.signed_entries:
            signed = counted(self.signed_entries, "station's own signature")
            yield Line("stations", f"{signed} on entries, each by a key that the book knew then")

    def _witnessed(self) -> Iterator[Line]:
        if self.cosigned:
            said = ", ".join(f"{one.name} at {_instant(one.at_seconds * 1000)}" for one in self.cosigned)
            yield Line("witnesses", f"the checkpoint is cosigned by {said}")
        if self.quorum:
            yield Line("quorum", f"the quorum of the policy that was given is reached: {self.quorum}")

    def not_checked(self) -> list[Line]:
        """What was not checked, or cannot be."""
        counts = self.counts
        lines = [
            Line("truth", "whether what was written down is true"),
            Line("left_out", "whether the book holds further entries about these balls that were left out"),
            Line("rulebooks", "whether the rulebooks are those of the bodies they name, and current"),
        ]
        if not self.cosigned:
            words = "whether others were shown another head of this book: no cosignature by a known witness"
            lines.append(Line("witnesses", words))
        if counts.tokens and self.tokens_why_not:
            lines.append(Line("time", f"{counted(counts.tokens, 'time stamp')}: {self.tokens_why_not}"))
        lines += self._lots_not_checked()
        if counts.withheld or counts.erased:
            lines.append(Line("sealed", "the values of withheld and erased fields"))
        lines += self._parts_not_checked()
        if self.files:
            words = f"the files of claims, named by their SHA-256: {self.files}, of which {self.files_erased} erased"
            lines.append(Line("files", words))
        return lines

    def _lots_not_checked(self) -> Iterator[Line]:
        if self.counts.balls and not self.lots:
            yield Line("lots", "whether these are all the balls of their lots: the dossier does not say")
        for one in self.lots:
            if one.count is None:
                yield Line("lots", unclosed_words(one))

    def _parts_not_checked(self) -> Iterator[Line]:
        counts = self.counts
        for part, number, words in (
            ("events", counts.events, "the EPCIS events"),
            ("credentials", counts.credentials, "the credentials"),
            ("approval", counts.approval, "the approval file, approval.json"),
            ("report", counts.report, "what report.pdf says, and its own signature"),
        ):
            if number and part not in self.parts:
                yield Line(part, f"{words}, beyond their digests" if number > 1 else f"{words}, beyond the digest")
        if self.candidates_left:
            yield Line("candidates", self.candidates_left)
        if self.report_left:
            yield Line("report", self.report_left)
        if not counts.verdicts and counts.balls > VERDICTS_LIMIT:
            yield Line("table", f"there is no table of verdicts: the dossier has more than {VERDICTS_LIMIT:,} balls")
        if not self.is_our_page:
            yield Line("page", "verify.html: it is not the one of this version of Pourbook")

    def _verdicts(self) -> list[str]:
        return [
            f"  - {rulebook}: " + ", ".join(f"{OUTCOME_WORDS[outcome]} {number}" for outcome, number in counts.items())
            for rulebook, counts in self.outcomes.items()
        ]


def fault_json(error: LedgerError) -> dict[str, Any]:
    """The first thing that is wrong, for machines; see the head of this file."""
    return {
        "ok": False,
        "code": error.code,
        "problem": error.problem,
        "where": error.where,
        "expected": None if error.expected is None else str(error.expected),
        "got": None if error.got is None else str(error.got),
        "mend": error.mend,
    }


def counted(number: int, word: str) -> str:
    """A number and its word, in the plural where it is one."""
    many = f"{word[:-1]}ies" if word.endswith("y") else f"{word}s"
    return f"{number:,} {word if number == 1 else many}"


def _token_words(token: TokenFound) -> str:
    return f"the checkpoint existed before {_instant(token.at_ms)}, by {token.authority} ({token.name})"


def _instant(ms: int) -> str:
    return format_instant(Instant(ms))
