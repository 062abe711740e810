"""How far the book is, is witnessed and followed, in Prometheus text form (exposition format 0.0.4), for whoever watches the service."""

from collections.abc import Iterable, Sequence

from ledger.application.watching import Watched
from ledger.application.witnessing import Witnessing
from ledger.store.read_store import ReadStore

Sample = tuple[dict[str, str], float]


def witnessing_exposition(found: Witnessing, now_ms: int) -> str:
    """Gauges: what is exposed to a rollback, the age of what is published, witnesses behind, time tokens."""
    published = found.published
    gauges: list[tuple[str, str, Sequence[Sample]]] = [
        ("published_size", "Entries of the newest published checkpoint.", [({}, published.size if published else 0)]),
        ("exposed_entries", "Entries that no published checkpoint covers.", [({}, found.exposed)]),
        ("exposed_seconds", "Age of the first of these entries.", [({}, _age(found.exposed_ms, now_ms))]),
        (
            "published_age_seconds",
            "Time since a checkpoint was published last.",
            [({}, _age(published.published_ms, now_ms))] if published else [],
        ),
        (
            "witness_behind_entries",
            "Entries of the book that a witness has not signed.",
            [({"witness": one.witness}, one.behind) for one in found.witnesses],
        ),
        (
            "witness_fault",
            "1 where the last answer of a witness was no signature.",
            [({"witness": one.witness}, float(bool(one.fault))) for one in found.witnesses],
        ),
        (
            "witness_alarm",
            "1 where a witness holds another or a larger head of this book.",
            [({"witness": one.witness}, float(bool(one.alarm))) for one in found.witnesses],
        ),
        (
            "witness_beside",
            "1 where a witness lies beside the book and counts as none.",
            [({"witness": one.witness}, float(bool(one.beside))) for one in found.witnesses],
        ),
        (
            "time_token_age_seconds",
            "Time since an authority gave a token last.",
            [
                ({"authority": one.authority}, _age(one.received_ms, now_ms))
                for one in found.authorities
                if one.received_ms is not None
            ],
        ),
    ]
    return "".join(_gauge(f"pourbook_{name}", words, samples) for name, words, samples in gauges if samples)


def watched_exposition(found: Watched, now_ms: int) -> str:
    """Gauges: the end of the book, what waits, who holds the pen, the last backup, standbys."""
    backup = found.backup
    gauges: list[tuple[str, str, Sequence[Sample]]] = [
        ("entries", "Entries of the book.", [({}, found.entries)]),
        ("archived_entries", "Entries whose bytes lie in the archive alone.", [({}, found.archived)]),
        ("head_age_seconds", "Time since the last entry.", [({}, _age(found.recorded_ms, now_ms))]),
        ("waiting_submissions", "Submissions in the queue of this process.", [({}, found.waiting)]),
        (
            "holds_pen",
            "1 where this process enters what all are told that share its pen.",
            [] if found.holds_pen is None else [({}, float(found.holds_pen))],
        ),
        (
            "backup_age_seconds",
            "Time since the last backup was finished.",
            [({}, _age(backup.at_ms, now_ms))] if backup else [],
        ),
        (
            "backup_missing_entries",
            "Entries that are in no backup on record.",
            [({}, found.entries - (backup.size if backup else 0))],
        ),
        (
            "standby_behind_bytes",
            "Bytes of the log that a standby has not applied.",
            [({"standby": one.name}, one.behind) for one in found.standbys if one.behind is not None],
        ),
        (
            "standby_synchronous",
            "1 where commits wait for a standby.",
            [({"standby": one.name}, float(one.synchronous)) for one in found.standbys],
        ),
    ]
    return "".join(_gauge(f"pourbook_{name}", words, samples) for name, words, samples in gauges if samples)


def read_store_exposition(read_store: ReadStore) -> str:
    """Gauges: whether the standby that answers what may be old is asked, and how old it was found."""
    age_s = read_store.found_age_s
    gauges: list[tuple[str, str, Sequence[Sample]]] = [
        (
            "read_store_usable",
            "1 where the standby answers what may be old.",
            [({"state": read_store.state}, float(read_store.state == "usable"))],
        ),
        (
            "read_store_age_seconds",
            "At most how old what the standby shows was found.",
            [] if age_s is None else [({}, age_s)],
        ),
    ]
    return "".join(_gauge(f"pourbook_{name}", words, samples) for name, words, samples in gauges if samples)


def _age(since_ms: int | None, now_ms: int) -> float:
    return 0.0 if since_ms is None else max(0, now_ms - since_ms) / 1000


def _gauge(name: str, words: str, samples: Iterable[Sample]) -> str:
    lines = [f"# HELP {name} {words}", f"# TYPE {name} gauge"]
    for labels, value in samples:
        said = ",".join(f'{label}="{_escaped(text)}"' for label, text in labels.items())
        lines.append(f"{name}{{{said}}} {value:g}" if said else f"{name} {value:g}")
    return "\n".join(lines) + "\n"


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
