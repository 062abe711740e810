"""The demo plant to look at: its book built once and kept, a service over a copy of it, in which everyone can sign in."""

from __future__ import annotations

import fcntl
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import Any

import msgspec

from api.app import create_app
from api.delivery import Delivery
from api.outgoing import Outgoing
from api.server import serving
from api.settings import Settings
from fixtures_demo import bends
from fixtures_demo.build import STORE, DemoBook
from fixtures_demo.plant import ACCOUNTS, SEED, demo_signers
from ledger.application.book_checks import BookChecks
from ledger.application.histories import instant_text
from ledger.application.pourbook import Pourbook, open_book
from ops.demo_walk.client import Client
from ops.demo_walk.folder import DemoFolder, stamp_of
from ops.demo_walk.people import let_people_in
from ops.screens.places import places_of
from ops.screens.witnessed import WITHIN_S, publish_once, witness_plan

ROLES = {
    "station": "moulding",
    "inspector": "gauges",
    "quality": "quality-1",
    "desk": "desk",
    "auditor": "auditor",
    "examiner": "outside",
    "admin": "keeper",
}
"""The account of the demo plant that stands for each role."""

KEEPER = "System keeper"

RECALL = {
    "case": "CASE-1",
    "why": "signal",
    "reason": "cracks-over-block",
    "suspect": {"sort": "block-lot", "name": f"BL-{bends.HASTY_ROUND}"},
    "order": {"action": "recall"},
}
"""The case that is opened beside, since the story of the plant has none."""

EXAMINATION = "EXAM-1"
"""What the outside auditor of the examples may look at."""

ADDED_MS = 60_000
"""Within which of the plant's time that is added, and the passwords are given."""

KEPT_VERSIONS = 4


class DemoPlant:
    """A running service over a copy of the demo book. ``places``: what example addresses may name."""

    def __init__(self, address: str, book: Pourbook, demo: DemoBook) -> None:
        """It runs already; `demo_plant` starts and stops it."""
        self.address = address
        self.book = book
        self.demo = demo
        account = book.account_of(demo.tokens[ROLES["quality"]]).account
        self.places = {**places_of(book.store), "account": account}

    def at(self, address: str) -> str:
        """An example address with its places filled in, such as ``/ball/{unit}``."""
        return address.format_map(self.places)


def sign_in_name(role: str) -> str:
    """By what the person of a role signs in, with the password of `ops.demo_walk.people`."""
    return ACCOUNTS[ROLES[role]][0] if ROLES[role] in ACCOUNTS else KEEPER


def built_demo(folder: Path, progress: Callable[[float], None] = lambda _share: None) -> Path:
    """The demo book, built in ``folder`` unless this version has built it there, with a case and passwords added.

    Nothing may be changed in it: `demo_plant` works on copies.  Other processes that want it at the same time wait; what
    other versions built is kept for a while, since they may be copying it.
    """
    own = b"".join(Path(__file__).with_name(name).read_bytes() for name in (Path(__file__).name, "witnessed.py"))
    version = sha256(stamp_of(SEED).encode() + own).hexdigest()[:12]
    kept = folder / version
    ready = kept / "ready"
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        if not (kept / "made").exists():
            shutil.rmtree(kept, ignore_errors=True)
            demo = DemoFolder(kept)
            demo.build(SEED, progress)
            with demo_plant(demo.built, ready) as plant:
                _prepare(plant)
            # A copy's clock begins after what was added.
            later = msgspec.structs.replace(plant.demo, now_ms=plant.demo.now_ms + ADDED_MS)
            (ready / "demo.json").write_bytes(msgspec.json.encode(later))
            # Written last: what was interrupted is made anew.
            (kept / "made").write_text("", "utf-8")
        for old in sorted(folder.glob("*/made"), key=lambda made: made.stat().st_mtime)[:-KEPT_VERSIONS]:
            shutil.rmtree(old.parent)
    return ready


def _prepare(plant: DemoPlant) -> None:
    client = Client(plant.address, plant.demo.tokens)
    client.post("/cases", ROLES["quality"], RECALL, "screens-case")
    client.post(f"/cases/{RECALL['case']}/letters", ROLES["quality"], {}, "screens-letters")
    client.post("/submissions", ROLES["quality"], {"records": [_grant(plant)]}, "screens-grant")
    client.get(f"/examinations/{EXAMINATION}/balls", ROLES["examiner"])
    let_people_in(plant.demo.url)
    publish_once(plant.book)
    _check(plant)


def _grant(plant: DemoPlant) -> dict[str, Any]:
    """The outside auditor may look at the shell lot of the example ball."""
    now_ms = plant.book.clock_ms()
    return {
        "kind": "examination-granted",
        "at": instant_text(now_ms),
        "examination": EXAMINATION,
        "account": plant.book.account_of(plant.demo.tokens[ROLES["examiner"]]).account,
        "from_at": instant_text(now_ms - ADDED_MS),
        "to_at": instant_text(now_ms + 30 * 86_400_000),
        "lots": [plant.places["unit_lot"]],
    }


def _check(plant: DemoPlant) -> None:
    """Have the book checked, as the page of the book does."""
    keys = plant.book.checkpoint_keys
    checks = BookChecks(
        plant.book.store, origin=plant.demo.origin, keys=keys, clock_ms=plant.book.clock_ms, apart=False
    )
    checks.begin(plant.book.account_of(plant.demo.tokens[ROLES["auditor"]]).account)
    checks.wait()


@contextmanager
def demo_plant(built: Path, folder: Path, **changes: Any) -> Iterator[DemoPlant]:
    """A service in this process over a copy of a built book, which is made in ``folder``; ``changes`` are settings.

    Its clock goes on from where the story of the plant ends.
    """
    shutil.copytree(built, folder)
    demo = msgspec.json.decode((folder / "demo.json").read_bytes(), type=DemoBook)
    demo = msgspec.structs.replace(demo, file=str(folder / STORE))
    began, delivery = time.monotonic(), Delivery()
    book = open_book(
        demo.url,
        origin=demo.origin,
        signers=demo_signers(demo.seed),
        label_stem=demo.label_stem,
        clock_ms=lambda: demo.now_ms + int((time.monotonic() - began) * 1000),
        deliver=delivery,
    )
    # What is published is told as the plan has it; nothing goes out from here.
    book.publish_by(witness_plan(), Outgoing(WITHIN_S))
    book.start()
    settings = Settings(store_url=demo.url, label_stem=demo.label_stem, public_per_minute=60_000, public_burst=10_000)
    with serving(create_app(book, msgspec.structs.replace(settings, **changes), delivery)) as address:
        yield DemoPlant(address, book, demo)
