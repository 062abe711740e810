"""Several processes at one check: they find what one alone finds, in the same order, and leave nothing behind."""

from __future__ import annotations

import io
import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.errors import CheckFailed, DossierRejected, MalformedInput
from ledger.evidence import balls_check, manifest_check, station_check
from ledger.evidence.hands import ONE_HAND, Hands
from ledger.evidence.proofs_check import check_proofs
from ledger.evidence.report import fault_json
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ops import several_hands
from ops.several_hands import SeveralHands, hands_for
from tests.evidence.signed_entries import INTRODUCED, SAYS, STATION, signed_dossier
from tests.evidence.small_dossier import KEY, dossier
from tests.evidence.tamperings import TAMPERINGS
from tests.evidence.witnessed_dossier import trust_of

pytestmark = pytest.mark.skipif(not Path("/proc/self").exists(), reason="looks for processes where Linux lists them")

PARTS = range(7)
THREE = SeveralHands(3)


@pytest.fixture(autouse=True)
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Parts so small that little dossiers have several, each of which is shared."""
    monkeypatch.setattr(manifest_check, "_PART", 5)
    monkeypatch.setattr(station_check, "_PART", 1)
    monkeypatch.setattr(balls_check, "PART", 1)
    monkeypatch.setattr(several_hands, "FEWEST", 1)


def told(check: Callable[..., Any], raw: bytes, trust: Trust, hands: Hands) -> Any:
    """What a check says of these bytes, a fault too."""
    try:
        return check(io.BytesIO(raw), trust, hands).as_json()
    except (MalformedInput, CheckFailed) as error:
        return fault_json(error)


@pytest.mark.parametrize("check", [check_dossier, check_proofs])
@pytest.mark.parametrize("name", list(TAMPERINGS))
def test_faults_are_those_that_one_finds(name: str, check: Callable[..., Any]) -> None:
    """The first thing that is wrong is the first whoever looks, and all that is told of it is the same."""
    tampering = TAMPERINGS[name]
    raw, trust = tampering.make(), trust_of(tampering.trust, time.time_ns() // 1_000_000)

    assert told(check, raw, trust, ONE_HAND) == told(check, raw, trust, THREE)


def test_good_dossiers_are_told_alike(tmp_path: Path) -> None:
    """From a file, which all of them read, with stations' signatures and without."""
    for number, raw in enumerate((dossier(), signed_dossier([[INTRODUCED], [SAYS], [SAYS]], {3: STATION, 4: STATION}))):
        path = tmp_path / f"{number}.zip"
        path.write_bytes(raw)
        with path.open("rb") as file:
            found = [check_dossier(file, [KEY], hands).as_json() for hands in (ONE_HAND, SeveralHands(2), THREE)]
        assert found[0]["ok"]
        assert found[0] == found[1] == found[2]


def test_parts_come_in_their_order() -> None:
    """Whoever did them; and what a part gives may be long, or nothing."""
    assert [bytes(part) * 100_000 for part in PARTS] == list(THREE.each(lambda part: bytes(part) * 100_000, PARTS))


def test_parts_are_done_elsewhere() -> None:
    """By as many processes as were asked for, none of them this one."""
    pids = {int(raw) for raw in THREE.each(lambda _: str(os.getpid()).encode(), PARTS)}
    assert 3 == len(pids - {os.getpid()})


def test_a_child_that_is_killed_is_stood_in_for() -> None:
    """What it had not told is done here."""
    parent = os.getpid()

    def work(part: int) -> bytes:
        if part == 4 and os.getpid() != parent:
            os.kill(os.getpid(), signal.SIGKILL)
        return b"%d" % part

    assert [b"%d" % part for part in PARTS] == list(THREE.each(work, PARTS))


def pid_of_who_does_it(part: int) -> bytes:
    """The process that does a part; from the fourth part on, a fault."""
    if part > 2:
        raise DossierRejected(f"part {part} is wrong")
    return b"%d" % os.getpid()


def are_gone(pids: list[bytes]) -> bool:
    """Whether none of these processes is there any more, not even as one that nobody waited for."""
    return not any(Path(f"/proc/{int(pid)}").exists() for pid in pids)


def test_a_part_that_fails_fails_in_its_turn() -> None:
    """Earlier parts are told before, and the error is the part's own; no child outlives it."""
    given = iter(THREE.each(pid_of_who_does_it, PARTS))
    pids = [next(given), next(given), next(given)]
    with pytest.raises(DossierRejected, match="part 3 is wrong"):
        next(given)
    assert 3 == len({*pids})
    assert are_gone(pids)


def test_what_is_left_unasked_is_stopped() -> None:
    """Whoever stops asking leaves no process that works on."""
    given: Iterator[bytes] = THREE.each(pid_of_who_does_it, PARTS)
    pids = [next(given), next(given), next(given)]
    given.close()  # type: ignore[attr-defined]  # a generator, which a caller drops as a rule
    assert are_gone(pids)


@pytest.mark.parametrize("hands", [ONE_HAND, SeveralHands(2), THREE])
def test_a_fault_beside_goes_before_one_inside(hands: Hands) -> None:
    """What is done beside is told as if it had been done before."""

    def wrong(part: int) -> bytes:
        if part == 3:
            raise DossierRejected("beside")
        return b""

    with pytest.raises(DossierRejected, match="beside"), hands.beside(wrong, PARTS):
        raise DossierRejected("inside")
    with pytest.raises(DossierRejected, match="inside"), hands.beside(bytes, PARTS):
        raise DossierRejected("inside")
    with hands.beside(bytes, PARTS):
        pass


def test_one_is_one_hand() -> None:
    """Where one is asked for, nothing is copied."""
    assert hands_for(1) is ONE_HAND
    assert isinstance(hands_for(2), SeveralHands)
