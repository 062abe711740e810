"""Dossiers tampered with below the signature: by someone who holds no key at all."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping
from functools import partial
from typing import NamedTuple

from ledger.evidence.archive import ArchiveWriter, _local_header
from tests.evidence.small_dossier import archived, dossier, members
from tests.evidence.witnessed_dossier import KEYS, full_dossier

Files = dict[str, bytes]
Change = Callable[[Files], Files]


class Tampering(NamedTuple):
    """A bad dossier, the place of its first fault, and what the reader trusts.

    ``unchecked``: a browser does not find it, since the fault lies in what only the whole check makes anew; these are the
    words with which the page says that it did not check that. Empty where both find it.
    """

    make: Callable[[], bytes]
    where: str
    trust: str = KEYS
    unchecked: str = ""

    @property
    def by_both(self) -> bool:
        """Whether a browser finds it too."""
        return not self.unchecked


def good_files() -> Files:
    """The files of the good dossier."""
    return members(full_dossier())


def flipped(raw: bytes, at: int) -> bytes:
    """These bytes with one bit changed."""
    return raw[:at] + bytes([raw[at] ^ 1]) + raw[at + 1 :]


def put_together(change: Change) -> bytes:
    """The archive made anew over changed files, in its right form, with nothing signed anew."""
    return archived(change(good_files()))


def bit_in(name: str, files: Files) -> Files:
    """One bit in the middle of one file is another."""
    return {**files, name: flipped(files[name], len(files[name]) // 2)}


def swapped_places(one: str, other: str, files: Files) -> Files:
    """Two files stand in each other's place."""
    places = {one: other, other: one}
    return {places.get(name, name): files[places.get(name, name)] for name in files}


def swapped_contents(one: str, other: str, files: Files) -> Files:
    """Two files have each other's content."""
    return {**files, one: files[other], other: files[one]}


def without(name: str, files: Files) -> Files:
    """One file is not there."""
    return {each: raw for each, raw in files.items() if each != name}


def sums_swapped(files: Files) -> Files:
    """Two lines of the digests are in each other's place."""
    lines = files["SHA256SUMS"].splitlines(keepends=True)
    return {**files, "SHA256SUMS": b"".join([lines[1], lines[0], *lines[2:]])}


def taken_from_another(names: tuple[str, ...], files: Files) -> Files:
    """Files of another good dossier of the same book, signature and all."""
    other = members(dossier())
    return {**files, **{name: other[name] for name in names}}


def named_so(name: str) -> bytes:
    """An archive with a file of a name that the writer refuses, in the right form else."""
    out = io.BytesIO()
    writer = ArchiveWriter(out)
    writer.add("x" * len(name), b"out of the folder")
    writer.close()
    return out.getvalue().replace(b"x" * len(name), name.encode())


def twice(name: str) -> bytes:
    """An archive that holds a file twice."""
    out = io.BytesIO()
    writer = ArchiveWriter(out)
    for each, raw in good_files().items():
        writer.add(each, raw)
    writer.add(name, b"another")
    writer.close()
    return out.getvalue()


def another_zip(compression: int, comment: bytes = b"") -> bytes:
    """The same files by another zip program."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compression) as archive:
        archive.comment = comment
        for name, raw in good_files().items():
            archive.writestr(name, raw)
    return out.getvalue()


def burst() -> bytes:
    """A small file that would unpack to a great one."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", bytes(50_000_000))
    return out.getvalue()


def content_at(name: str) -> int:
    """Where the content of a file begins in the archive."""
    at = 0
    for each, raw in good_files().items():
        header = len(_local_header(each.encode(), len(raw), 0))
        if each == name:
            return at + header
        at += header + len(raw)
    raise KeyError(name)


