"""`pourbook reopen`: a book goes on in the store that it was moved from, because the store that it was moved to is lost.

`pourbook copy --move` closes the old store for good.  If it was stopped and the new store was lost before it was whole,
running it again into an empty store is refused, and nothing else opens the old one.  This does, if nobody outside holds a
head that lies ahead of it: the checkpoint in the second place (``--seen``) and the witnesses of a policy are asked, as for a
restore.  ``--gone REASON`` says that the new store is gone and will not come back, which nothing can check: if it does come
back and is written, there are two books.  REASON is a word that the book keeps in its next entry, with the id of the copy.
The settings of the service name its keys, and where they name a checkpoint in the second place or a policy of witnesses,
those are asked whatever the command line says.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from api.settings import Settings, settings_from_environment
from ledger.application.pourbook import Pourbook
from ledger.application.reopening import reopen_moved
from ledger.store.engine import open_store
from ops.checkpoint_copy import CheckpointCopy
from ops.commands.serve import signers_of
from ops.heads_seen import add_seen_arguments, heads_seen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the old store, what others have seen, and the word that the new one is gone."""
    parser.add_argument("--from", dest="source", required=True, help="the store that the book was moved from, as a URL")
    add_seen_arguments(parser)
    parser.add_argument(
        "--gone",
        metavar="REASON",
        required=True,
        help="the store that it was moved to is gone for good; REASON is a word that the book keeps",
    )


def run(arguments: argparse.Namespace) -> int:
    """Open it again; 0, or an error of the tree in `ledger.errors`."""
    settings = settings_from_environment()
    signers = signers_of(settings)
    store = open_store(arguments.source)
    try:
        origin = signers.checkpoint.name
        keys = Pourbook(store, origin=origin, signers=signers, label_stem=settings.label_stem).checkpoint_keys()
        _add_settings(arguments, settings)
        notes = heads_seen(arguments, keys, origin, strict=True)
        reopened = reopen_moved(store, notes, arguments.gone, signers=signers)
    finally:
        store.close()
    print(f"opened again: {origin} goes on after {reopened.size:,} entries; entry {reopened.entry} says so")
    print(f"  held against {len(notes)} heads that others have seen")
    print(f"  if the copy {reopened.copy} turns up, delete it: a service on it would make a second book")
    return 0


def _add_settings(arguments: argparse.Namespace, settings: Settings) -> None:
    if settings.checkpoint_copy:
        copy = Path(settings.checkpoint_copy)
        arguments.seen.extend(path for path in (copy, CheckpointCopy(copy).published_path) if path.exists())
    if settings.witness_policy and arguments.policy is None:
        arguments.policy = Path(settings.witness_policy)
