"""Temperature logs on every store: the row, the file beside the book, and a rebuild that gives the same."""

from __future__ import annotations

import msgspec

from ledger.line.process_plan import Stage
from ledger.line.temperature_log import parse_log
from ledger.line.temperature_rows import TemperatureLog
from ledger.line.temperature_summary import summarize
from ledger.store.blobs import put_blob, read_blob
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.writer import Writer
from tests.plant import AT, said

RAW = b"2026-03-02T09:00:00Z,71.5\n2026-03-02T09:00:10.5Z,-3\n"


def test_a_log_is_a_row_and_a_file(store: Store, writer: Writer) -> None:
    """Stored first, then said; the row is what the entry gives, and a withdrawn one goes."""
    kept = put_blob(store, RAW, "text/csv")
    stage: Stage = "final-cure"
    record = {
        "kind": "temperature-logged", "at": "2026-03-02T10:00:00.000+00:00", "lot": "SL-1", "stage": stage,
        "digest": kept.digest, "length": kept.length, "summary": msgspec.to_builtins(summarize(parse_log(RAW), 600)),
    }  # fmt: skip
    entered = writer.submit(said("log", record), "a-station").result(30)
    with open_reader(store) as reader:
        [row] = reader.rows(TemperatureLog, "lot", "SL-1")
    assert (entered.addresses[0], -3_000_000, 71_500_000, 34_250_000, 10_500) == (
        row.log, row.coldest, row.warmest, row.mean, row.longest_ms,
    )  # fmt: skip
    assert RAW == read_blob(store, row.digest).bytes
    rebuild_views(store)
    compare_views(store)
    changes = [{"fact": entered.addresses[0]}]
    writer.submit(said("no", {"kind": "correction", "at": AT, "reason": "x", "changes": changes}), "a-lead").result(30)
    with open_reader(store) as reader:
        assert [] == reader.rows(TemperatureLog, "lot", "SL-1")
    compare_views(store)
