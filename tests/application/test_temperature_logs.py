"""Temperature logs taken in and shown: what of the file counts, what is said of it, and where it is seen."""

from __future__ import annotations

import io
import zipfile

import msgspec
import pytest

from ledger.application.temperature_logs import POINTS, LogAsked
from ledger.book.instant import Instant, format_instant
from ledger.book.signing import format_verifier
from ledger.errors import Contradiction, KeyReused, MalformedInput, NotFound, UnknownSubject
from ledger.evidence.verifier import check_dossier
from ledger.line.process_plan import Stage
from ledger.store.answer import Entered
from tests.application.floor import DAY_S, START_MS, Floor, at, corrected, floor_signers, plan, worked

CURED = [{"stage": "final-cure", "min_s": DAY_S, "low_c": "21", "high_c": "26", "gap_s": 1_800}]
DEMOULDED = 40.25
"""Hours at which SL-1 was demoulded."""


def csv(from_h: float, to_h: float, degrees: str = "23.4", step_s: int = 900) -> bytes:
    """A log with a reading every quarter of an hour; ``degrees`` are said in turn, parted by spaces."""
    said = degrees.split()
    first, last = (START_MS + round(hours * 3_600_000) for hours in (from_h, to_h))
    lines = [
        f"{format_instant(Instant(ms, 0))},{said[place % len(said)]}"
        for place, ms in enumerate(range(first, last + 1, step_s * 1000))
    ]
    return ("instant,temperature_c\n" + "\n".join(lines)).encode()


def send(floor: Floor, raw: bytes, stage: Stage = "final-cure", lot: str = "SL-1", key: str = "log-1") -> Entered:
    """Send a log in the lead's name."""
    _, waiting = floor.book.log_temperature(LogAsked(lot, stage, raw), key, floor.lead)
    entered: Entered = waiting.result(30)
    return entered


def test_a_log_is_cut_to_its_stage(ready: Floor) -> None:
    """Switched on before the demoulding, read out after the turning: both are left out, and counted."""
    ready.say(worked("SL-1", "turned", 66.25))
    send(ready, csv(39.25, 68.25, "5 5 5 5 23"))
    [log] = ready.book.temperature_logs("SL-1").logs
    assert (105, 4 + 8, at(DEMOULDED), at(66.25)) == (
        log.summary.readings, log.summary.left_out, log.summary.first_at, log.summary.last_at,
    )  # fmt: skip
    assert ("5 to 23 deg C, no gaps", "stored", 105) == (log.says, log.file, len(log.points))


def test_the_plan_says_what_is_a_gap_and_what_was_too_cold(ready: Floor) -> None:
    """The limits are those of the plan in force, and the breach holds the lot."""
    ready.say(plan("M1", windows=CURED, at=at(1)))
    raw = csv(DEMOULDED, 50, "23 20.5") + b"\n" + csv(51, 66, "23").split(b"\n", 1)[1]
    entered = send(ready, raw)
    [log] = ready.book.temperature_logs("SL-1", "final-cure").logs
    assert (1_800, "21", "26", 1) == (
        log.summary.gap_limit_s, log.summary.low_c, log.summary.high_c, log.summary.gap_count,
    )  # fmt: skip
    assert ["cure-temperature", "cure-temperature"] == [one.code for one in entered.breaches[0]]
    assert [one.said in text for one, text in zip(entered.breaches[0], log.breaches, strict=True)] == [True, True]
    assert {"cure-temperature"} == {hold.reason for hold in ready.book.lot("SL-1").holds if hold.open}
    assert () == ready.book.temperature_logs("SL-1", "shell-demould").logs


def test_rests_and_demouldings_end_where_the_book_says(ready: Floor) -> None:
    """A block lot rests from its demoulding until the last core was poured round it; a pour lasts until it is demoulded."""
    send(ready, csv(2, 60), "block-rest", "BL-1", "log-k1")
    send(ready, csv(2, 60, step_s=60), "block-demould", "BL-1", "log-k2")
    rest, demould = (ready.book.temperature_logs("BL-1", stage).logs[0] for stage in ("block-rest", "block-demould"))
    assert (at(3.25), at(30)) == (rest.summary.first_at, rest.summary.last_at)
    assert (at(3), at(3.25)) == (demould.summary.first_at, demould.summary.last_at)


def test_the_same_key_gives_the_same_entry_and_no_other_log(ready: Floor) -> None:
    """Though the clock has gone on; another log, lot or stage under the key is refused."""
    first = send(ready, csv(41, 60))
    ready.now_ms += 60_000
    again = send(ready, csv(41, 60))
    assert (first.index, True) == (again.index, again.repeated)
    with pytest.raises(KeyReused):
        send(ready, csv(41, 61))
    with pytest.raises(KeyReused):
        send(ready, csv(41, 60), "shell-demould")


