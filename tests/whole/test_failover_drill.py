"""The drill: the primary dies under load, the standby takes over; what was acknowledged is there, and there is one book.

The second account is that of a pair whose commits wait for no standby: what is missing then, and how the book says so.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from ledger.book.receipt import check_receipt
from ledger.errors import CheckFailed
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.replication import standbys
from ops.cli import main
from tests.plant import ORIGIN
from tests.whole.load import Load, check_whole
from tests.whole.postgres_pair import postgres_pair
from tests.whole.serving import Premises, ServiceProcess, new_premises


def _followed(url: str) -> list[tuple[bool, bool]]:
    """Of each standby: whether commits wait for it, and whether it is seen how far it is."""
    store = open_store(url, migrate=False)
    with open_reader(store) as reader:
        found = [(one.synchronous, one.behind is not None) for one in standbys(reader.transaction)]
    store.close()
    return found


def _tell(line: str) -> None:
    """A line of the drill's account, which `pytest -s` shows."""
    sys.stdout.write(f"{line}\n")


def _size(url: str) -> int:
    store = open_store(url, migrate=False)
    with open_reader(store) as reader:
        size = reader.head().size
    store.close()
    return size


def test_a_standby_takes_over_without_loss_or_fork(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With `remote_apply` no acknowledged ball is lost with the primary, and that one cannot go on when it returns."""
    monkeypatch.setenv("POURBOOK_CHECKPOINT_COPY", str(tmp_path / "checkpoint.copy"))
    with postgres_pair() as pair:
        premises = new_premises(tmp_path, pair.book_at(standby=False))
        pair.wait_for_standby()
        load = Load(premises.token)
        service = ServiceProcess(premises)
        running = load.start([service.ready()], 6)
        load.wait_for(60)
        assert [(True, True)] == _followed(premises.url)
        pair.kill_primary()
        _tell(f"primary killed under load: {len(load.acknowledged)} balls acknowledged so far")
        running.stop()
        service.kill()

        pair.promote()
        moved = premises._replace(url=pair.book_at(standby=True))
        service = ServiceProcess(moved)
        address = service.ready()
        known = len(load.acknowledged)
        entered = load.settle(address)
        _tell(f"standby promoted, service on it: {_size(moved.url)} entries")
        _tell(f"{known} acknowledged balls are there; of those without an answer {entered} had been entered")
        load.start([address], 4, 20).join()
        assert 0 == service.stop()
        check_whole(moved, load)

        pair.start_old_primary()
        _tell(f"old primary back: {_size(premises.url)} entries; the book has {_size(moved.url)}")
        stale = ServiceProcess(premises)
        assert 1 == stale.stop_refused()
        refusal = stale.log.read_text("utf-8").split("pourbook: ")[-1].splitlines()[0]
        _tell(f"a service on it does not start: {refusal}")
        assert "checkpoint known elsewhere" in refusal


def test_what_an_asynchronous_standby_may_lose(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without `remote_apply` the account says how many acknowledged balls are gone, and the book itself says it from then on."""
    copy = tmp_path / "checkpoint.copy"
    monkeypatch.setenv("POURBOOK_CHECKPOINT_COPY", str(copy))
    with postgres_pair() as pair:
        premises = new_premises(tmp_path, pair.book_at(standby=False))
        for name, value in premises.variables().items():
            monkeypatch.setenv(name, value)
        load = Load(premises.token)
        service = ServiceProcess(premises)
        address = service.ready()
        load.start([address], 4, 40).join()
        pair.wait_applied()
        pair.stop_standby()
        running = load.start([address], 4)
        load.wait_for(40)
        _tell("primary killed under load, the standby away since 40 balls, commits not waiting for it")
        pair.kill_primary()
        running.stop()
        service.stop()

        pair.start_standby()
        pair.promote()
        stale = premises._replace(url=pair.book_at(standby=True))
        size = _size(stale.url)
        lost = {ball for ball, found in load.acknowledged.items() if found.entry >= size}
        _tell(
            f"standby promoted: {size} entries; of {len(load.acknowledged)} acknowledged balls {len(lost)} are missing"
        )
        assert len(lost) >= 40
        _check_refused(stale)
        restored = _restored(stale, pair.book_beside(), copy)
        _go_on(restored, load, lost)


def _check_refused(stale: Premises) -> None:
    """The checkpoint in the second place is ahead of the promoted standby: no service starts on it."""
    service = ServiceProcess(stale)
    assert 1 == service.stop_refused()
    refusal = service.log.read_text("utf-8").split("pourbook: ")[-1].splitlines()[0]
    _tell(f"a service on it does not start: {refusal}")
    assert "older than a checkpoint known elsewhere" in refusal


def _restored(stale: Premises, url: str, copy: Path) -> Premises:
    """What the operator does who has nothing better: the standby's book, backed up and restored with the loss said."""
    identity, file = stale.folder / "backup.identity", stale.folder / "standby.age"
    assert 0 == main(["keys", "new-backup", str(identity)])
    assert 0 == main(["backup", str(file), "--store", stale.url, "--recipient", identity.read_text("utf-8").split()[3]])
    words = [str(file), "--identity", str(identity), "--to", url, "--key", stale.verifier, "--seen", str(copy)]
    assert 1 == main(["restore", *words])
    assert 0 == main(["restore", *words, "--lose", "failover"])
    return stale._replace(url=url)


def _go_on(restored: Premises, load: Load, lost: set[int]) -> None:
    """The book goes on; what was lost is registered again, and its old receipts are of no entry that is there."""
    receipts = {load.acknowledged[ball].entry: load.acknowledged.pop(ball).receipt for ball in lost}
    load.unknown |= lost
    service = ServiceProcess(restored)
    again = load.settle(service.ready())
    assert 0 == service.stop()
    _tell(f"backed up and restored with the loss said: {len(lost)} balls sent again, {again} of them known")
    check_whole(restored, load)
    store = open_store(restored.url, migrate=False)
    with open_reader(store) as reader:
        kept = {entry: bytes(reader.entry(entry).bytes) for entry in receipts}
        said = [entry.index for entry in reader.entries(0, reader.head().size) if b'"book-restored"' in entry.bytes]
    store.close()
    for entry, raw in kept.items():
        with pytest.raises(CheckFailed):
            check_receipt(receipts[entry], raw, [restored.verifier], ORIGIN)
    _tell(f"none of the {len(receipts)} receipts of what was lost fits the book; entry {said[0]} says what is missing")
    assert 1 == len(said)
