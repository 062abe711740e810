"""Release policies and adopted files in the store: the views that the entries give, live, anew, and in chunks."""

from __future__ import annotations

import pytest

from ledger.errors import Refused
from ledger.line.release_policy import newest_policy
from ledger.line.rows import ChecklistRow, ReleasePolicy, RulebookRow
from ledger.store import rebuild
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.selections import every_row
from ledger.store.writer import Writer
from tests.plant import AT, said


def policy(key: str, **fields: object) -> object:
    """A policy as a submission."""
    return said(key, {"kind": "release-policy-set", "at": AT, "decision": "guarded", **fields})


def test_policies_and_files_are_the_same_however_they_are_folded(
    store: Store, writer: Writer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two of one entry too; the newest is found, and what a correction withdrew is gone."""
    first = writer.submit(policy("p-1"), "a-lead").result(30)  # type: ignore[arg-type]  # a submission
    twice = [
        {"kind": "release-policy-set", "at": AT, "decision": "simple", "house": house} for house in ("shown", "needed")
    ]
    second = writer.submit(said("p-2", *twice), "a-lead").result(30)
    lists = [{"kind": "checklist-adopted", "at": AT, "checklist": "own", "digest": digit * 64} for digit in ("a", "b")]
    entered = writer.submit(said("lists", *lists), "a-lead").result(30)
    books = {"kind": "rulebook-adopted", "at": AT, "rulebook": "own", "digest": "c" * 64}
    writer.submit(said("books", books), "a-lead").result(30)
    changes = [{"fact": entered.addresses[1]}]
    writer.submit(
        said("fix", {"kind": "correction", "at": AT, "reason": "mistyped", "changes": changes}), "a-lead"
    ).result(30)
    with open_reader(store) as reader:
        rows = reader.rows(ReleasePolicy, "scope", "plant")
        newest = newest_policy(rows)
        assert newest is not None
        assert reader.one(ReleasePolicy, second.addresses[1]) == newest
        assert [("a" * 64, False)] == [
            (row.digest, row.superseded) for row in every_row(reader.transaction, ChecklistRow)
        ]
        assert ["own"] == [row.rulebook for row in reader.rows(RulebookRow, "rulebook", "own")]
    assert {first.addresses[0], *second.addresses} == {row.address for row in rows}
    assert ("needed", second.index + 1) == (newest.house, newest.from_size)
    assert [] == compare_views(store)
    monkeypatch.setattr(rebuild, "CHUNK", 2)
    assert [] == compare_views(store)
    rebuild_views(store)
    assert [] == compare_views(store)


def test_a_policy_of_the_same_group_counts_for_the_next_entry(store: Store, writer: Writer) -> None:
    """Said one right after the other: a release that names no policy is refused once one is there."""
    said_first = writer.submit(policy("p-1"), "a-lead")  # type: ignore[arg-type]  # a submission
    release = {
        "kind": "release", "at": AT, "unit": "U-NONE", "grade": "first", "readings": "a" * 64, "plan": "1.0", "bases": [],
    }  # fmt: skip
    refused = writer.submit(said("r-1", release), "a-lead")
    said_first.result(30)
    with pytest.raises(Refused):
        refused.result(30)
    with open_reader(store) as reader:
        assert 1 == len(reader.rows(ReleasePolicy, "scope", "plant"))
