"""A writing process that is killed at any moment loses nothing that it acknowledged."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from ledger.book.entry import GENESIS_HASH, check_links, parse_entry
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views
from tests.plant import line_start, new_writer, opening, registration

CHILD = """
import sys
from ledger.store.engine import open_store
from tests.plant import new_writer, registration

writer = new_writer(open_store(sys.argv[1]), group_limit=8)
writer.start()
waiting = []
for number in range(int(sys.argv[2]), 1_000_000):
    waiting.append(writer.submit(registration(number), "a-engraver"))
    if len(waiting) == 20:
        entered = waiting.pop(0).result(60)
        print(entered.index, number - 19, flush=True)
"""


def killed_once(url: str, project: Path, first: int, lines: int) -> list[tuple[int, int]]:
    """Index and ball of each acknowledgement that a writing child gave before it was killed after that many lines."""
    command = [sys.executable, "-c", CHILD, url, str(first)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=project, text=True) as child:
        assert child.stdout is not None
        told = [child.stdout.readline() for _ in range(lines)]
        child.kill()
        told += child.stdout.readlines()
    # The last line may have been cut short by the kill.
    whole = [line.split() for line in told if line.endswith("\n")]
    return [(int(index), int(ball)) for index, ball in whole]


@pytest.mark.parametrize("rounds", [4, pytest.param(15, marks=pytest.mark.full)])
def test_what_was_acknowledged_stands_exactly_once(url: str, project: Path, rounds: int) -> None:
    """After each kill the store opens, its end checks, every acknowledged ball is there once, and the views are the fold."""
    dice = random.Random(20260302)  # moments, not secrets
    store = open_store(url)
    writer = new_writer(store)
    writer.start()
    for submission in [opening(), *line_start(count=100_000)]:
        writer.submit(submission, "a-lead").result(30)
    writer.stop()
    acknowledged: list[tuple[int, int]] = []
    for number in range(rounds):
        acknowledged += killed_once(url, project, number * 10_000, dice.randint(1, 60))
        again = new_writer(store)
        again.start()
        again.stop()
    with open_reader(store) as reader:
        raws = [entry.bytes for entry in reader.entries(0, reader.head().size)]
    check_links(GENESIS_HASH, 0, raws)
    keys = [parse_entry(raw).said.key for raw in raws]
    assert [f"ball-{ball}" for _, ball in acknowledged] == [keys[index] for index, _ in acknowledged]
    assert (len(keys), []) == (len(set(keys)), compare_views(store))
    assert registration(0).key in keys
    store.close()
