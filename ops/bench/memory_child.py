"""A long command in a process of its own, so that its memory can be told: ``python -m ops.bench.memory_child NAME URL``.

NAME: ``verify`` (the whole book with its views) or ``rebuild``. Prints its peak of resident memory in MB.
"""

from __future__ import annotations

import sys

from ledger.application.proofs import check_book
from ledger.store.engine import open_store
from ledger.store.rebuild import rebuild_views
from ops.bench.memory import peak_mb
from ops.bench.plant import ORIGIN, SIGNERS


def main(name: str, url: str) -> None:
    """Do it and print what it took."""
    store = open_store(url)
    try:
        if name == "verify":
            check_book(store, ORIGIN, [SIGNERS.checkpoint.verifier])
        else:
            rebuild_views(store)
    finally:
        store.close()
    print(f"{peak_mb():.1f}")


if __name__ == "__main__":
    main(*sys.argv[1:])