ARCHIVES: Mapping[str, Tampering] = {
    "nothing at all": Tampering(lambda: b"", ""),
    "a text": Tampering(lambda: b"This is no archive, whatever its name says.\n" * 9, ""),
    "cut in half": Tampering(lambda: full_dossier()[: len(full_dossier()) // 2], ""),
    "cut by one byte": Tampering(lambda: full_dossier()[:-1], ""),
    "a byte before": Tampering(lambda: b"x" + full_dossier(), ""),
    "a byte after": Tampering(lambda: full_dossier() + b"x", ""),
    "a bit in a header": Tampering(lambda: flipped(full_dossier(), 6), "README.txt"),
    "a bit in the directory": Tampering(lambda: flipped(full_dossier(), len(full_dossier()) - 60), "manifest.sig"),
    "a bit in the end": Tampering(lambda: flipped(full_dossier(), len(full_dossier()) - 8), ""),
    "a bit in a file": Tampering(lambda: flipped(full_dossier(), content_at("entries/8.json") + 90), "entries/8.json"),
    "a name twice": Tampering(partial(twice, "checkpoint"), "checkpoint"),
    "a name that leads out": Tampering(partial(named_so, "../outside"), ""),
    "a name from the root": Tampering(partial(named_so, "/etc/passwd"), ""),
    "compressed by another program": Tampering(partial(another_zip, zipfile.ZIP_DEFLATED), "README.txt"),
    "stored by another program": Tampering(partial(another_zip, zipfile.ZIP_STORED), "README.txt"),
    "with a comment": Tampering(partial(another_zip, zipfile.ZIP_STORED, b"see also"), ""),
    "a zip bomb": Tampering(burst, "README.txt"),
    "a file more at the end": Tampering(partial(put_together, lambda files: {**files, "zz.txt": b""}), "zz.txt"),
    "a file more at the start": Tampering(partial(put_together, lambda files: {"aa.txt": b"", **files}), "aa.txt"),
    "no checkpoint": Tampering(partial(put_together, partial(without, "checkpoint")), "tokens/tsa-1.tsr"),
    "no receipt": Tampering(partial(put_together, partial(without, "receipts/3.tlog-proof")), "entries/4.json"),
    "no signature": Tampering(partial(put_together, partial(without, "manifest.sig")), "the end"),
    "an entry left out": Tampering(partial(put_together, partial(without, "entries/5.json")), "receipts/5.tlog-proof"),
    "files in another order": Tampering(
        partial(put_together, lambda files: dict(reversed(files.items()))), "manifest.sig"
    ),
    "two balls in another order": Tampering(
        partial(put_together, partial(swapped_places, "balls/U-1.json", "balls/U-2.json")), "balls/U-1.json"
    ),
    "two digests in another order": Tampering(partial(put_together, sums_swapped), "SHA256SUMS"),
    "two entries under each other's name": Tampering(
        partial(put_together, partial(swapped_contents, "entries/8.json", "entries/9.json")), "entries/8.json"
    ),
    "the signature of another dossier": Tampering(
        partial(put_together, partial(taken_from_another, ("manifest.sig",))), "manifest.sig"
    ),
    "manifest and signature of another dossier": Tampering(
        partial(put_together, partial(taken_from_another, ("manifest.json", "manifest.sig"))), "SHA256SUMS"
    ),
    "digests, manifest and signature of another dossier": Tampering(
        partial(put_together, partial(taken_from_another, ("SHA256SUMS", "manifest.json", "manifest.sig"))),
        "checkpoint",
    ),
}
"""By what was done."""

BITS: Mapping[str, Tampering] = {
    f"a bit in {name}": Tampering(partial(put_together, partial(bit_in, name)), name)
    for name in good_files()
    if name != "manifest.json"
} | {
    "another scope in manifest.json": Tampering(
        partial(
            put_together,
            lambda files: {**files, "manifest.json": files["manifest.json"].replace(b"serials 2345", b"serials 2346")},
        ),
        "manifest.sig",
    )
}
"""One bit in each file, with the sums of the archive put right."""
