"""`pourbook verify book`: check a whole book in its store: chain, tree, openings, checkpoints, the files of claims, and the views.

It reads only. KEY is the verifier line of the book's checkpoint key, or a file that holds such lines (while a key is
rotated there are two); get it from elsewhere than from the store. With ``--policy`` the newest published checkpoint must
have the quorum of witnesses that the file asks for (C2SP tlog-policy); with ``--tsa-root`` every time token is checked too.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from ledger.application.files_check import check_files
from ledger.application.proofs import check_book
from ledger.application.published_check import PublishedReport, check_published
from ledger.book.instant import Instant, format_instant
from ledger.store.engine import open_store
from ops.commands.verify_dossier import read_keys, read_policy, read_roots
from ops.progress import Progress
from ops.several_hands import add_processes, hands_for


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store and the key that the reader trusts."""
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument("--key", required=True, help="verifier line of the checkpoint key, or a file that holds it")
    parser.add_argument("--policy", type=Path, help="file of whose cosignatures are wanted (C2SP tlog-policy)")
    parser.add_argument(
        "--tsa-root",
        type=Path,
        action="append",
        default=[],
        help="root certificates of a time stamping authority (PEM); without any, time tokens are not checked",
    )
    parser.add_argument("--without-views", action="store_true", help="leave out the comparison of the views")
    add_processes(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print what was checked; 0, or the first thing that is wrong as an error of the tree in `ledger.errors`."""
    keys = read_keys(arguments.key)
    policy = None if arguments.policy is None else read_policy(arguments.policy)
    roots = [root for path in arguments.tsa_root for root in read_roots(path)]
    origin = keys[0].name
    store = open_store(arguments.store_url, migrate=False)
    progress, hands = Progress("checking entries"), hands_for(arguments.processes)
    try:
        report = check_book(store, origin, keys, views=not arguments.without_views, progress=progress, hands=hands)
        files = check_files(store)
        published = check_published(store, origin, policy=policy, roots=roots)
    finally:
        progress.end()
        store.close()
    print(f"nothing is wrong with the book {origin}: {report.entries} entries")
    print(f"  chain and tree: every entry follows the one before, root {report.root}")
    print(f"  sealed fields: {report.openings} openings match what was sealed")
    print(
        f"  files of claims: {files.named} named, {files.named - files.erased} kept as they came, {files.erased} erased"
    )
    print(f"  checkpoint: signed by the key given, at {report.checkpoint_size} entries")
    print("  views: what the entries give" if report.views_compared else "  views: not compared")
    for line in _published_lines(published):
        print(f"  {line}")
    unseen = "" if published.witnessed else "; whether others were shown another head of this book"
    print(f"not checked: whether what was written down is true{unseen}")
    return 0


def _published_lines(report: PublishedReport) -> list[str]:
    if not report.published:
        return ["published: nothing, so no witness vouches for this book"]
    lines = [f"published: {report.published} checkpoints are of this book, the newest at {report.size} entries"]
    if report.asks:
        lines.append(
            f"witnesses: {', '.join(report.witnessed) or 'none'} signed the newest; the policy asks for {report.asks}"
        )
    if report.tokens_checked and report.last_ms is not None:
        last = format_instant(Instant(report.last_ms, 0))
        lines.append(f"time tokens: {report.tokens_checked} lead to a root given, the last states {last}")
    elif report.tokens:
        lines.append(f"time tokens: {report.tokens}, not checked without --tsa-root")
    return lines
