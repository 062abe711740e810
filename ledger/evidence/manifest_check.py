"""The manifest of a dossier: its form, its signature, and that the files and fields are those that it states."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import msgspec

from ledger.book.note import MAX_NOTE_BYTES, check_note
from ledger.book.signing import Verifier, parse_verifier
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import (
    FORMAT,
    KEYS,
    MANIFEST,
    MAX_KEYS_BYTES,
    SIGNATURE,
    SUMS,
    Counts,
    KeyLine,
    Manifest,
    parse_page,
    signed_text,
)
from ledger.evidence.first_fault import naming_file

_MAX_MANIFEST_BYTES = 2_000_000
_LONGEST_SUM = 200


class _Version(msgspec.Struct):
    v: int


def check_manifest(archive: Archive, given: Sequence[Verifier]) -> tuple[Manifest, tuple[KeyLine, ...], Verifier]:
    """The manifest, the keys that the dossier states, and the dossier key that signed: one given, or one stated.

    Raises MalformedDossier or DossierRejected.
    """
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


def check_digests(archive: Archive, manifest: Manifest) -> None:
    """Every file has the digest that SHA256SUMS states, and that file the one that the manifest states."""
    if archive.digest(SUMS) != manifest.sums:
        raise DossierRejected("file has another digest than the manifest states", where=SUMS)
    lines = archive.lines(SUMS, _LONGEST_SUM)
    for name in archive.names[:-3]:
        line = next(lines, b"")
        digest, _, stated = line.decode("ascii", "replace").partition("  ")
        if stated != name:
            raise DossierRejected("digest is of another file", expected=name, got=stated, where=SUMS)
        if archive.digest(name) != digest:
            raise DossierRejected("file has another digest than SHA256SUMS states", where=name)
    if next(lines, None) is not None:
        raise DossierRejected("digests of files that are not here", where=SUMS)


def check_counts(stated: Counts, counted: Counts) -> None:
    """The manifest counts what is there. Raises DossierRejected naming the count."""
    for name in Counts.__struct_fields__:
        if getattr(stated, name) != getattr(counted, name):
            raise DossierRejected(
                f"manifest counts {name} otherwise",
                expected=getattr(counted, name),
                got=getattr(stated, name),
                where=f"{MANIFEST}: counts/{name}",
            )
