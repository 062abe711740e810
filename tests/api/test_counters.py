"""What a service counts: groups, entries, repeats, refusals and problems by code."""

from __future__ import annotations

import re
from concurrent.futures import Future

from api.counters import Counters
from ledger.errors import Contradiction
from ledger.store.answer import Entered, Settled


def _entered(*, repeated: bool = False) -> Settled:
    entered = Entered(
        index=1, addresses=("1.0",), breaches=((),), recorded_at="", entry_bytes=b"", receipt="", repeated=repeated
    )
    return Settled(Future(), entered, None)


def _count(text: str, name: str) -> int:
    found = re.search(rf"^{re.escape(name)} (\d+)$", text, re.MULTILINE)
    assert found is not None, name
    return int(found[1])


def test_a_group_is_counted_by_what_became_of_each() -> None:
    """Entered, entered before, refused under its code, or failed: each submission is one of these."""
    counters = Counters()
    refused = Settled(Future(), None, Contradiction("no", where="x", mend="y"))
    failed = Settled(Future(), None, RuntimeError("oops"))
    counters.add_group([_entered(), _entered(), _entered(repeated=True), refused, failed])
    counters.add_group([_entered()])
    text = counters.exposition()
    assert 3 == _count(text, "pourbook_entries_entered_total")
    assert 1 == _count(text, "pourbook_submissions_repeated_total")
    assert 1 == _count(text, f'pourbook_submissions_refused_total{{code="{Contradiction.code}"}}')
    assert 1 == _count(text, 'pourbook_submissions_refused_total{code="internal-error"}')
    assert [1, 1, 1, 2, 2] == [
        _count(text, f'pourbook_group_submissions_bucket{{le="{bound}"}}') for bound in (1, 2, 4, 8, "+Inf")
    ]
    assert (6, 2) == (_count(text, "pourbook_group_submissions_sum"), _count(text, "pourbook_group_submissions_count"))


def test_problems_are_counted_by_code() -> None:
    """The only label is the code."""
    counters = Counters()
    for code in ("not-found", "not-found", "access-denied"):
        counters.add_problem(code)
    text = counters.exposition()
    assert 2 == _count(text, 'pourbook_problems_total{code="not-found"}')
    assert {"code", "le"} == set(re.findall(r"(\w+)=\"", text))
