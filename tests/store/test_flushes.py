"""How often a SQLite store flushes to disk, counted by the operating system; and what happens when a flush fails."""

from __future__ import annotations

import re
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from ledger.errors import WriterStopped
from ledger.store.engine import Store, open_store
from ledger.store.reader import open_reader
from ledger.store.transaction import Transaction
from tests.plant import line_start, new_writer, opening
from tests.stores import fresh_file

CHILD = """
import sys
from ledger.store.engine import open_store
from tests.contracts.gate import Gate
from tests.plant import line_start, new_writer, opening, registration

url, count, together = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
store = open_store(url)
gate = Gate()
gate.open()
writer = new_writer(store, group_limit=together, on_group=gate)
writer.start()
for submission in [opening(), *line_start()]:
    writer.submit(submission, "a-lead").result(60)
marker = open(url.removeprefix("sqlite:///") + ".count", "w")
marker.flush()
before = len(gate.reports)
if together == 1:
    for number in range(count):
        writer.submit(registration(number), "a-engraver").result(60)
else:
    futures = [writer.submit(registration(number), "a-engraver") for number in range(count)]
    [future.result(60) for future in futures]
print(len(gate.reports) - before)
marker.write("done")
marker.close()
writer.stop()
store.close()
"""


def flushes(url: str, project: Path, count: int, together: int) -> tuple[int, int]:
    """Flushes while ``count`` balls were registered, and the groups that they made, from a child under strace."""
    strace = shutil.which("strace")
    if strace is None:
        pytest.skip("strace is not installed: flushes cannot be counted here")
    trace = Path(url.removeprefix("sqlite:///") + ".trace")
    command = [strace, "-f", "-o", str(trace), "-e", "trace=fsync,fdatasync,openat,write"]
    ran = subprocess.run(
        [*command, sys.executable, "-c", CHILD, url, str(count), str(together)],
        cwd=project, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    if ran.returncode != 0 and "ptrace" in ran.stderr.lower():
        pytest.skip("strace may not trace here: flushes cannot be counted")
    assert (0, "") == (ran.returncode, ran.stderr)
    lines = trace.read_text().splitlines()
    begin = next(at for at, line in enumerate(lines) if ".count" in line)
    end = next(at for at, line in enumerate(lines) if at > begin and '"done"' in line)
    return sum(bool(re.search(r"\b(fsync|fdatasync)\(", line)) for line in lines[begin:end]), int(ran.stdout)


def test_one_client_costs_at_most_eleven_tenths_of_a_flush_an_entry(tmp_path: Path, project: Path) -> None:
    """Registered one after another, 200 balls cost at most 220 flushes; each commit has at least one."""
    counted, groups = flushes(fresh_file(tmp_path), project, 200, 1)
    assert (200, True) == (groups, 200 <= counted <= 220)


def test_groups_of_fifty_cost_at_most_a_twentieth_of_a_flush_an_entry(tmp_path: Path, project: Path) -> None:
    """Registered in groups of at most 50, 1,000 balls cost at most 50 flushes."""
    counted, groups = flushes(fresh_file(tmp_path), project, 1_000, 50)
    assert (True, True) == (groups >= 20, counted <= 50)


class _FlushFails(Store):
    """A store whose next group cannot be flushed."""

    def commit(self, transaction: Transaction) -> None:
        """Fail as SQLite does when the operating system reports a failed flush."""
        transaction.rollback()
        error = sqlite3.OperationalError("disk I/O error")
        error.sqlite_errorcode = sqlite3.SQLITE_IOERR_FSYNC
        raise error


def test_a_failed_flush_ends_the_process(tmp_path: Path) -> None:
    """After a failed flush nothing more is written: abort is called, whoever waits is answered, nothing is stored."""
    store = open_store(fresh_file(tmp_path))
    failing = _FlushFails(store.engine, store.dialect)
    ended: list[str] = []
    writer = new_writer(failing, abort=lambda: ended.append("ended"))
    writer.start()
    assert isinstance(writer.submit(opening(), "a-lead").exception(30), WriterStopped)
    with pytest.raises(WriterStopped):
        writer.submit(line_start()[0], "a-lead")
    writer.stop()
    with open_reader(store) as reader:
        assert (["ended"], 0) == (ended, reader.head().size)
    store.close()
