"""The simulator of n plants, with tiny sizes. Nothing here looks at a time."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.application.proofs import check_book
from ledger.errors import MalformedInput
from ledger.line.serial import SERIAL_COUNT
from ledger.store.engine import open_store
from ops.bench.plant import LOT, ORIGIN, SIGNERS
from ops.bench.plant_upkeep import main as upkeep
from ops.bench.plants import Aim, Run, carried_table, load_plants, main, shared_serials


def test_each_plant_has_a_whole_book_of_its_balls(tmp_path: Path) -> None:
    """Two plants loaded at once leave two books that check, each with an entry for each of its balls."""
    runs = load_plants(tmp_path, 2, 40, at_once=True)
    assert [(40, LOT)] * 2 == [(run.balls, run.ready_balls) for run in runs]
    for number in range(2):
        store = open_store(f"sqlite:///{tmp_path / f'plant-{number:04}' / 'book.sqlite'}", migrate=False)
        try:
            report = check_book(store, ORIGIN, [SIGNERS.checkpoint.verifier])
        finally:
            store.close()
        assert report.views_compared
    assert all(run.registered_bytes > 0 and run.ready_bytes > 0 for run in runs)


def test_run_prints_what_it_comes_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A run in turn prints the machine and both tables, and leaves nothing in the folder."""
    words = ["--plants", "1", "--balls", "20", "--in-turn", "--folder", str(tmp_path), "--to-plants", "10"]
    assert 0 == main([*words, "--to-balls", "1000000"])
    told = capsys.readouterr().out
    assert "1 plants, 20 balls each, one after another" in told
    assert "| bytes of the file a ball | " in told
    assert "| 10 plants, 1,000,000 balls, 10 years | comes to |" in told
    assert [] == list(tmp_path.iterdir())


def test_figures_are_carried_on_by_straight_lines() -> None:
    """A ball of 3,000 bytes and 100 balls a second come to what so many times as many come to."""
    run = Run(100, 5.0, 6.0, 4_000_000, 2_000, 100_000, 80.0)
    told = carried_table([run], Aim(100, 1_000_000_000, 10))
    assert "| file of one plant | 30.0 GB |" in told
    assert "| files of all plants | 3.00 TB |" in told
    assert "| 0.069/s |" in told
    assert "| 0.0694% |" in told


def test_two_plants_share_as_many_serials_as_chance_gives() -> None:
    """One plant shares none with itself; two that use every number share every number."""
    assert 0 == shared_serials(Aim(plants=1, balls=1_000_000))
    assert SERIAL_COUNT == shared_serials(Aim(plants=2, balls=2 * SERIAL_COUNT))


def test_number_that_is_none_is_refused() -> None:
    """No plant, no ball and too many plants are refused by the name of the option."""
    for words, name in (
        (["--plants", "0"], "--plants"),
        (["--balls", "0"], "--balls"),
        (["--plants", "1001"], "--plants"),
    ):
        with pytest.raises(MalformedInput, match=name):
            main(words)


def test_upkeep_of_a_book_is_measured(capsys: pytest.CaptureFixture[str]) -> None:
    """A run of tiny sizes ends with a row for each thing that a plant's book costs."""
    assert 0 == upkeep(["--balls", "1", "--living", "1", "--heads", "2"])
    told = capsys.readouterr().out
    for what in (
        "bytes of the file a ball",
        "a backup",
        "checked with its views",
        "shipped",
        "heads cosigned",
        "request",
    ):
        assert f"{what}" in told
