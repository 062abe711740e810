"""The drill: the primary dies under load, the standby takes over; what was acknowledged is there, and there is one book."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.replication import standbys
from tests.whole.load import Load, check_whole
from tests.whole.postgres_pair import postgres_pair
from tests.whole.serving import ServiceProcess, new_premises


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
