"""Checking a dossier with nothing but the file and the keys that the reader trusts: no service, no network, no clock.

The steps, in this order; the first thing that is wrong is raised, and names the file and the field:

1. the archive has its one form, and holds the files of `dossier_format` in their order and no other;
2. the manifest has its one form and is signed by a dossier key;
3. every file has its digest;
4. the checkpoint is signed by the book's key, which must be among those given;
5. each entry stands under that checkpoint by its receipt, follows the entry before it where that is here too, and its
   opened fields fit what was sealed;
6. the keys are those that entries introduce, and both signing keys speak for this size of the book;
7. each ball's sheet is what the entries give when they are folded anew: facts, lots, readings, verdicts.

Right but unopened fields are *withheld* or *erased*: outcomes of their own, not faults. Memory is about 300 bytes a file
and the rows of the lots, whatever the file claims of itself; nothing is ever unpacked. Raises only LedgerErrors:
MalformedDossier for what cannot be read, DossierRejected for what is read and wrong.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import BinaryIO

import msgspec

from ledger.book.checkpoint import Checkpoint, check_checkpoint
from ledger.book.note import MAX_NOTE_BYTES, check_note
from ledger.book.signing import Verifier, format_verifier, parse_verifier
from ledger.conformity.rulebook import parse_rulebook
from ledger.conformity.toml_text import LARGEST_FILE
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.archive import Archive
from ledger.evidence.ball_sheet import DatedRulebook
from ledger.evidence.dossier import key_lines
from ledger.evidence.dossier_format import (
    CHECKPOINT,
    FORMAT,
    KEYS,
    MANIFEST,
    MAX_KEYS_BYTES,
    MAX_RULEBOOKS,
    SIGNATURE,
    SUMS,
    KeyLine,
    Manifest,
    parse_page,
    signed_text,
)
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.entry_check import SealedTally, check_entries
from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.first_fault import naming_entries, naming_file
from ledger.evidence.report import DossierReport
from ledger.evidence.sheet_check import SheetCheck
from ledger.line.rows import BookKey

_MAX_MANIFEST_BYTES = 65_536


class _Version(msgspec.Struct):
    v: int


def check_dossier(file: BinaryIO, verifier_keys: Iterable[Verifier | str]) -> DossierReport:
    """Check a dossier; the report says what was checked and what was not.

    ``verifier_keys``: the verifier line of the book's checkpoint key, and, if known, those of witnesses and of the
    dossier key. Raises MalformedDossier or DossierRejected naming the first thing that is wrong; MalformedKey for a key
    given that is none.
    """
    given = [parse_verifier(key) if isinstance(key, str) else key for key in verifier_keys]
    with _read_errors():
        archive = Archive(file)
        layout = parse_layout(archive.names)
        manifest, keys, signer = _check_manifest(archive, given)
        _check_digests(archive, manifest)
        checkpoint = _check_head(archive, manifest, given)
        rulebooks = list(_rulebooks(archive, layout.rulebooks))
        facts, tally = EntryFacts(lambda unit: f"balls/{unit}.json" in archive), SealedTally()
        check_entries(archive, layout.indexes, checkpoint, facts, tally)
        with naming_entries("entries"):
            facts.settle()
        _check_keys(facts, keys, checkpoint, None if signer in given else signer)
        counted = (len(layout.units), len(layout.indexes), len(rulebooks), *tally.outcomes.values())
        _check_counts(manifest, counted)
        sheets = SheetCheck(archive, facts, rulebooks)
        for unit in layout.units:
            sheets.check(unit)
    return DossierReport(
        book=manifest.book,
        tree_size=manifest.tree_size,
        scope=manifest.scope,
        signed_by=signer.name,
        key_given=signer in given,
        balls=manifest.balls,
        entries=manifest.entries,
        **tally.outcomes,
        witnesses=tuple(line.verifier.name for line in checkpoint.cosignatures),
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


def _check_manifest(archive: Archive, given: Sequence[Verifier]) -> tuple[Manifest, tuple[KeyLine, ...], Verifier]:
    raw = archive.read(MANIFEST, _MAX_MANIFEST_BYTES)
    try:
        version = msgspec.json.decode(raw, type=_Version).v
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise MalformedDossier("file has another shape", got=str(error), where=MANIFEST) from error
    if version != FORMAT:
        mend = "use a Pourbook that knows this format"
        raise MalformedDossier("dossier has another format", expected=FORMAT, got=version, where=MANIFEST, mend=mend)
    manifest = parse_page(raw, Manifest, MANIFEST)
    keys = parse_page(archive.read(KEYS, MAX_KEYS_BYTES), tuple[KeyLine, ...], KEYS)
    with naming_file(KEYS):
        stated = [parse_verifier(line.verifier) for line in keys if line.purpose == "dossier"]
    with naming_file(SIGNATURE):
        note = check_note(archive.read(SIGNATURE, MAX_NOTE_BYTES), list(dict.fromkeys([*given, *stated])))
        expected = signed_text(manifest.book, hashlib.sha256(raw).hexdigest())
        if note.text != expected:
            raise DossierRejected("signature is over another manifest", where=SIGNATURE)
        if note.unknown or len(note.signatures) != 1:
            raise DossierRejected("manifest has other signatures", expected="one, by a dossier key", where=SIGNATURE)
    return manifest, keys, note.signatures[0].verifier


def _check_digests(archive: Archive, manifest: Manifest) -> None:
    if _digest(archive, SUMS) != manifest.sums:
        raise DossierRejected("file has another digest than the manifest states", where=SUMS)
    names = archive.names[:-3]
    lines = archive.lines(SUMS, 200)
    for name in names:
        line = next(lines, b"")
        digest, _, stated = line.decode("ascii", "replace").partition("  ")
        if stated != name:
            raise DossierRejected("digest is of another file", expected=name, got=stated, where=SUMS)
        if _digest(archive, name) != digest:
            raise DossierRejected("file has another digest than SHA256SUMS states", where=name)
    if next(lines, None) is not None:
        raise DossierRejected("digests of files that are not here", where=SUMS)


def _digest(archive: Archive, name: str) -> str:
    digest = hashlib.sha256()
    for block in archive.digest_blocks(name):
        digest.update(block)
    return digest.hexdigest()


def _check_head(archive: Archive, manifest: Manifest, given: Sequence[Verifier]) -> Checkpoint:
    with naming_file(CHECKPOINT):
        checkpoint = check_checkpoint(archive.read(CHECKPOINT, MAX_NOTE_BYTES), given, manifest.book)
    if checkpoint.tree_size != manifest.tree_size:
        raise DossierRejected(
            "manifest states another size", expected=checkpoint.tree_size, got=manifest.tree_size, where=MANIFEST
        )
    return checkpoint


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


def _check_keys(facts: EntryFacts, keys: Sequence[KeyLine], checkpoint: Checkpoint, signer: Verifier | None) -> None:
    """The key history follows from the entries; the checkpoint key, and the dossier key unless given, have a term."""
    rows = facts.rows.all_of(BookKey)
    if key_lines(rows) != tuple(keys):
        raise DossierRejected("keys are not those that the entries introduce", where=KEYS)
    log = [line.verifier for line in checkpoint.log_signatures]
    wanted = [("checkpoint", verifier) for verifier in log]
    if signer is not None:
        wanted.append(("dossier", signer))
    for purpose, verifier in wanted:
        row = next((row for row in rows if (row.purpose, row.verifier) == (purpose, format_verifier(verifier))), None)
        if row is None:
            raise DossierRejected(f"no entry here introduces the {purpose} key", got=verifier.name, where=KEYS)
        if not row.from_size <= checkpoint.tree_size or (
            row.to_size is not None and row.to_size < checkpoint.tree_size
        ):
            term = f"{row.from_size} to {'now' if row.to_size is None else row.to_size}"
            raise DossierRejected(
                f"{purpose} key does not speak for this size",
                expected=term,
                got=checkpoint.tree_size,
                where=verifier.name,
            )


def _check_counts(manifest: Manifest, counted: tuple[int, ...]) -> None:
    names = ("balls", "entries", "rulebooks", "opened", "withheld", "erased")
    for name, count in zip(names, counted, strict=True):
        if getattr(manifest, name) != count:
            raise DossierRejected("manifest counts otherwise", expected=count, got=getattr(manifest, name), where=name)
