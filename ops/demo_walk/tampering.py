"""One byte changed in a copy of the book, and one in a copy of the dossier: the checks must name where."""

from __future__ import annotations

import io
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

from fixtures_demo.build import DemoBook
from fixtures_demo.plant import demo_signers
from ledger.application.proofs import BookReport, check_book
from ledger.book.signing import parse_verifier
from ledger.errors import Contradiction, LedgerError
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import open_store
from ops.demo_walk.client import Client
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.screen import Screen

CHANGED_BALL = "020A-10"
"""Registered long before the walk, so that its entry lies in the store's main file."""


def check_whole_book(screen: Screen, demo: DemoBook) -> None:
    """Check every entry, the tree, the signature and the openings of the book as it is."""
    report = _checked(demo, Path(demo.file))
    screen.say(
        "the book itself",
        f"right: {report.entries:,} entries in chain and tree, {report.openings:,} sealed values, signed checkpoint",
    )


def change_book(client: Client, screen: Screen, folder: DemoFolder, demo: DemoBook) -> None:
    """Change one digit of a reading of one ball in a copy of the store's file, and check that copy."""
    ball = client.get(f"/balls/{CHANGED_BALL}", "auditor")
    index = int(ball["history"][0]["fact"].partition(".")[0])
    raw = client.read(f"/entries/{index}/bytes", "auditor")
    shutil.rmtree(folder.changed, ignore_errors=True)
    folder.changed.mkdir()
    copy = folder.changed / folder.store.name
    for file in folder.folder.glob(f"{folder.store.name}*"):
        shutil.copyfile(file, folder.changed / file.name)
    content = bytearray(copy.read_bytes())
    place = raw.index(b'"values":["') + len(b'"values":["')
    # Serial and station stand beside each other in this one entry only, and an entry of this size lies in one page.
    serial = raw[raw.index(b'"serial":"') :][:34]
    at = content.index(serial) - raw.index(serial) + place
    content[at] ^= 1
    copy.write_bytes(content)
    found = _found(lambda: _checked(demo, copy), f"entry {index}")
    before, after = chr(raw[place]), chr(content[at])
    screen.say(
        "a copy of it", f"one byte changed, in the weight of {CHANGED_BALL} ({before} to {after}). Found: {found}"
    )


def change_dossier(screen: Screen, folder: DemoFolder, index: int) -> None:
    """Change one byte of one entry in a copy of the dossier, and check that copy."""
    name = f"entries/{index}.json"
    content = bytearray(folder.dossier.read_bytes())
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        member = archive.getinfo(name)
    # A local file header has 30 bytes, then the name (APPNOTE.TXT 4.3.7, from memory); the writer adds no extra field.
    content[member.header_offset + 30 + len(name) + member.compress_size // 2] ^= 1
    changed = bytes(content)
    (folder.changed / folder.dossier.name).write_bytes(changed)
    keys = [parse_verifier(folder.key.read_text("utf-8").strip())]
    found = _found(lambda: check_dossier(io.BytesIO(changed), keys), name)
    screen.say("a copy of dossier", f"one byte changed in {name}. Found: {found}")


def _checked(demo: DemoBook, file: Path) -> BookReport:
    store = open_store(f"sqlite:///{file}")
    try:
        return check_book(store, demo.origin, [demo_signers(demo.seed).checkpoint.verifier], views=False)
    finally:
        store.close()


def _found(check: Callable[[], object], where: str) -> str:
    try:
        check()
    except LedgerError as error:
        if where not in str(error):
            raise Contradiction("the check names another place", expected=where, got=str(error)) from error
        return str(error)
    raise Contradiction("a changed byte was not found", where=where)
