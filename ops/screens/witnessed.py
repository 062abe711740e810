"""Who witnesses the demo book that is looked at: one party that signed its head, and one that could not be reached."""

from __future__ import annotations

import tempfile
from pathlib import Path

from api.outgoing import Outgoing
from api.server import serving
from api.witness.app import witness_app
from fixtures_demo.plant import SEED, demo_seed
from ledger.application.pourbook import Pourbook
from ledger.application.witness import Witness
from ledger.book.policy import Policy, PolicyGroup, PolicyWitness
from ledger.book.signing import Signer, signer_from_seed
from ledger.duties.publishing import Publishing, PublishingPlan
from ledger.store.witness_state import open_witness_state

SIGNS, AWAY = "second-party", "third-party"
NOWHERE = "http://127.0.0.1:9"
"""Port 9 (RFC 863, discard), on which nothing answers."""
WITHIN_S = 30.0


def witness_plan(signs: str = NOWHERE) -> PublishingPlan:
    """Two witnesses, of which one has to sign; ``signs``: the address of the one that does."""
    parties = tuple(PolicyWitness(name, _key(name).verifier, url) for name, url in ((SIGNS, signs), (AWAY, NOWHERE)))
    one_of_them = PolicyGroup("one-of-two", 1, tuple(party.name for party in parties))
    return PublishingPlan(policy=Policy(witnesses=parties, groups=(one_of_them,), quorum=one_of_them.name))


def publish_once(book: Pourbook) -> None:
    """Have a book's newest checkpoint signed by the party that does, at the book's own time, and published."""
    with tempfile.TemporaryDirectory() as place:
        state = open_witness_state(Path(place) / "state", begin=True)
        try:
            party = Witness(state, [_key(SIGNS)], lambda: {book.origin: book.checkpoint_keys()}, book.clock_ms)
            with serving(witness_app(party)) as address:
                Publishing(
                    book.store,
                    witness_plan(address),
                    Outgoing(WITHIN_S),
                    newest=book.checkpoint,
                    keys=book.checkpoint_keys,
                    clock_ms=book.clock_ms,
                ).turn()
        finally:
            state.close()


def _key(name: str) -> Signer:
    return signer_from_seed(f"{name}.example/witness", demo_seed(name, SEED), "witness")
