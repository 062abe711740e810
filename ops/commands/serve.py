"""`pourbook serve`: the service over one book, until Ctrl-C or SIGTERM.

Everything else it needs to know comes from settings (`api.settings`: variables ``POURBOOK_...``).  The book's origin is
the name of its checkpoint key.  On SIGTERM it finishes the requests at hand and the group at hand, and exits with 0.
"""

from __future__ import annotations

import argparse
import logging
import signal
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from api.app import create_app
from api.connections import Connections, connections_of
from api.delivery import Delivery
from api.publishing import Sender, publishing_plan
from api.sealing import stamp_of
from api.server import Server, address_of, listening
from api.settings import Settings, check_read_store, first_line, settings_from_environment
from api.traces import traces_of
from ledger.application.pourbook import Pourbook
from ledger.application.signers import Signers
from ledger.duties.fence import ask_heads, check_heads
from ledger.store.engine import open_store
from ledger.store.followed_store import follow
from ledger.store.pen import share_pen
from ops.checkpoint_copy import CheckpointCopy
from ops.collector import settle_collector, without_collecting
from ops.key_files import open_key_file, public_keys_in
from ops.service_log import begin_logging

if TYPE_CHECKING:
    from ledger.book.signing import Verifier
    from ledger.evidence.pdf.seal import SealKey
    from ledger.store.engine import Store


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what may be said here instead of in a setting."""
    parser.add_argument("--host", help="the address to listen at (POURBOOK_HOST)")
    parser.add_argument("--port", type=int, help="the port; 0 takes a free one (POURBOOK_PORT)")
    parser.add_argument("--store", dest="store_url", help="where the book is, as a URL (POURBOOK_STORE_URL)")
    parser.add_argument(
        "--read-store", help="a standby of it that answers what may be old, as a URL (POURBOOK_READ_STORE)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Serve until stopped; 0, or an error of the tree in `ledger.errors`."""
    given = {name: value for name, value in vars(arguments).items() if value is not None}
    settings = msgspec.structs.replace(settings_from_environment(), **given)
    check_read_store(settings)
    begin_logging(settings.log)
    delivery, traces = Delivery(), traces_of(settings)
    with listening(settings.host, settings.port) as listener:
        copy = CheckpointCopy(Path(settings.checkpoint_copy)) if settings.checkpoint_copy else None
        book = opened(settings, delivery, copy)
        print(f"book {book.origin} at {address_of(listener)} (Ctrl-C stops it)", flush=True)
        with without_collecting():
            app = create_app(book, settings, delivery, traces)
        settle_collector()
        server = Server(
            app,
            stop_s=settings.stop_s,
            proxies=settings.proxies,
            on_started=lambda: print("ready", flush=True),
        )
        # The server raises the signal again once it has stopped; by then there is nothing left to end.
        signal.signal(signal.SIGTERM, lambda _signal, _frame: None)
        server.run(sockets=[listener])
        if copy is not None:
            copy.keep()
    print("stopped: every acknowledged entry is in the book", flush=True)
    return 0 if server.started else 1


def opened(settings: Settings, delivery: Delivery, copy: CheckpointCopy | None = None) -> Pourbook:
    """The book that the settings name, opened and started. Raises KeyFileRefused, StoreError, MalformedInput."""
    signers, connections = signers_of(settings), connections_of(settings)
    book = Pourbook(
        _store_of(settings, connections),
        origin=signers.checkpoint.name,
        signers=signers,
        label_stem=settings.label_stem,
        deliver=delivery,
        on_group=copy,
    )
    try:
        if settings.pen_folder:
            share_pen(book.store, Path(settings.pen_folder))
        book.store.check_room(connections.all)
        keys = book.checkpoint_keys()
        known = None if copy is None else copy.known(book.origin, keys)
        _publish(book, settings, copy, keys)
        book.start(known, duties=True)
    except BaseException:
        book.close()
        raise
    return book


def _store_of(settings: Settings, connections: Connections) -> Store:
    """The store of the book, with its standby where there is one. Raises StoreError, Unsupported."""
    taken: dict[str, Any] = {"connections": connections.own, "statement_s": settings.statement_s}
    store = open_store(settings.store_url, **taken)
    return follow(store, settings.read_store, settings.read_limit_s, **taken) if settings.read_store else store


def _publish(book: Pourbook, settings: Settings, copy: CheckpointCopy | None, keys: list[Verifier]) -> None:
    """Have the book published as the settings say, once no witness knows a later or another head of it."""
    beside = public_keys_in({Path(settings.checkpoint_key_file).parent, Path(settings.dossier_key_file).parent})
    plan = publishing_plan(settings, keys, beside)
    if plan is None:
        return
    send = Sender(settings, plan.authorities)
    for line in check_heads(book.store, book.origin, keys, ask_heads(send, plan.policy, book.origin)):
        logging.getLogger("pourbook.publishing").warning("%s", line)
    book.publish_by(plan, send, None if copy is None else copy.keep_published)


def signers_of(settings: Settings) -> Signers:
    """The keys that the settings name. Raises KeyFileRefused, MalformedInput."""
    checkpoint = open_key_file(Path(settings.checkpoint_key_file), first_line(settings.checkpoint_password_file))
    dossier = open_key_file(Path(settings.dossier_key_file), first_line(settings.dossier_password_file))
    following = None
    if settings.next_checkpoint_key_file:
        password = first_line(settings.next_checkpoint_password_file)
        following = open_key_file(Path(settings.next_checkpoint_key_file), password)
    credential = None
    if settings.credential_key_file:
        password = first_line(settings.credential_password_file)
        credential = open_key_file(Path(settings.credential_key_file), password)
    return Signers(checkpoint, dossier, following, credential, _seal_of(settings))


def _seal_of(settings: Settings) -> SealKey | None:
    if not settings.seal_file:
        return None
    # Certificates take a while to import, and most services have none.
    from ops.seal_files import open_seal_file  # noqa: PLC0415

    password = first_line(settings.seal_password_file)
    return open_seal_file(Path(settings.seal_file), password, datetime.now(UTC), stamp_of(settings))
