"""Checking a dossier with nothing but the file and what the reader trusts: no service, no network, no clock of its own.

The steps, in this order; the first thing that is wrong is raised, and names the file and the field:

1. the archive has its one form, and holds the files of `dossier_format` in their order and no other;
2. the manifest has its one form and is signed by a dossier key;
3. every file has its digest;
4. the checkpoint is signed by the book's key, which must be among those given and speak for that size of the book, and
   cosigned as the reader's policy asks; time stamps are over it;
5. each entry stands under that checkpoint by its receipt, follows the entry before it where that is here too, and its
   opened fields fit what was sealed; then, stations' signatures on them are by keys that the book knew then; none is younger
   than a cosignature or a time stamp;
6. the keys are those that entries introduce, and both signing keys speak for this size of the book;
7. each lot's page leads to the root that its closing states;
8. each ball's sheet is what the entries give when they are folded anew: facts, lots, readings, verdicts; and so are its
   events and its credential, and its place in its lot;
9. whole lots are whole, the table of verdicts and the approval file are what sheets and entries give; what closed lots
   show of the lists that samples were drawn from is told.

Right but unopened fields are *withheld* or *erased*: outcomes of their own, not faults. Parts of steps 3, 5 and 8 may be done by several at once
(`hands`): they are told, and fail, as if done one after another. Memory is about 300 bytes a file
and the rows of the lots, whatever the file claims of itself; nothing is ever unpacked. Raises only LedgerErrors:
MalformedDossier for what cannot be read, DossierRejected for what is read and wrong.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import BinaryIO

from ledger.book.signing import Verifier
from ledger.conformity.rulebook import parse_rulebook
from ledger.conformity.toml_text import LARGEST_FILE
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.archive import Archive
from ledger.evidence.ball_sheet import DatedRulebook
from ledger.evidence.balls_check import BallsCheck
from ledger.evidence.dossier_format import MAX_RULEBOOKS, MAX_TEXT_BYTES, VERIFY_PAGE
from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.entry_read import ProvedEntries
from ledger.evidence.files import verify_page
from ledger.evidence.first_fault import naming_file
from ledger.evidence.hands import ONE_HAND, Hands
from ledger.evidence.lot_check import gone_balls
from ledger.evidence.parts_check import PartsCheck
from ledger.evidence.pdf_check import NO_REPORT, check_report
from ledger.evidence.proving import (
    OpenedDossier,
    checking_digests,
    open_dossier,
    prove_entries,
    prove_head,
    prove_keys,
    proved_report,
    read_errors,
)
from ledger.evidence.report import DossierReport
from ledger.evidence.sheet_check import SheetCheck
from ledger.evidence.trust import Trust


def check_dossier(file: BinaryIO, trust: Trust | Iterable[Verifier | str], hands: Hands = ONE_HAND) -> DossierReport:
    """Check a dossier by what the reader trusts, or by keys alone; the report says what was checked and what was not.

    ``hands``: who does what may be done beside other things; the report and the faults are the same whoever does.
    Raises MalformedDossier or DossierRejected naming the first thing that is wrong; MalformedKey for a key given that is
    none.
    """
    trusted = trust if isinstance(trust, Trust) else Trust(keys=list(trust))
    with read_errors():
        return _check(open_dossier(file, trusted), trusted, hands)


def _check(opened: OpenedDossier, trust: Trust, hands: Hands) -> DossierReport:
    archive, layout, manifest = opened.archive, opened.layout, opened.manifest
    with checking_digests(opened, hands):
        head = prove_head(opened, trust)
        rulebooks = list(_rulebooks(archive, layout.rulebooks))
        proved = ProvedEntries(archive)
        parts = PartsCheck(archive, layout, head.checkpoint, proved)
        gone = gone_balls(archive, layout.lots)
        facts = EntryFacts(lambda unit: unit in gone or f"balls/{unit}.json" in archive)
        found = prove_entries(opened, head, facts, parts.takers())
    prove_keys(opened, head, facts, found, hands=hands, now_ms=trust.now_ms)
    parts.settle(facts, rulebooks, trust.now_ms)
    balls = BallsCheck(layout.units, SheetCheck(archive, facts, rulebooks, proved), parts, rulebooks)
    balls.check(hands)
    lots = parts.finish(manifest.scope, facts)
    printed = check_report(archive, manifest, opened.signer) if layout.report else NO_REPORT
    return replace(
        proved_report(opened, head, found),
        lots=lots,
        is_our_page=archive.read(VERIFY_PAGE, MAX_TEXT_BYTES) == verify_page(),
        parts=parts.words | printed.words(),
        report_left=printed.left,
        candidates_left=parts.candidates_left,
        outcomes=balls.outcomes,
    )


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
