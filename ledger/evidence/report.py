"""What a check of a dossier found, in plain words: what was checked, and what was not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ledger.conformity.words import OUTCOME_WORDS


@dataclass(frozen=True, slots=True)
class DossierReport:
    """A dossier in which everything that was checked is right.

    ``outcomes``: rulebook id to outcome to number of balls, by the worst verdict of each. ``key_given``: the dossier key
    was given to the check, instead of being found in the book. ``signed_entries``: entries that carry a station's
    signature. ``files``: photos and papers that claims name by their SHA-256, which lie beside the book; ``files_erased``: those
    of them that an entry here says were erased.
    """

    book: str
    tree_size: int
    scope: str
    signed_by: str
    key_given: bool
    balls: int
    entries: int
    opened: int
    withheld: int
    erased: int
    witnesses: tuple[str, ...] = ()
    signed_entries: int = 0
    files: int = 0
    files_erased: int = 0
    outcomes: Mapping[str, Mapping[str, int]] = field(default_factory=dict)

    def lines(self) -> list[str]:
        """The report, line by line."""
        return [
            f"nothing is wrong with this dossier: {_count(self.balls, 'ball')}, {_count(self.entries, 'entry')}",
            f"book: {self.book}, {_count(self.tree_size, 'entry')} at its checkpoint",
            f"scope, as stated: {self.scope}",
            "",
            "checked:",
            *(f"  - {line}" for line in self._checked()),
            "",
            "not checked:",
            *(f"  - {line}" for line in self._not_checked()),
            "",
            "verdicts, by the worst of each ball (the maker's own assessment, not an approval):",
            *(self._verdicts() or ["  - none: the dossier holds no rulebook"]),
        ]

    def _checked(self) -> list[str]:
        key = "given to this check" if self.key_given else "introduced in the book by an entry that is proved here"
        lines = [
            f"the manifest is signed by {self.signed_by}, a key {key}",
            "every file has the digest that the manifest states, and there is no other file",
            "the checkpoint is signed by the book's key that was given",
            "every entry stands in the book under that checkpoint, byte for byte",
            f"sealed fields: {self.opened} opened and as sealed, {self.withheld} withheld, {self.erased} erased",
            "every sheet says what its entries say, corrections included: facts, lots with certainty, readings",
            "every verdict follows from those readings by the rulebooks in the dossier",
            "every verdict by the rule of the house follows from them by the newest release policy in the dossier, if any",
        ]
        if self.witnesses:
            lines.append(f"the checkpoint is cosigned by {', '.join(self.witnesses)}")
        return lines

    def _not_checked(self) -> list[str]:
        lines = [
            "whether what was written down is true",
            "whether the book holds further entries about these balls that were left out",
            "whether the rulebooks are those of the bodies they name, and current",
        ]
        if not self.witnesses:
            lines.append("whether others were shown another head of this book: no cosignature by a known witness")
        if self.withheld or self.erased:
            lines.append("the values of withheld and erased fields")
        if self.files:
            lines.append(
                f"the files of claims, named by their SHA-256: {self.files}, of which {self.files_erased} erased"
            )
        if self.signed_entries:
            lines.append(f"the stations' own signatures on {_count(self.signed_entries, 'entry')}")
        return lines

    def _verdicts(self) -> list[str]:
        return [
            f"  - {rulebook}: " + ", ".join(f"{OUTCOME_WORDS[outcome]} {number}" for outcome, number in counts.items())
            for rulebook, counts in self.outcomes.items()
        ]


def _count(number: int, word: str) -> str:
    many = f"{word[:-1]}ies" if word.endswith("y") else f"{word}s"
    return f"{number:,} {word if number == 1 else many}"
