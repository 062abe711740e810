"""A dossier written or checked by a process of its own, so that its memory can be told: prints one line of JSON.

``python -m ops.bench.dossier_child write URL FILE COUNT`` or ``... check FILE``.
"""

from __future__ import annotations

import hashlib
import resource
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import msgspec

from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_selected
from ledger.book.checkpoint import check_checkpoint
from ledger.book.note import check_note
from ledger.evidence.archive import Archive
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from ops.bench.plant import LABEL_STEM, SIGNERS


class Taken(msgspec.Struct, frozen=True, kw_only=True):
    """What it took: seconds, greatest memory (MB), bytes of the dossier, balls; ``floor`` for a check: seconds of its floor."""

    seconds: float
    peak_mb: float
    size: int
    balls: int
    floor: float = 0.0


def write(url: str, file: Path, count: int) -> Taken:
    """Write the dossier of the first balls of the book, without events: entries, receipts, sheets, lots."""
    store = open_store(url, migrate=False)
    began = time.perf_counter()
    with open_reader(store) as reader, file.open("wb") as out:
        note = reader.head().checkpoint or b""
        giver = DossierGiver(note=note, signer=SIGNERS.dossier, stem=LABEL_STEM)
        wanted = DossierWanted(parts=("lots",))
        scoped = write_selected(reader, out, Selection(model="M1", limit=count), wanted, giver)
    seconds = time.perf_counter() - began
    store.close()
    return Taken(seconds=seconds, peak_mb=_peak_mb(), size=file.stat().st_size, balls=len(scoped.units))


def check(file: Path) -> Taken:
    """Check it, and before that do what no check can leave out: hash its bytes, check its signatures."""
    began = time.perf_counter()
    _hash_and_signatures(file)
    floor = time.perf_counter() - began
    began = time.perf_counter()
    with file.open("rb") as opened:
        report = check_dossier(opened, [SIGNERS.checkpoint.verifier])
    seconds = time.perf_counter() - began
    return Taken(seconds=seconds, peak_mb=_peak_mb(), size=file.stat().st_size, balls=report.counts.balls, floor=floor)


def _hash_and_signatures(file: Path) -> None:
    digest = hashlib.sha256()
    with file.open("rb") as opened:
        while block := opened.read(1 << 20):
            digest.update(block)
        archive = Archive(opened)
        check_checkpoint(archive.read("checkpoint", 1_000_000), [SIGNERS.checkpoint.verifier])
        check_note(archive.read("manifest.sig", 1_000_000), [SIGNERS.dossier.verifier])


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(words: Sequence[str]) -> int:
    """Do what is asked and print what it took."""
    match list(words):
        case ["write", url, file, count]:
            taken = write(url, Path(file), int(count))
        case ["check", file]:
            taken = check(Path(file))
        case _:
            raise SystemExit(__doc__)
    print(msgspec.json.encode(taken).decode())
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
