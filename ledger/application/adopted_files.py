"""The rulebooks and checklists at hand: those that ship, and the plant's own, whose files lie among the blobs.

A file of the plant's is in force by a record that names its digest, and is looked up by that digest.  One that is not
here, is no such file, or bears another id than it was adopted under, is passed over: nothing is judged by it, and a release
that would rest on it is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET, UnsetType

from ledger.conformity.checklist import Checklist, parse_checklist, shipped_checklists
from ledger.conformity.rulebook import RulebookFile, shipped_rulebooks
from ledger.conformity.shelf import Shelf, read_own_rulebook
from ledger.errors import MalformedRulebook, NotFound
from ledger.line.rows import ChecklistRow, RulebookRow
from ledger.store.blobs import read_blobs
from ledger.store.reader import Reader
from ledger.store.selections import every_row

_KEPT = 256
"""Files, and shelves of files, of which this process remembers what they say."""


class RulebooksHere(NamedTuple):
    """A shelf of rulebooks, and the digest of the edition that each name was adopted with last."""

    shelf: Shelf
    adopted: Mapping[str, str]

    def find(self, name: str) -> RulebookFile:
        """The edition of that name, or of that digest (64 lower hex digits), adopted or shipped. Raises NotFound."""
        if len(name) == 64:
            return self.shelf.find_digest(name)
        found = self.shelf.find(name)
        if not self._is_named(found):
            raise NotFound(
                f"the file of rulebook {name} is not here",
                expected=f"the file with digest {self.adopted[name]}",
                where="rulebook",
                mend="send the file again (POST /rulebooks)",
            )
        return found

    def in_force(self, names: Sequence[str]) -> list[RulebookFile]:
        """The adopted editions of these names, in their order, as far as their files are here."""
        editions = {edition.rulebook.id: edition for edition in self.editions}
        found = [editions[name] for name in names if name in editions]
        return [edition for edition in found if self.adopted.get(edition.rulebook.id) == edition.digest]

    @property
    def editions(self) -> list[RulebookFile]:
        """The edition that each name finds, by name."""
        return [edition for edition in self.shelf.editions if self._is_named(edition)]

    def _is_named(self, edition: RulebookFile) -> bool:
        """Whether its name means this edition: an own name means the one adopted last, and no earlier one for want of it."""
        name = edition.rulebook.id
        return name in shipped_rulebooks() or self.adopted.get(name) == edition.digest


class OwnChecklist(NamedTuple):
    """A checklist of the plant's with the digest of its file."""

    digest: str
    checklist: Checklist


class ChecklistSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A checklist that the plant may work by; ``digest`` is that of the plant's own file, absent where it ships."""

    checklist: Checklist
    digest: str | UnsetType = UNSET


class _Read:
    """What files say, by digest: a digest stands for the same bytes for ever, so nothing here gets old."""

    def __init__(self, read: Callable[[bytes], Any]) -> None:
        self._read = read
        self._known: dict[str, Any] = {}

    def of(self, reader: Reader, digests: Sequence[str]) -> dict[str, Any]:
        """What each file that is stored says, None for one that is no such file; digests not stored are left out."""
        known = dict(self._known)
        found = {digest: known[digest] for digest in digests if digest in known}
        unread = [digest for digest in digests if digest not in found]
        for digest, raw in (read_blobs(reader.transaction, unread) if unread else {}).items():
            try:
                found[digest] = self._read(raw)
            except MalformedRulebook:
                found[digest] = None
            if len(self._known) >= _KEPT:
                self._known.clear()
            self._known[digest] = found[digest]
        return found


_rulebooks = _Read(read_own_rulebook)
_checklists = _Read(parse_checklist)
_shelves: dict[tuple[str, ...], Shelf] = {}


def rulebooks_here(reader: Reader) -> RulebooksHere:
    """The rulebooks that ship, and the plant's own as they were adopted. One query, and one for files not read before."""
    rows: list[RulebookRow] = every_row(reader.transaction, RulebookRow)
    shipped = {edition.digest for edition in shipped_rulebooks().values()}
    # The one in force comes last, so that its name finds it.
    own = sorted((row for row in rows if row.digest not in shipped), key=lambda row: not row.superseded)
    files = _rulebooks.of(reader, [row.digest for row in own])
    read: list[tuple[RulebookRow, RulebookFile | None]] = [(row, files.get(row.digest)) for row in own]
    editions = [file for row, file in read if file is not None and file.rulebook.id == row.rulebook]
    return RulebooksHere(_shelf(editions), {row.rulebook: row.digest for row in rows if not row.superseded})


def _shelf(editions: Sequence[RulebookFile]) -> Shelf:
    digests = tuple(edition.digest for edition in editions)
    shelf = _shelves.get(digests)
    if shelf is None:
        if len(_shelves) >= _KEPT:
            _shelves.clear()
        shelf = _shelves[digests] = Shelf(edition.raw for edition in editions)
    return shelf


def find_rulebook(reader: Reader, name: str) -> RulebookFile:
    """The edition of that name or digest, shipped or the plant's own. Raises NotFound."""
    return rulebooks_here(reader).find(name)


def own_checklists(reader: Reader) -> list[OwnChecklist]:
    """The plant's own checklists in force, by id, as far as their files are here."""
    rows: list[ChecklistRow] = [row for row in every_row(reader.transaction, ChecklistRow) if not row.superseded]
    files = _checklists.of(reader, [row.digest for row in rows])
    return [
        OwnChecklist(row.digest, checklist)
        for row in sorted(rows, key=lambda row: row.checklist)
        if (checklist := files.get(row.digest)) is not None and checklist.id == row.checklist
    ]


def checklist_by_digest(reader: Reader, digest: str) -> Checklist | None:
    """What a checklist's file says, superseded or not; None for one that is not here, or is none."""
    found: Checklist | None = _checklists.of(reader, [digest]).get(digest)
    return found


def checklists_seen(reader: Reader) -> tuple[ChecklistSeen, ...]:
    """Every checklist at hand: those that ship, then the plant's own."""
    own = own_checklists(reader)
    return (
        *(ChecklistSeen(checklist=checklist) for checklist in shipped_checklists().values()),
        *(ChecklistSeen(checklist=one.checklist, digest=one.digest) for one in own),
    )
