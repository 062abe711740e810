"""The seal of a dossier alone: that no byte has changed since it was made, and what others signed of the book then.

The first four steps of `verifier`, for a large file that was checked whole before, or will be: a hash of every byte and a
few signatures.  What the entries say, and whether they stand in the book, is not looked at, and the report says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, BinaryIO

from ledger.evidence.archive import Archive
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.head_check import check_head
from ledger.evidence.manifest_check import check_digests, check_manifest
from ledger.evidence.report import Line
from ledger.evidence.token_check import TokenFound, check_tokens
from ledger.evidence.trust import Trust


@dataclass(frozen=True, slots=True, kw_only=True)
class SealReport:
    """A dossier whose seal is right. ``key_given``: the key that sealed it was given, and is not only stated by it."""

    book: str
    tree_size: int
    files: int
    signed_by: str
    key_given: bool
    cosigned: tuple[str, ...]
    quorum: str
    tokens: tuple[TokenFound, ...]
    tokens_why_not: str

    def checked(self) -> list[Line]:
        """What was checked and is right."""
        lines = [
            Line("archive", "the archive is in its one form and holds nothing else"),
            Line("digests", f"each of {self.files:,} files has the digest that the sealed list states"),
            Line("head", f"the checkpoint of {self.tree_size:,} entries is signed by the book's key"),
        ]
        if self.key_given:
            lines.append(Line("seal", f"the list is sealed by {self.signed_by}, a key that was given"))
        if self.cosigned:
            lines.append(Line("witnesses", f"the checkpoint is cosigned by {', '.join(self.cosigned)}"))
        if self.quorum:
            lines.append(Line("quorum", self.quorum))
        if self.tokens:
            lines.append(Line("time", f"{len(self.tokens)} time stamps are over that checkpoint"))
        return lines

    def not_checked(self) -> list[Line]:
        """What only the whole check tells."""
        lines = [
            Line("entries", "entries, receipts, sheets and verdicts: check the dossier without --seal-only for these")
        ]
        if not self.key_given:
            lines.insert(0, Line("seal", f"whether {self.signed_by}, whose key sealed the list, belongs to the book"))
        if self.tokens_why_not:
            lines.append(Line("time", self.tokens_why_not))
        return lines

    def lines(self) -> list[str]:
        """The report in plain words."""
        return [
            f"the seal of this dossier is whole: book {self.book}",
            *(f"  checked: {line.words}" for line in self.checked()),
            *(f"not checked: {line.words}" for line in self.not_checked()),
        ]

    def as_json(self) -> dict[str, Any]:
        """The same for machines; field names and codes stay."""
        return {
            "ok": True,
            "seal_only": True,
            "book": self.book,
            "tree_size": self.tree_size,
            "signed_by": self.signed_by,
            "key_given": self.key_given,
            "checked": [line._asdict() for line in self.checked()],
            "not_checked": [line._asdict() for line in self.not_checked()],
        }


def check_seal(file: BinaryIO, trust: Trust) -> SealReport:
    """Check the seal of a dossier. Raises MalformedDossier or DossierRejected naming the first thing that is wrong.

    Reads and hashes the file twice over: once for the archive's own sums, once for the digests.
    """
    terms = trust.terms()
    given = [term.verifier for term in terms]
    archive = Archive(file)
    layout = parse_layout(archive.names)
    manifest, _, signer = check_manifest(archive, given)
    check_digests(archive, manifest)
    checkpoint, quorum = check_head(archive, manifest, terms, trust.policy)
    tokens, why_not = check_tokens(archive, layout.tokens, checkpoint.note, trust.roots)
    return SealReport(
        book=manifest.book,
        tree_size=manifest.tree_size,
        files=len(archive.names),
        signed_by=signer.name,
        key_given=signer in given,
        cosigned=tuple(line.verifier.name for line in checkpoint.cosignatures),
        quorum=quorum,
        tokens=tuple(tokens),
        tokens_why_not=why_not,
    )
