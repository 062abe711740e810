"""A dossier written or checked by a process of its own, so that its memory can be told: prints one line of JSON.

``python -m ops.bench.dossier_child write URL FILE COUNT``, ``... check FILE PROCESSES`` or ``... prove FILE PROCESSES``.
"""

from __future__ import annotations

import hashlib
import os
import resource
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec

from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_selected
from ledger.application.dossiers import Part
from ledger.book.checkpoint import check_checkpoint
from ledger.book.note import check_note
from ledger.evidence.archive import Archive
from ledger.evidence.proofs_check import ProofsReport, check_proofs
from ledger.evidence.report import DossierReport
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from ops.bench.plant import LABEL_STEM, SIGNERS, STATION
from ops.several_hands import hands_for

PARTS: tuple[Part, ...] = ("lots", "events")

_SIGNATURES = 2_000
"""Checks that are timed together."""


class Taken(msgspec.Struct, frozen=True, kw_only=True):
    """What it took: seconds on the wall and of the processor, greatest memory (MB), bytes of the dossier, balls.

    Of a check with its children, whose memory is that of the largest beside that of the first process, what they share counted
    twice.  ``floor`` for a check: seconds of the processor of its floor.  ``signatures``: those of stations among it.
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


def check(file: Path, processes: int, *, proofs_only: bool = False) -> Taken:
    """Check it, and before that do what no check can leave out: hash its bytes, check its signatures."""
    hashed = _hash_and_signatures(file)
    trust = Trust(keys=[SIGNERS.checkpoint.verifier])
    asked: Callable[..., ProofsReport | DossierReport] = check_proofs if proofs_only else check_dossier
    began, spent = time.perf_counter(), _processor()
    with file.open("rb") as opened:
        found = asked(opened, trust, hands_for(processes))
    seconds, processor = time.perf_counter() - began, _processor() - spent
    report = found.whole if isinstance(found, ProofsReport) else found
    size, balls, signatures = file.stat().st_size, report.counts.balls, report.signed_entries
    return Taken(
        seconds=seconds,
        processor=processor,
        peak_mb=_peak_mb() + resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024,
        size=size,
        balls=balls,
        floor=hashed + signatures * _one_signature(),
        signatures=signatures,
    )


def _processor() -> float:
    """Seconds of the processor that this process and those that it ended have taken."""
    return sum(os.times()[:4])


def _one_signature() -> float:
    """Seconds of the processor that one check of a station's signature takes, over as much as it says of a ball."""
    message, verifier = b"m" * 1_400, STATION.verifier
    signature = STATION.sign(message)
    spent = time.process_time()
    for _ in range(_SIGNATURES):
        verifier.check(message, signature)
    return (time.process_time() - spent) / _SIGNATURES


def _hash_and_signatures(file: Path) -> float:
    """Seconds of the processor for one digest of all its bytes, and for the signatures of its head and its manifest."""
    with file.open("rb") as opened:
        archive = Archive(opened)
        head, seal = archive.read("checkpoint", 1_000_000), archive.read("manifest.sig", 1_000_000)
        opened.seek(0)
        spent = time.process_time()
        digest = hashlib.sha256()
        while block := opened.read(1 << 20):
            digest.update(block)
        check_checkpoint(head, [SIGNERS.checkpoint.verifier])
        check_note(seal, [SIGNERS.dossier.verifier])
        return time.process_time() - spent


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
        case ["check", file, processes]:
            taken = check(Path(file), int(processes))
        case ["prove", file, processes]:
            taken = check(Path(file), int(processes), proofs_only=True)
        case _:
            raise SystemExit(__doc__)
    print(msgspec.json.encode(taken).decode())
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