@pytest.mark.parametrize(
    ("lot", "stage", "raw", "error"),
    [
        ("NONE", "final-cure", csv(41, 60), UnknownSubject),
        ("CL-1", "final-cure", csv(41, 60), Contradiction),
        ("DRUM", "final-cure", csv(41, 60), Contradiction),
        ("SL-1", "final-cure", csv(1, 30), MalformedInput),
        ("SL-1", "final-cure", b"2026-03-02T09:00:00,20\n", MalformedInput),
    ],
)
def test_what_cannot_be_taken_leaves_nothing_behind(
    ready: Floor, lot: str, stage: Stage, raw: bytes, error: type[Exception]
) -> None:
    """No entry and no blob."""
    size = ready.book.standing().entries
    with pytest.raises(error):
        send(ready, raw, stage, lot)
    assert size == ready.book.standing().entries
    with ready.book.store.reading() as transaction:
        assert (0,) == tuple(transaction.rows('SELECT count(*) FROM "blob"')[0])


def test_an_entry_stands_without_its_file(ready: Floor) -> None:
    """A summary said over the general way in: not stored; then stored as something else."""
    send(ready, csv(41, 60))
    [log] = ready.book.temperature_logs("SL-1").logs
    said = {
        "kind": "temperature-logged", "at": at(80), "lot": "SL-1", "stage": "final-cure", "digest": "d" * 64,
        "length": 5, "summary": msgspec.to_builtins(log.summary),
    }  # fmt: skip
    ready.say(said)
    ready.say({**said, "digest": log.digest, "summary": {**said["summary"], "warmest_c": "30"}})
    standings = [(one.file, len(one.points)) for one in ready.book.temperature_logs("SL-1").logs]
    assert [("stored", 77), ("not stored", 0), ("stored, and its summary is another", 77)] == standings


def test_points_are_thinned_and_keep_the_extremes(ready: Floor) -> None:
    """A reading a second for a few hours; one spike stays."""
    raw = csv(41, 44, step_s=1).replace(b",23.4", b",29.9", 1)
    send(ready, raw)
    [log] = ready.book.temperature_logs("SL-1").logs
    assert (True, "29.9") == (len(log.points) <= POINTS, max(one.celsius for one in log.points))


def test_cure_times_and_the_lot_say_it(ready: Floor) -> None:
    """What a ball's cure times and its lot show; a stage without a log says so, and one that is half covered."""
    ready.ball("U-1", "P-1", hours=66.25)
    send(ready, csv(40, 66, "22.9 24.1"), key="log-k1")
    cures = {cure.stage: cure.temperature for cure in ready.book.ball("U-1").cures}
    assert ("22.9 to 24.1 deg C, no gaps", "no log") == (cures["final-cure"], cures["core-rest"])
    send(ready, csv(3, 10), "block-rest", "BL-1", "log-k2")
    cures = {cure.stage: cure.temperature for cure in ready.book.ball("U-1").cures}
    assert "23.4 to 23.4 deg C, no gaps, not the whole time" == cures["block-rest"]
    assert [("final-cure", "22.9 to 24.1 deg C, no gaps")] == [
        (one.stage, one.says) for one in ready.book.lot("SL-1").temperatures
    ]


def test_a_log_of_a_lot_that_went_on_is_the_balls_too(ready: Floor) -> None:
    """A rack of pieces split off: its log counts for the final cure of its balls, and not for the others'."""
    ready.say({"kind": "lot-split", "at": at(41), "lot": "SL-1", "into": "SL-1A", "count": 10})
    send(ready, csv(41, 70), lot="SL-1A")
    ready.ball("U-1", "P-1", hours=70)
    ready.ball("U-2", "P-2", hours=70, lot="SL-1A")
    cures = [
        {cure.stage: cure.temperature for cure in ready.book.ball(unit).cures}["final-cure"] for unit in ("U-1", "U-2")
    ]
    assert ["no log", "23.4 to 23.4 deg C, no gaps"] == [words.removesuffix(", not the whole time") for words in cures]


def test_a_withdrawn_log_is_not_shown(ready: Floor) -> None:
    """As any fact that a correction took back."""
    entered = send(ready, csv(41, 60))
    ready.say(corrected({"fact": entered.addresses[0]}))
    assert () == ready.book.temperature_logs("SL-1").logs


def test_a_dossier_carries_the_entry_of_a_log(ready: Floor) -> None:
    """The summary goes with it, and the file does not; whoever has the book's key accepts it."""
    ready.say(plan("M1", windows=CURED, at=at(1)))
    ready.ball("U-1", "P-1", hours=66.25)
    entered = send(ready, csv(40, 67, "23 19"))
    out = io.BytesIO()
    ready.book.dossier(["P-1"], out)
    found = check_dossier(out, [format_verifier(floor_signers().checkpoint.verifier)])
    with zipfile.ZipFile(out) as archive:
        raw = archive.read(f"entries/{entered.index}.json")
        names = " ".join(archive.namelist())
    [record] = msgspec.json.decode(raw)["said"]["records"]
    digest = ready.book.temperature_logs("SL-1").logs[0].digest
    assert (1, "19", "23", digest, False) == (
        found.counts.balls, record["summary"]["coldest_c"], record["summary"]["warmest_c"], record["digest"], digest in names,
    )  # fmt: skip


def test_an_unknown_lot_has_no_logs(ready: Floor) -> None:
    """It is not found."""
    with pytest.raises(NotFound):
        ready.book.temperature_logs("NONE")
