"""What a service counts of its own work, in Prometheus text form (exposition format 0.0.4); it starts anew with the process.

Codes of problems are the only labels: no account, ball or address is among them.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate

from ledger.errors import LedgerError
from ledger.store.answer import Settled

GROUP_BOUNDS = (1, 2, 4, 8, 16, 32, 64, 128, 256)
"""Upper bounds, inclusive, of the sizes of groups; a group holds at most 256 submissions."""


class Counters:
    """Counts of groups, entries, refusals and problems; a count is only ever added to, each by one thread."""

    def __init__(self) -> None:
        """Start empty."""
        self._groups = [0] * (len(GROUP_BOUNDS) + 1)
        self._submissions = self._entries = self._repeats = 0
        self._refusals: Counter[str] = Counter()
        self._problems: Counter[str] = Counter()

    def add_group(self, settled: Sequence[Settled]) -> None:
        """Count a group of the writer; called on its thread."""
        self._groups[bisect_left(GROUP_BOUNDS, len(settled))] += 1
        self._submissions += len(settled)
        for one in settled:
            if one.error is not None:
                self._refusals[one.error.code if isinstance(one.error, LedgerError) else "internal-error"] += 1
            elif one.entered is not None and one.entered.repeated:
                self._repeats += 1
            else:
                self._entries += 1

    def add_problem(self, code: str) -> None:
        """Count an answer that was a problem; called on the event loop."""
        self._problems[code] += 1

    def exposition(self) -> str:
        """All counts as Prometheus reads them."""
        lines = [
            *_counter("entries_entered", "Entries that this process entered.", {"": self._entries}),
            *_counter("submissions_repeated", "Submissions that had been entered before.", {"": self._repeats}),
            *_counter("submissions_refused", "Submissions that the writer refused, by code.", self._refusals),
            *_counter("problems", "Answers that were problems, by code.", self._problems),
            *self._group_sizes(),
        ]
        return "\n".join(lines) + "\n"

    def _group_sizes(self) -> list[str]:
        name = "pourbook_group_submissions"
        totals = list(accumulate(self._groups))
        bounds = [*map(str, GROUP_BOUNDS), "+Inf"]
        return [
            f"# HELP {name} Submissions that were committed together.",
            f"# TYPE {name} histogram",
            *(f'{name}_bucket{{le="{bound}"}} {total}' for bound, total in zip(bounds, totals, strict=True)),
            f"{name}_sum {self._submissions}",
            f"{name}_count {totals[-1]}",
        ]


def read_store_counts(answers: Counter[str]) -> str:
    """What might have been old, by who answered, as Prometheus reads it."""
    words = "Questions that might be answered late, by who answered: standby, or the primary for this reason."
    return "\n".join(_counter("read_store_answers", words, answers)) + "\n"


def _counter(name: str, words: str, counts: dict[str, int]) -> list[str]:
    full = f"pourbook_{name}_total"
    rows = [f'{full}{{code="{code}"}} {count}' if code else f"{full} {count}" for code, count in sorted(counts.items())]
    return [f"# HELP {full} {words}", f"# TYPE {full} counter", *rows]
