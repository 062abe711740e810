"""The first half of every check of a dossier: its seal, the head of its book, and that its entries stand under that head."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from typing import BinaryIO

from ledger.book.checkpoint import Checkpoint
from ledger.book.signing import Verifier
from ledger.errors import MalformedDossier
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import KeyLine, Manifest
from ledger.evidence.dossier_layout import Layout, parse_layout
from ledger.evidence.entry_check import EntriesFound, EntryTaker, check_entries
from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.first_fault import naming_entries
from ledger.evidence.hands import Hands
from ledger.evidence.head_check import check_head, check_times
from ledger.evidence.keys_check import check_keys
from ledger.evidence.manifest_check import Digests, check_counts, check_manifest
from ledger.evidence.report import Cosigned, DossierReport
from ledger.evidence.token_check import TokenFound, check_tokens
from ledger.evidence.trust import Trust


@dataclass(frozen=True, slots=True)
class OpenedDossier:
    """A dossier whose archive has its one form and whose manifest is signed by ``signer``; its files are not checked.

    ``given``: the verifiers that the reader trusts; ``keys``: what the dossier states of the book's.
    """

    archive: Archive
    layout: Layout
    manifest: Manifest
    keys: tuple[KeyLine, ...]
    signer: Verifier
    given: tuple[Verifier, ...]

    @property
    def key_given(self) -> bool:
        """Whether the key that signed was given by the reader."""
        return self.signer in self.given


@dataclass(frozen=True, slots=True)
class ProvedHead:
    """The head of the book that a dossier is under.

    ``quorum``: what the policy asks for, in words; ``tokens_why_not``: why time stamps were not checked.
    """

    checkpoint: Checkpoint
    quorum: str
    tokens: tuple[TokenFound, ...]
    tokens_why_not: str

    @property
    def cosigned(self) -> tuple[Cosigned, ...]:
        """The witnesses, and when each says that it cosigned."""
        return tuple(Cosigned(line.verifier.name, line.at_seconds or 0) for line in self.checkpoint.cosignatures)


def open_dossier(file: BinaryIO, trust: Trust) -> OpenedDossier:
    """Read what a dossier holds, and who sealed it. Raises MalformedDossier, DossierRejected; MalformedKey for a key given."""
    given = tuple(term.verifier for term in trust.terms())
    archive = Archive(file)
    layout = parse_layout(archive.names)
    manifest, keys, signer = check_manifest(archive, given)
    return OpenedDossier(archive, layout, manifest, keys, signer, given)


def checking_digests(opened: OpenedDossier, hands: Hands) -> AbstractContextManager[None]:
    """Check that every file has its digest, before what is inside the with statement or beside it (`Hands.beside`)."""
    digests = Digests(opened.archive, opened.manifest)
    return hands.beside(digests.check, digests.parts)


def prove_head(opened: OpenedDossier, trust: Trust) -> ProvedHead:
    """Check the checkpoint, its cosignatures and its time stamps. Raises MalformedDossier or DossierRejected."""
    checkpoint, quorum = check_head(opened.archive, opened.manifest, trust.terms(), trust.policy)
    tokens, why_not = check_tokens(opened.archive, opened.layout.tokens, checkpoint.note, trust.roots)
    return ProvedHead(checkpoint, quorum, tuple(tokens), why_not)


def prove_entries(
    opened: OpenedDossier, head: ProvedHead, facts: EntryFacts, takers: Iterable[EntryTaker] = ()
) -> EntriesFound:
    """Check that the entries stand under the head, and tell them to ``facts`` and ``takers``. Raises as `prove_head`."""
    return check_entries(opened.archive, opened.layout.indexes, head.checkpoint, [facts, *takers])


def prove_keys(
    opened: OpenedDossier, head: ProvedHead, facts: EntryFacts, found: EntriesFound, *, hands: Hands, now_ms: int | None
) -> None:
    """Check stations' signatures, times, the keys of the book and the counts; settles ``facts``. Raises as `prove_head`."""
    for _ in hands.each(found.stations.check, found.stations.parts):
        pass
    check_times(found.tally.latest, head.checkpoint, head.tokens, now_ms)
    with naming_entries("entries"):
        facts.settle()
    check_keys(facts, opened.keys, head.checkpoint, None if opened.key_given else opened.signer)
    check_counts(opened.manifest.counts, opened.layout.counts(found.tally.outcomes))


def proved_report(opened: OpenedDossier, head: ProvedHead, found: EntriesFound) -> DossierReport:
    """What a report says once this half is right; what is made anew is to be added."""
    manifest = opened.manifest
    return DossierReport(
        book=manifest.book,
        tree_size=manifest.tree_size,
        scope=manifest.scope,
        signed_by=opened.signer.name,
        key_given=opened.key_given,
        counts=manifest.counts,
        cosigned=head.cosigned,
        quorum=head.quorum,
        tokens=head.tokens,
        tokens_why_not=head.tokens_why_not,
        signed_entries=found.stations.signatures,
        files=found.tally.files.named,
        files_erased=found.tally.files.erased,
    )


@contextmanager
def read_errors() -> Iterator[None]:
    """Let a file that cannot be read be MalformedDossier."""
    try:
        yield
    except OSError as error:
        raise MalformedDossier(f"file cannot be read: {error.strerror}") from error
