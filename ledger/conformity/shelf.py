"""The rulebooks at hand: those that ship, and a plant's own by the bytes of their files.

A name may have several own editions, known apart by digest; the one put last is the one that the name finds, as the
adoption of an edition supersedes the earlier one.  No own rulebook bears the name of one that ships: a limit of a body
is not to be passed off as another.
"""

from __future__ import annotations

from collections.abc import Iterable

from ledger.conformity.rulebook import RulebookFile, read_rulebook, shipped_rulebooks
from ledger.errors import MalformedRulebook, NotFound


class Shelf:
    """Rulebooks by id and by digest; it never changes."""

    def __init__(self, own: Iterable[bytes] = ()) -> None:
        """Put the shipped rulebooks there, and the plant's own in the order of their adoption.

        Raises MalformedRulebook for a file that is no rulebook, or bears the id of a shipped one.
        """
        shipped = shipped_rulebooks()
        self._by_name = dict(shipped)
        self._by_digest = {edition.digest: edition for edition in shipped.values()}
        for raw in own:
            edition = read_own_rulebook(raw)
            self._by_name[edition.rulebook.id] = edition
            self._by_digest[edition.digest] = edition

    @property
    def editions(self) -> tuple[RulebookFile, ...]:
        """The edition that each name finds, by name."""
        return tuple(edition for _, edition in sorted(self._by_name.items()))

    def find(self, name: str) -> RulebookFile:
        """The edition of that name. Raises NotFound."""
        found = self._by_name.get(name)
        if found is None:
            raise NotFound(
                f"no rulebook {name}",
                expected="one of " + ", ".join(sorted(self._by_name)),
                where="rulebook",
                mend="use one of the ids listed",
            )
        return found

    def find_digest(self, digest: str) -> RulebookFile:
        """The edition whose file has that SHA-256 (64 lower hex digits), superseded or not. Raises NotFound."""
        found = self._by_digest.get(digest)
        if found is None:
            raise NotFound(
                f"no rulebook with digest {digest}", where="digest", mend="give the file of that edition to the service"
            )
        return found


def read_own_rulebook(raw: bytes, where: str = "rulebook") -> RulebookFile:
    """A plant's own rulebook from its file.

    Raises MalformedRulebook for a file that is no rulebook, or bears the id of a shipped one without being its file.
    """
    edition = read_rulebook(raw, where)
    shipped = shipped_rulebooks().get(edition.rulebook.id)
    if shipped is not None and shipped.digest != edition.digest:
        raise MalformedRulebook(
            f"id {edition.rulebook.id} is that of a rulebook that ships",
            expected="an id of the plant's own",
            got=edition.rulebook.id,
            where=where,
            mend="give the plant's rulebook another id",
        )
    return edition
