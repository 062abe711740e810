"""`pourbook serve` with witnesses: it publishes, shows it, keeps it in a second place, and does not start on an older store."""

from __future__ import annotations

import shutil
import signal
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from ledger.book.checkpoint import parse_checkpoint
from ledger.book.policy import PolicyWitness, check_by_policy, format_policy, parse_policy
from ledger.book.receipt import check_receipt
from ledger.book.signing import Verifier
from ops.key_files import create_key_file, open_key_file
from tests.api.running import engraved
from tests.api.test_serve_command import PASSWORD, plant, started
from tests.plant import ORIGIN
from tests.witnesses import Running, policy_of, running_witness

__all__ = ["plant"]

Settings = tuple[dict[str, str], str]


@pytest.fixture
def log_key(tmp_path: Path, plant: Settings) -> Verifier:
    """The key that signs the book."""
    return open_key_file(tmp_path / "checkpoint.key", PASSWORD).verifier


@pytest.fixture
def witness(tmp_path: Path, log_key: Verifier) -> Iterator[Running]:
    """A witness that knows the book."""
    with running_witness(tmp_path, "w", {ORIGIN: [log_key]}) as running:
        yield running


@pytest.fixture
def settings(tmp_path: Path, plant: Settings, witness: Running) -> dict[str, str]:
    """The service's variables: with a policy, and a copy elsewhere."""
    (tmp_path / "policy").write_bytes(format_policy(policy_of(witness.named("w"))))
    (tmp_path / "elsewhere").mkdir()
    return {
        **plant[0],
        "POURBOOK_WITNESS_POLICY": str(tmp_path / "policy"),
        "POURBOOK_CHECKPOINT_COPY": str(tmp_path / "elsewhere" / "checkpoint"),
        "POURBOOK_PUBLISH_S": "1",
    }


def published_at_least(address: str, size: int) -> bytes:
    """The published checkpoint, once it is of this size or more."""
    while True:
        answer = httpx.get(f"{address}/checkpoint/published", timeout=60)
        if answer.status_code == 200 and parse_checkpoint(answer.content).tree_size >= size:
            return answer.content


def test_it_publishes_and_refuses_an_older_store(
    tmp_path: Path, project: Path, plant: Settings, settings: dict[str, str], log_key: Verifier
) -> None:
    """One ball later the backup is refused: by the witness, and without it by the copy of what was published."""
    shutil.copy(tmp_path / "book.sqlite", tmp_path / "backup.sqlite")
    policy = parse_policy((tmp_path / "policy").read_bytes())
    headers = {"authorization": f"Bearer {plant[1]}", "idempotency-key": "ball-1"}
    with started(tmp_path, project, **settings) as (process, lines):
        address = lines.get(timeout=60).split(" at ")[1].split(" ")[0]
        assert "ready\n" == lines.get(timeout=60)
        entered = httpx.post(f"{address}/balls", json=engraved(1), headers=headers, timeout=60).json()
        index = entered["entry"]
        note = published_at_least(address, index + 1)
        receipt = httpx.get(f"{address}/receipts/{index}", params={"published": "true"}, timeout=60).text
        entry = httpx.get(f"{address}/entries/{index}/bytes", headers=headers, timeout=60).content
        last = httpx.post(
            f"{address}/balls", json=engraved(2), headers={**headers, "idempotency-key": "ball-2"}, timeout=60
        ).json()["entry"]
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=60)

    assert check_by_policy(note, policy, ORIGIN, log_keys=[log_key]).cosignatures
    assert check_receipt(receipt, entry, [log_key, *policy.verifiers()]).checkpoint.cosignatures
    # What was entered just before the stop is published too.
    kept = (tmp_path / "elsewhere" / "checkpoint.published").read_bytes()
    assert last + 1 == check_by_policy(kept, policy, ORIGIN, log_keys=[log_key]).tree_size

    for name in ("-wal", "-shm"):
        (tmp_path / f"book.sqlite{name}").unlink(missing_ok=True)
    shutil.move(tmp_path / "backup.sqlite", tmp_path / "book.sqlite")
    with started(tmp_path, project, **settings) as (process, lines):
        said = process.wait(timeout=60), lines.get(timeout=60)
    assert (1, True) == (said[0], "witness w.witness.test: store is older than a head that a witness signed" in said[1])
    (tmp_path / "elsewhere" / "checkpoint").unlink()
    alone = {name: value for name, value in settings.items() if name != "POURBOOK_WITNESS_POLICY"}
    with started(tmp_path, project, **alone) as (process, lines):
        said = process.wait(timeout=60), lines.get(timeout=60)
    assert (1, True) == (said[0], "store is older than a checkpoint known elsewhere" in said[1])


def test_a_witness_that_is_away_stops_nothing(
    tmp_path: Path, project: Path, plant: Settings, settings: dict[str, str], witness: Running
) -> None:
    """The service starts, takes balls, and says on its log and its standing who was not heard."""
    (tmp_path / "policy").write_bytes(format_policy(policy_of(replace(witness.named("w"), url="http://127.0.0.1:9"))))
    headers = {"authorization": f"Bearer {plant[1]}", "idempotency-key": "ball-1"}
    with started(tmp_path, project, **settings) as (_, lines):
        told = [lines.get(timeout=60) for _ in range(3)]
        address = next(line for line in told if " at http" in line).split(" at ")[1].split(" ")[0]
        assert 201 == httpx.post(f"{address}/balls", json=engraved(1), headers=headers, timeout=60).status_code
        standing = httpx.get(f"{address}/checkpoint/published/standing", headers=headers, timeout=60).json()
    assert any("witness w.witness.test was not heard" in line for line in told)
    assert (None, "its address is on the machine of the book") == (
        standing["published"],
        standing["witnesses"][0]["beside"],
    )


def test_a_witness_key_beside_the_books_counts_as_none(
    tmp_path: Path, project: Path, plant: Settings, settings: dict[str, str]
) -> None:
    """The key file lies in the folder of the book's own key: the standing says so."""
    signer = create_key_file(tmp_path / "w.key", "near.example", "witness", PASSWORD)

    near = PolicyWitness("near", signer.verifier, "https://near.invalid")
    (tmp_path / "policy").write_bytes(format_policy(policy_of(near)))
    headers = {"authorization": f"Bearer {plant[1]}"}
    with started(tmp_path, project, **settings, POURBOOK_OUTGOING_S="1") as (_, lines):
        while " at http" not in (line := lines.get(timeout=60)):
            pass
        address = line.split(" at ")[1].split(" ")[0]
        while "ready" not in lines.get(timeout=60):
            pass
        standing = httpx.get(f"{address}/checkpoint/published/standing", headers=headers, timeout=60).json()
    assert "its key lies in the folder of the book's own key" == standing["witnesses"][0]["beside"]


def test_a_policy_that_is_none_is_told_at_the_start(tmp_path: Path, project: Path, settings: dict[str, str]) -> None:
    """The variable, the line and the reason, before anything is served."""
    (tmp_path / "policy").write_text("quorum nobody\n", encoding="utf-8")
    with started(tmp_path, project, **settings) as (process, lines):
        said = process.wait(timeout=60), lines.get(timeout=60)
    assert (1, True) == (said[0], "POURBOOK_WITNESS_POLICY, policy line 1: quorum is not defined above" in said[1])
