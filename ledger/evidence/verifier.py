"""Checking a dossier with nothing but the file and what the reader trusts: no service, no network, no clock of its own.

The steps, in this order; the first thing that is wrong is raised, and names the file and the field:

1. the archive has its one form, and holds the files of `dossier_format` in their order and no other;
2. the manifest has its one form and is signed by a dossier key;
3. every file has its digest;
4. the checkpoint is signed by the book's key, which must be among those given and speak for that size of the book, and
   cosigned as the reader's policy asks; time stamps are over it;
5. each entry stands under that checkpoint by its receipt, follows the entry before it where that is here too, and its
   opened fields fit what was sealed; a station's signature on it is by a key that the book knew then; none is younger than
   a cosignature or a time stamp;
6. the keys are those that entries introduce, and both signing keys speak for this size of the book;
7. each lot's page leads to the root that its closing states;
8. each ball's sheet is what the entries give when they are folded anew: facts, lots, readings, verdicts; and so are its
   events and its credential, and its place in its lot;
9. whole lots are whole, the table of verdicts and the approval file are what sheets and entries give; what closed lots
   show of the lists that samples were drawn from is told.

Right but unopened fields are *withheld* or *erased*: outcomes of their own, not faults. Memory is about 300 bytes a file
and the rows of the lots, whatever the file claims of itself; nothing is ever unpacked. Raises only LedgerErrors:
MalformedDossier for what cannot be read, DossierRejected for what is read and wrong.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import BinaryIO

from ledger.book.signing import Verifier
from ledger.conformity.rulebook import parse_rulebook
from ledger.conformity.toml_text import LARGEST_FILE
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.archive import Archive
from ledger.evidence.ball_sheet import DatedRulebook
from ledger.evidence.dossier_format import MAX_RULEBOOKS, MAX_TEXT_BYTES, VERIFY_PAGE
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.entry_check import SealedTally, check_entries
from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.entry_read import ProvedEntries
from ledger.evidence.files import verify_page
from ledger.evidence.first_fault import naming_entries, naming_file
from ledger.evidence.head_check import check_head, check_times
from ledger.evidence.keys_check import check_keys
from ledger.evidence.lot_check import gone_balls
from ledger.evidence.manifest_check import check_counts, check_digests, check_manifest
from ledger.evidence.parts_check import PartsCheck
from ledger.evidence.pdf_check import NO_REPORT, check_report
from ledger.evidence.report import Cosigned, DossierReport
from ledger.evidence.sheet_check import SheetCheck
from ledger.evidence.token_check import check_tokens
from ledger.evidence.trust import Trust


def check_dossier(file: BinaryIO, trust: Trust | Iterable[Verifier | str]) -> DossierReport:
    """Check a dossier by what the reader trusts, or by keys alone; the report says what was checked and what was not.

    Raises MalformedDossier or DossierRejected naming the first thing that is wrong; MalformedKey for a key given that is
    none.
    """
    trusted = trust if isinstance(trust, Trust) else Trust(keys=list(trust))
    terms = trusted.terms()
    given = [term.verifier for term in terms]
    with _read_errors():
        archive = Archive(file)
        layout = parse_layout(archive.names)
        manifest, keys, signer = check_manifest(archive, given)
        check_digests(archive, manifest)
        checkpoint, quorum = check_head(archive, manifest, terms, trusted.policy)
        tokens, tokens_why_not = check_tokens(archive, layout.tokens, checkpoint.note, trusted.roots)
        rulebooks = list(_rulebooks(archive, layout.rulebooks))
        proved = ProvedEntries(archive)
        parts = PartsCheck(archive, layout, checkpoint, proved)
        gone = gone_balls(archive, layout.lots)
        facts, tally = EntryFacts(lambda unit: unit in gone or f"balls/{unit}.json" in archive), SealedTally()
        check_entries(archive, layout.indexes, checkpoint, [facts, *parts.takers()], tally)
        check_times(tally.latest, checkpoint, tokens, trusted.now_ms)
        with naming_entries("entries"):
            facts.settle()
        check_keys(facts, keys, checkpoint, None if signer in given else signer)
        check_counts(manifest.counts, layout.counts(tally.outcomes))
        parts.settle(facts, rulebooks, trusted.now_ms)
        sheets = SheetCheck(archive, facts, rulebooks, proved)
        for ball in sheets.check(layout.units):
            parts.take_ball(ball)
        lots = parts.finish(manifest.scope, facts)
        printed = check_report(archive, manifest, signer) if layout.report else NO_REPORT
        is_our_page = archive.read(VERIFY_PAGE, MAX_TEXT_BYTES) == verify_page()
    return DossierReport(
        book=manifest.book,
        tree_size=manifest.tree_size,
        scope=manifest.scope,
        signed_by=signer.name,
        key_given=signer in given,
        counts=manifest.counts,
        cosigned=tuple(Cosigned(line.verifier.name, line.at_seconds or 0) for line in checkpoint.cosignatures),
        quorum=quorum,
        tokens=tokens,
        tokens_why_not=tokens_why_not,
        lots=lots,
        is_our_page=is_our_page,
        parts=parts.words | printed.words(),
        report_left=printed.left,
        candidates_left=parts.candidates_left,
        signed_entries=tally.signed_entries,
        files=tally.files.named,
        files_erased=tally.files.erased,
        outcomes=sheets.outcomes,
    )


@contextmanager
def _read_errors() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise MalformedDossier(f"file cannot be read: {error.strerror}") from error


def _rulebooks(archive: Archive, digests: Sequence[str]) -> Iterator[DatedRulebook]:
    if len(digests) > MAX_RULEBOOKS:
        raise MalformedDossier("dossier holds too many rulebooks", expected=f"at most {MAX_RULEBOOKS}")
    for digest in digests:
        name = f"rulebooks/{digest}.toml"
        raw = archive.read(name, LARGEST_FILE)
        if hashlib.sha256(raw).hexdigest() != digest:
            raise DossierRejected("rulebook is not the one that its name says", where=name)
        with naming_file(name):
            yield DatedRulebook(digest, parse_rulebook(raw, "rulebook"))
