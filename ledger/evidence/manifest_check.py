"""The manifest of a dossier: its form, its signature, and that the files and fields are those that it states."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from itertools import zip_longest

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
_PART = 2_000
"""Files whose digests are one part of the check."""

_SUM_LINE = 64 + len("  \n")
"""Bytes of a line of SHA256SUMS beside the name."""


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


class Digests:
    """The digests of a dossier's files, some thousand a part (see `hands`)."""

    def __init__(self, archive: Archive, manifest: Manifest) -> None:
        """Check the list of digests itself against the manifest. Raises DossierRejected, MalformedDossier."""
        if archive.digest(SUMS) != manifest.sums:
            raise DossierRejected("file has another digest than the manifest states", where=SUMS)
        self._archive = archive
        self._count = len(archive.names) - 3
        self._lines = list(self._begins())

    @property
    def parts(self) -> range:
        """The numbers of the parts."""
        return range(-(-self._count // _PART))

    def _begins(self) -> Iterator[int]:
        """Where the line of each part's first file begins in a list of all files, and where that list ends."""
        at = 0
        for place, name in enumerate(self._archive.names[: self._count]):
            if place % _PART == 0:
                yield at
            at += len(name) + _SUM_LINE
        yield at

    def check(self, part: int) -> bytes:
        """Every file of a part has the digest that SHA256SUMS states. Raises MalformedDossier or DossierRejected."""
        first, end = part * _PART, min(self._count, (part + 1) * _PART)
        names, digests = self._archive.names[first:end], self._archive.digests(first, end)
        found = b"".join(f"{digest}  {name}\n".encode() for name, digest in zip(names, digests, strict=True))
        if end == self._count and self._archive.size(SUMS) > self._lines[-1]:
            raise DossierRejected("digests of files that are not here", where=SUMS)
        stated = self._archive.part(SUMS, self._lines[part], self._lines[part + 1])
        if found != stated:
            raise _other_sum(found, stated)
        return b""


def _other_sum(found: bytes, stated: bytes) -> DossierRejected:
    """What is wrong with the first line that is another."""
    pairs = zip_longest(found.split(b"\n"), stated.split(b"\n"), fillvalue=b"")
    line, other = next((one.decode("ascii"), other.decode("ascii", "replace")) for one, other in pairs if one != other)
    name, said = line.partition("  ")[2], other.partition("  ")[2]
    if said != name:
        return DossierRejected("digest is of another file", expected=name, got=said, where=SUMS)
    return DossierRejected("file has another digest than SHA256SUMS states", where=name)


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
