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
from ledger.application.dossiers import Part
from ledger.book.checkpoint import check_checkpoint
from ledger.book.note import check_note
from ledger.evidence.archive import Archive
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from ops.bench.plant import LABEL_STEM, SIGNERS, STATION

PARTS: tuple[Part, ...] = ("lots", "events")

_SIGNATURES = 2_000
"""Checks that are timed together."""


class Taken(msgspec.Struct, frozen=True, kw_only=True):
    """What it took: seconds on the wall and of the processor, greatest memory (MB), bytes of the dossier, balls.

    ``floor`` for a check: seconds of the processor of its floor.  ``signatures``: those of stations among it.
    """

    seconds: float
    processor: float
    peak_mb: float
    size: int
    balls: int
    floor: float = 0.0
    signatures: int = 0


def write(url: str, file: Path, count: int) -> Taken:
    """Write the dossier of the first balls of the book, with lots and events; small or large, without a table of verdicts."""
    store = open_store(url, migrate=False)
    began, spent = time.perf_counter(), time.process_time()
    with open_reader(store) as reader, file.open("wb") as out:
        note = reader.head().checkpoint or b""
        giver = DossierGiver(note=note, signer=SIGNERS.dossier, stem=LABEL_STEM)
        scoped = write_selected(reader, out, Selection(model="M1", limit=count), DossierWanted(parts=PARTS), giver)
    seconds, processor = time.perf_counter() - began, time.process_time() - spent
    store.close()
    size, balls = file.stat().st_size, len(scoped.units)
    return Taken(seconds=seconds, processor=processor, peak_mb=_peak_mb(), size=size, balls=balls)


def check(file: Path) -> Taken:
    """Check it, and before that do what no check can leave out: hash its bytes, check its signatures."""
    spent = time.process_time()
    _hash_and_signatures(file)
    hashed = time.process_time() - spent
    began, spent = time.perf_counter(), time.process_time()
    with file.open("rb") as opened:
        report = check_dossier(opened, [SIGNERS.checkpoint.verifier])
    seconds, processor = time.perf_counter() - began, time.process_time() - spent
    size, balls = file.stat().st_size, report.counts.balls
    signatures = report.signed_entries
    return Taken(
        seconds=seconds,
        processor=processor,
        peak_mb=_peak_mb(),
        size=size,
        balls=balls,
        floor=hashed + signatures * _one_signature(),
        signatures=signatures,
    )


def _one_signature() -> float:
    """Seconds of the processor that one check of a station's signature takes, over as much as it says of a ball."""
    message, verifier = b"m" * 1_400, STATION.verifier
    signature = STATION.sign(message)
    spent = time.process_time()
    for _ in range(_SIGNATURES):
        verifier.check(message, signature)
    return (time.process_time() - spent) / _SIGNATURES


def _hash_and_signatures(file: Path) -> None:
    digest = hashlib.sha256()
    with file.open("rb") as opened:
        while block := opened.read(1 << 20):
            digest.update(block)
        archive = Archive(opened)
        check_checkpoint(archive.read("checkpoint", 1_000_000), [SIGNERS.checkpoint.verifier])
        check_note(archive.read("manifest.sig", 1_000_000), [SIGNERS.dossier.verifier])


def _peak_mb() -> float:
    status = Path("/proc/self/status")
    if status.exists():
        # The greatest memory that getrusage tells on Linux begins with that of the process which started this one.
        lines = dict(line.split(":", 1) for line in status.read_text("utf-8").splitlines())
        return int(lines["VmHWM"].split()[0]) / 1024
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
