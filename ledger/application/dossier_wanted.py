"""A dossier as it is asked for: which balls, what stays sealed, which parts; and its way from there into a file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, BinaryIO

import msgspec
from msgspec import Meta

from ledger.application.credentials import Issuer
from ledger.application.dossier_approval import by_approval_file
from ledger.application.dossier_scope import Scoped, by_lots, by_selection, by_serials
from ledger.application.dossiers import USUAL_PARTS, DossierAsked, Part, Reporter, dossier_of
from ledger.book.signing import NoteSigner
from ledger.errors import MalformedRecord, TooLarge
from ledger.evidence.withholding import SEALINGS, Withholding
from ledger.line.record import Id
from ledger.store.reader import Reader
from ledger.store.selections import Selection

Serial = Annotated[str, Meta(min_length=1, max_length=40)]
Name = Annotated[str, Meta(min_length=1, max_length=80)]


class DossierWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which balls, by their numbers, as whole shell lots or as the samples of an approval file; what stays sealed for
    whoever gets the file; which parts.

    ``withhold`` names what is left closed: ``withheld`` (recipes, suppliers, consignees), ``erasable`` (people, notes), a
    group of fields (``recipe``, ``data-sheet``, ``suppliers``, ``consignees``, ``people``, ``notes``), or one field as
    ``entry/record/field``; ``open`` names, in the same way, what is opened all the same.
    ``parts``: without them all but the report, which is made only where it is named.
    """

    serials: tuple[Serial, ...] = ()
    lots: Annotated[tuple[Id, ...], Meta(max_length=1000)] = ()
    approval_file: Id | None = None
    withhold: Annotated[tuple[Name, ...], Meta(max_length=1000)] = SEALINGS
    open: Annotated[tuple[Name, ...], Meta(max_length=1000)] = ()
    parts: tuple[Part, ...] = USUAL_PARTS

    @property
    def withholding(self) -> Withholding:
        """What is left closed. Raises MalformedRecord for a name that is none."""
        return Withholding(self.withhold, self.open)

    def check(self) -> None:
        """Return if it names balls in one way, and fields that can be. Raises MalformedRecord."""
        if sum(map(bool, (self.serials, self.lots, self.approval_file))) != 1:
            raise MalformedRecord(
                "which balls is not said, or in two ways",
                expected="serials, lots or approval_file",
                where="serials",
                mend="name some numbers, or some shell lots, or an approval file",
            )
        Withholding(self.withhold, self.open)


@dataclass(frozen=True, slots=True, kw_only=True)
class DossierGiver:
    """Who gives dossiers: the newest checkpoint, the keys, where addresses of labels begin, and how reports are made.

    See `DossierAsked`.
    """

    note: bytes
    signer: NoteSigner
    stem: str = ""
    issuer: Issuer | None = None
    reporter: Reporter | None = None


def write_wanted(
    reader: Reader, out: BinaryIO, wanted: DossierWanted, giver: DossierGiver, *, most: int | None = None
) -> Scoped:
    """Write what is wanted to ``out``; see `dossier_of`. Raises MalformedRecord, NotFound, TooLarge above ``most`` balls."""
    wanted.check()
    approval = None
    if wanted.approval_file is not None:
        scoped, approval = by_approval_file(reader, wanted.approval_file)
    else:
        scoped = by_serials(reader, wanted.serials) if wanted.serials else by_lots(reader, wanted.lots)
    if most is not None and len(scoped.units) > most:
        raise TooLarge(
            "too many balls for one dossier over HTTP",
            expected=f"at most {most}",
            got=len(scoped.units),
            where="serials" if wanted.serials else "lots",
            mend="ask for several dossiers, or export on the server",
        )
    dossier_of(reader, scoped, out, _asked(wanted, giver), approval)
    return scoped


def write_selected(
    reader: Reader, out: BinaryIO, selection: Selection, wanted: DossierWanted, giver: DossierGiver
) -> Scoped:
    """Write the dossier of a selection; one that names a shell lot and nothing else is of the whole lot."""
    is_lot = selection.lot is not None and selection == Selection(lot=selection.lot)
    scoped = by_lots(reader, [selection.lot or ""]) if is_lot else by_selection(reader, selection)
    dossier_of(reader, scoped, out, _asked(wanted, giver))
    return scoped


def _asked(wanted: DossierWanted, giver: DossierGiver) -> DossierAsked:
    return DossierAsked(
        note=giver.note,
        signer=giver.signer,
        withholding=wanted.withholding,
        parts=wanted.parts,
        stem=giver.stem,
        issuer=giver.issuer,
        reporter=giver.reporter,
    )
