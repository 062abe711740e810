"""Which edition of a rulebook was in force at a place in the book: what was judged then was judged by that one."""

from __future__ import annotations

from functools import cached_property

from ledger.application.adopted_files import rulebooks_here
from ledger.conformity.rulebook import RulebookFile
from ledger.conformity.same_limits import same_limits
from ledger.errors import NotFound
from ledger.line.fact import parse_address
from ledger.line.models import RulebookAdopted
from ledger.store.reader import Reader


class EditionsThen:
    """The adoptions of a rulebook, held against the edition that judges now. Nothing is read before the first question."""

    def __init__(self, reader: Reader, now: RulebookFile) -> None:
        """``now``: the edition by which a ball is judged."""
        self._reader = reader
        self._now = now

    @cached_property
    def _adopted(self) -> list[tuple[tuple[int, int], str]]:
        facts = self._reader.facts_about(f"rulebook:{self._now.rulebook.id}")
        return [
            (parse_address(fact.address), fact.record.digest)
            for fact in facts
            if isinstance(fact.record, RulebookAdopted)
        ]

    def changed_since(self, fact: str, quantity: str) -> str:
        """Why a judgement entered as a fact does not hold under the edition of now for a quantity; empty where it does."""
        place, name = parse_address(fact), self._now.rulebook.id
        digests = [digest for adopted, digest in self._adopted if adopted < place]
        if not digests:
            return f"it was judged before {name} was adopted"
        if digests[-1] == self._now.digest:
            return ""
        try:
            then = rulebooks_here(self._reader).shelf.find_digest(digests[-1])
        except NotFound:
            return f"it was judged by another edition of {name}, whose file is not here"
        if same_limits(then.rulebook, self._now.rulebook, quantity):
            return ""
        return f"it was judged while edition {then.rulebook.edition} of {name} was in force, which limits {quantity} otherwise"
