"""Building the demo book: a new store, its accounts, and the whole story told to it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import msgspec

from fixtures_demo import bends
from fixtures_demo.approvals import tell_approvals
from fixtures_demo.claims import tell_claims
from fixtures_demo.cure_log import tell_cure_log
from fixtures_demo.days import DEMO_NOW, FIRST, clock
from fixtures_demo.engraving import tell_engraving
from fixtures_demo.floor import Floor
from fixtures_demo.gauges import gauge_records
from fixtures_demo.house import tell_house
from fixtures_demo.incidents import tell_incidents
from fixtures_demo.models import MODELS, model_records, rulebook_record
from fixtures_demo.plant import ACCOUNTS, LABEL_STEM, MAKER, ORIGIN, SEED, demo_salts, demo_seed, demo_signers
from fixtures_demo.pours import plan_batches, tell_round
from fixtures_demo.releasing import tell_release
from fixtures_demo.rounds import plan_rounds, prototype_round
from fixtures_demo.shipping import consignee_records, tell_shipments
from fixtures_demo.stock import Stock
from fixtures_demo.story import Story, StoryClock
from fixtures_demo.studies import tell_studies
from ledger.access.tokens import Account
from ledger.application.creating import create_book
from ledger.application.pourbook import Pourbook, open_book

STORE = "book.db"


class DemoBook(msgspec.Struct, frozen=True, kw_only=True):
    """A built demo book. ``tokens``: account key to bearer token; ``notes``: what the story counted beside the book."""

    file: str
    seed: int
    origin: str
    label_stem: str
    now_ms: int
    tokens: dict[str, str]
    resin_lot: str
    notes: dict[str, int]

    @property
    def url(self) -> str:
        """The address of its store."""
        return f"sqlite:///{self.file}"


def build_demo_book(folder: Path, *, seed: int = SEED, progress: Callable[[float], None] | None = None) -> DemoBook:
    """Build the demo book in a folder that holds none yet, in about 15 s; ``progress`` is told the share that is done.

    The same seed gives the same facts at the same instants; account ids and tokens are random as in any book.
    Raises Contradiction where the folder holds a book.
    """
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / STORE
    story_clock = StoryClock(clock(FIRST, "05:30"))
    signers, salts = demo_signers(seed), demo_salts(seed)
    created = create_book(
        f"sqlite:///{file}",
        origin=ORIGIN,
        plant=MAKER,
        signers=signers,
        keeper="System keeper",
        clock_ms=story_clock,
        salts=salts,
        serial_key=demo_seed("serials", seed),
    )
    book = open_book(
        f"sqlite:///{file}", origin=ORIGIN, signers=signers, label_stem=LABEL_STEM, clock_ms=story_clock, salts=salts
    )
    book.start()
    try:
        people, tokens = _open_accounts(book)
        story = Story(book, story_clock, people)
        resin_lot = _plan(story, seed)
        story.run(DEMO_NOW, None if progress is None else _share(progress))
    finally:
        book.close()
    return DemoBook(
        file=str(file),
        seed=seed,
        origin=ORIGIN,
        label_stem=LABEL_STEM,
        now_ms=DEMO_NOW,
        tokens={"keeper": created.token, **tokens},
        resin_lot=resin_lot,
        notes=story.notes,
    )


def open_demo_book(demo: DemoBook, clock_ms: Callable[[], int]) -> Pourbook:
    """The demo book opened over the same keys, not started. Salts are fresh. Raises StoreError."""
    signers = demo_signers(demo.seed)
    return open_book(demo.url, origin=demo.origin, signers=signers, label_stem=demo.label_stem, clock_ms=clock_ms)


def _open_accounts(book: Pourbook) -> tuple[dict[str, Account], dict[str, str]]:
    people, tokens = dict[str, Account](), dict[str, str]()
    for key, (name, roles) in ACCOUNTS.items():
        people[key], tokens[key] = book.open_account(name, roles)
    return people, tokens


def _plan(story: Story, seed: int) -> str:
    """Put the whole story in order; the resin lot that is held in it."""
    began = clock(FIRST, "06:00")
    for model in MODELS:
        story.say(began, "quality-1", f"model-{model.model}", model_records(model))
    story.say(began, "quality-1", "rulebook", [rulebook_record()])
    story.say(began, "desk", "consignees", consignee_records(began))
    gauges = gauge_records(story.book.store, bends.OVERDUE_GAUGE, bends.OVERDUE_AT)
    story.say(began, "gauges", "gauges", gauges)
    tell_studies(story)
    tell_house(story)
    rounds = [bends.bend(one) for one in plan_rounds(seed)] + [prototype_round()]
    batches, resin_lot = plan_batches(rounds, Stock(story))
    floor = Floor()
    for one in rounds:
        for shell in tell_round(story, one, batches):
            workday = tell_engraving(story, floor, shell, seed)
            tell_release(story, floor, shell.lot, workday, seed)
    tell_shipments(story, floor, seed)
    tell_claims(story, floor, seed)
    tell_incidents(story, floor, resin_lot, seed)
    tell_cure_log(story, seed)
    tell_approvals(story, seed)
    return resin_lot


def _share(progress: Callable[[float], None]) -> Callable[[int], None]:
    began = clock(FIRST, "05:30")
    return lambda now_ms: progress((now_ms - began) / (DEMO_NOW - began))
