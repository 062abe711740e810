"""Two writers on one store never fork the book: two threads, and two processes."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import wait
from pathlib import Path

from ledger.book import merkle
from ledger.book.entry import GENESIS_HASH, check_links
from ledger.book.receipt import check_receipt, parse_receipt
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views
from ledger.store.writer import Writer
from tests.plant import VERIFIER, line_start, opening, registration

EACH = 40

CHILD = """
import json, sys
from ledger.store.engine import open_store
from tests.plant import counted_salts, new_writer, registration

store = open_store(sys.argv[1])
writer = new_writer(store, group_limit=7)
writer.start()
first = int(sys.argv[2])
futures = [writer.submit(registration(number), f"a-{first}") for number in range(first, first + int(sys.argv[3]))]
print(json.dumps([future.result(60).receipt for future in futures]))
writer.stop()
store.close()
"""


def check_one_book(store: Store, size: int, receipts: list[str]) -> None:
    """The entries are one chain, every receipt is of that chain, and the views are its fold."""
    with open_reader(store) as reader:
        entries = list(reader.entries(0, size + 10))
    raws = [entry.bytes for entry in entries]
    hashes = check_links(GENESIS_HASH, 0, raws)
    assert size == len(hashes)
    for text in receipts:
        receipt = parse_receipt(text)
        check_receipt(text, raws[receipt.index], [VERIFIER])
        assert merkle.root(hashes[: receipt.checkpoint.tree_size]) == receipt.checkpoint.root_hash
    assert len(receipts) == len({parse_receipt(text).index for text in receipts})
    assert [] == compare_views(store)


def test_two_writers_in_two_threads_never_fork(store: Store, start: Callable[..., Writer]) -> None:
    """Submissions put to two writers in turn become one chain, each answered once."""
    one, other = start(group_limit=3), start(group_limit=5)
    for submission in [opening(), *line_start()]:
        one.submit(submission, "a-lead").result(30)
    futures = [(one, other)[number % 2].submit(registration(number), "a-engraver") for number in range(2 * EACH)]
    wait(futures, 60)
    check_one_book(store, 9 + 2 * EACH, [future.result(0).receipt for future in futures])


def test_two_processes_never_fork(store: Store, url: str, writer: Writer, project: Path) -> None:
    """Two programs that write to one store at the same time, and this one between, give one chain."""
    children = [
        subprocess.Popen([sys.executable, "-c", CHILD, url, str(first), str(EACH)], stdout=subprocess.PIPE, cwd=project)
        for first in (1_000, 2_000)
    ]
    receipts = [writer.submit(registration(number), "a-engraver").result(60).receipt for number in range(10)]
    for child in children:
        out, _ = child.communicate(timeout=120)
        assert 0 == child.returncode
        receipts += json.loads(out)
    check_one_book(store, 9 + 10 + 2 * EACH, receipts)


def test_two_writers_take_one_lot_s_pieces_once(store: Store, start: Callable[..., Writer]) -> None:
    """Quantities are accounted across writers: of a lot of 6, the seventh and eighth ball are breaches."""
    one, other = start(group_limit=1), start(group_limit=1)
    for submission in [opening(), *line_start(count=6)]:
        one.submit(submission, "a-lead").result(30)
    futures = [(one, other)[number % 2].submit(registration(number), "a-engraver") for number in range(8)]
    codes = [[breach.code for record in future.result(30).breaches for breach in record] for future in futures]
    assert ([[]] * 6 + [["over-drawn"]] * 2, []) == (sorted(codes), compare_views(store))


def test_a_key_is_used_once_across_writers(start: Callable[..., Writer]) -> None:
    """A submission that is sent to two writers is entered once."""
    one, other = start(), start()
    one.submit(opening(), "a-lead").result(30)
    first, second = one.submit(line_start()[0], "a-lead"), other.submit(line_start()[0], "a-lead")
    answers = [first.result(30), second.result(30)]
    assert ([1, 1], [False, True]) == ([one.index for one in answers], sorted(one.repeated for one in answers))
