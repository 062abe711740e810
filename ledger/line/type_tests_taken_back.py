"""Type tests that a correction takes back: the shell lots of that revision are held, as balls may be released on them.

It is taken back where it is withdrawn, no longer accepted, or of another model, revision or quantity; also by a
correction that makes the model's revision another one under a test that named none.  Nothing is held where the test that
counts after the correction is an accepted one, nor lots of which no ball was begun.

A model can have more lots than an entry holds breaches.  A hold by rule on the model stops them all in one record, so a
correction that reaches more than `MOST_LOTS` lots is refused until there is one that stops release and shipment.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ledger.errors import RuleStands
from ledger.line.fact import Breach, parse_address
from ledger.line.lineage import ANY, fits_any
from ledger.line.rows import Hold, Lot, ModelJudged
from ledger.line.samples import type_test
from ledger.line.state import Need, State

TYPE_TEST_TAKEN_BACK = "type-test-taken-back"

MOST_LOTS = 100
"""Lots that one correction holds by themselves, so that an entry can hold a breach of each."""


def taken_back_needs(nodes: Iterable[str], state: State) -> Iterator[Need]:
    """What `tests_taken_back` reads. Cost: the lots of each model that has an accepted type test."""
    for model in _models(nodes):
        tests = Need(ModelJudged, "model", model)
        yield tests
        if state.has(tests) and any(row.accepted for row in state.where(ModelJudged, "model", model)):
            yield Need(Lot, "model", model)
            yield Need(Hold, "node", ANY)


def accepted_tests(nodes: Iterable[str], state: State) -> list[ModelJudged]:
    """The accepted type tests of the models among some nodes, in the order in which they were judged."""
    rows = [row for model in _models(nodes) for row in state.where(ModelJudged, "model", model) if row.accepted]
    return sorted(rows, key=lambda row: parse_address(row.model_test))


def tests_taken_back(before: Iterable[ModelJudged], state: State) -> list[Breach]:
    """A breach of each lot that rests on a test of ``before`` which the state no longer has. Raises RuleStands."""
    found: dict[tuple[str, str], Breach] = {}
    for test in before:
        now = state.held(ModelJudged, test.model_test)
        stays = now is not None and now.accepted and _of(now) == _of(test)
        counts = type_test(test.quantity, test.revision, state.where(ModelJudged, "model", test.model))
        if stays or (counts is not None and counts.accepted):
            continue
        for lot in _lots(test, state):
            found[lot.lot, test.quantity] = _breach(test, lot)
    if len(found) > MOST_LOTS:
        raise RuleStands(
            "more lots rest on the type test than one entry can hold by themselves",
            expected=f"at most {MOST_LOTS}",
            got=len(found),
            where="changes",
            mend="hold the model by rule first (hold-placed with rule: model), then take the test back",
        )
    return list(found.values())


def _models(nodes: Iterable[str]) -> list[str]:
    return sorted(node.partition(":")[2] for node in nodes if node.startswith("model:"))


def _of(test: ModelJudged) -> tuple[str, int, str]:
    return test.model, test.revision, test.quantity


def _lots(test: ModelJudged, state: State) -> list[Lot]:
    """The lots of the test's revision of which something was begun and that no hold by rule stops already."""
    stops = {"release", "shipment"}
    by_rule = [hold for hold in state.where(Hold, "node", ANY) if hold.open and stops <= set(hold.stops.split(","))]
    lots = [lot for lot in state.where(Lot, "model", test.model) if lot.stage == "shell" and lot.used]
    return [
        lot
        for lot in sorted(lots, key=lambda lot: parse_address(lot.address))
        if lot.revision == test.revision and not any(fits_any(hold, [lot], None) for hold in by_rule)
    ]


def _breach(test: ModelJudged, lot: Lot) -> Breach:
    return Breach(
        code=TYPE_TEST_TAKEN_BACK,
        node=f"lot:{lot.lot}",
        said=f"the accepted type test of {test.model} revision {test.revision} for {test.quantity} was taken back",
        fact=test.model_test,
        mend="test the model anew, or measure the balls that were released on it; then lift the hold",
    )
