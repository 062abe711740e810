"""`pourbook verify book` tells the files of claims that are kept from those that were erased, and from missing ones."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from ledger.book.signing import format_verifier
from ledger.store.blobs import put_blob
from ops.cli import main
from tests.application.files import png
from tests.application.floor import Floor, at, claimed, floor_signers

KEY = format_verifier(floor_signers().checkpoint.verifier)
PHOTOS = [hashlib.sha256(png(shade)).hexdigest() for shade in range(2)]


def verified(floor: Floor, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """What the command answers for the floor's store."""
    code = main(["verify", "book", "--store", floor.url, "--key", KEY])
    told = capsys.readouterr()
    return code, told.out + told.err


def test_files_are_told_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two kept; one erased; and then one that is gone without an erasure is damage, named by the fact."""
    floor = Floor(tmp_path)
    for shade in range(2):
        put_blob(floor.book.store, png(shade), "image/png")
    claim = floor.say(claimed("C-1", evidence=[{"digest": digest, "what": "photo"} for digest in PHOTOS]))
    code, told = verified(floor, capsys)
    assert (0, True) == (code, "files of claims: 2 named, 2 kept as they came, 0 erased" in told)
    floor.say({"kind": "blob-erasure", "at": at(1), "blobs": PHOTOS[:1], "basis": "request", "reason": "asked"})
    code, told = verified(floor, capsys)
    assert (0, True) == (code, "files of claims: 2 named, 1 kept as they came, 1 erased" in told)
    with floor.book.store.writing() as transaction:
        transaction.run('DELETE FROM "blob"')
    code, told = verified(floor, capsys)
    assert (True, True) == (code != 0, f"a file that fact {claim.addresses[0]} names is missing" in told)
    floor.book.close()
