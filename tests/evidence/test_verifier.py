"""Checking dossiers: the good one, the damaged, the forged and the hostile."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book.receipt import format_receipt
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import DossierRejected, LedgerError, MalformedDossier, MalformedKey
from ledger.evidence.dossier import DossierEntry
from ledger.evidence.entry_facts import fold_facts
from ledger.evidence.verifier import check_dossier
from ledger.line.fact import Fact
from ledger.line.rows import BookKey
from tests.evidence.small_dossier import (
    KEY,
    LOG,
    ORIGIN,
    OTHER_LOG,
    SEALER,
    SUBMISSIONS,
    archived,
    book,
    content,
    dossier,
    made_book,
    members,
    resealed,
    sheet,
    written,
)

Files = dict[str, bytes]


def check(raw: bytes, keys: Sequence[str] = (KEY,)) -> Any:
    """Check these bytes as a dossier."""
    return check_dossier(io.BytesIO(raw), keys)


def first_wrong(raw: bytes, keys: Sequence[str] = (KEY,)) -> LedgerError:
    """The first thing that is wrong with these bytes."""
    with pytest.raises((MalformedDossier, DossierRejected)) as found:
        check(raw, keys)
    return found.value


def test_a_good_dossier_passes() -> None:
    """What was written checks, and the report counts what it holds."""
    report = check(dossier())
    assert (2, 12, 6, 1, 1) == (
        *(getattr(report.counts, name) for name in ("balls", "entries", "opened", "withheld", "erased")),
    )
    assert {"house": {"conforms": 2}} == report.outcomes
    assert (SEALER.name, False) == (report.signed_by, report.key_given)


def test_the_report_says_what_was_not_checked() -> None:
    """Withheld and erased are outcomes of their own, and what no dossier shows is said."""
    lines = "\n".join(check(dossier()).lines())
    assert "1 withheld, 1 erased" in lines
    assert "  - whether what was written down is true" in lines
    assert "no cosignature by a known witness" in lines


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(dossier()) * 8 - 1))
def test_any_flipped_bit_is_found(bit: int) -> None:
    """One changed bit anywhere in the file is found, as an error of ours."""
    raw = bytearray(dossier())
    raw[bit // 8] ^= 1 << bit % 8
    first_wrong(bytes(raw))


@pytest.mark.parametrize("name", list(members(dossier())))
def test_a_flipped_bit_in_each_file_is_found_behind_right_sums(name: str) -> None:
    """A bit changed in any one file, with the archive's own sums put right, is found and the file is named."""
    files = members(dossier())
    middle = len(files[name]) // 2
    files[name] = files[name][:middle] + bytes([files[name][middle] ^ 1]) + files[name][middle + 1 :]
    assert name in str(first_wrong(archived(files))) or name in {"manifest.json", "keys.json"}


def replaced(name: str, old: bytes, new: bytes) -> Callable[[Files], Files]:
    """A change of bytes in one file."""

    def change(files: Files) -> Files:
        assert old in files[name]
        return {**files, name: files[name].replace(old, new)}

    return change


def without(name: str) -> Callable[[Files], Files]:
    """The files without one of them."""
    return lambda files: {each: raw for each, raw in files.items() if each != name}


def swapped(name: str, other: str) -> Callable[[Files], Files]:
    """The content of another file under this name."""
    return lambda files: {**files, name: files[other]}


FORGED: dict[str, tuple[Callable[[Files], Files], str]] = {
    "a reading": (replaced("balls/U-1.json", b'"value":15100000', b'"value":15000000'), "balls/U-1.json: readings/1/value"),
    "an uncertainty": (replaced("balls/U-1.json", b'"expanded":20000', b'"expanded":10000'), "balls/U-1.json: readings/1"),
    "the uncertainty judged with": (
        replaced("balls/U-1.json", b'"standard_uncertainty":10000', b'"standard_uncertainty":1000'),
        "balls/U-1.json: readings/1/standard_uncertainty",
    ),
    "the corrected reading": (replaced("balls/U-2.json", b"75000000", b"72500000"), "balls/U-2.json: readings/0/value"),
    "the place of a body": (replaced("balls/U-2.json", b',"body":"11.0.0"', b""), "balls/U-2.json: facts/1/body"),
    "a verdict": (replaced("balls/U-1.json", b'"margin":"0.9"', b'"margin":"1.9"'), "balls/U-1.json: tables/0/verdicts/1/margin"),
    "an outcome": (replaced("balls/U-1.json", b'"overall":"conforms"', b'"overall":"undecided"'), "tables/0/overall"),
    "a certainty": (replaced("balls/U-1.json", b"possible", b"certain"), "balls/U-1.json: lots/1/certainty"),
    "a serial": (replaced("balls/U-1.json", b"2345ACDFG", b"2345ACDFJ"), "balls/U-1.json: serial"),
    "the unit": (swapped("balls/U-1.json", "balls/U-2.json"), "balls/U-1.json"),
    "a fact that is not here": (replaced("balls/U-1.json", b'"fact":"8.0"', b'"fact":"10.0"'), "balls/U-1.json"),
    "a fact's address": (replaced("balls/U-1.json", b'"fact":"8.0"', b'"fact":"9.0"'), "balls/U-1.json: facts/0/fact"),
    "a rulebook's bytes": (replaced("rulebooks/{digest}.toml", b'"73"', b'"72"'), "rulebooks/"),
    "an entry": (replaced("entries/8.json", b"15.10", b"15.20"), "receipts/8.tlog-proof"),
    "a proof of another entry": (swapped("receipts/8.tlog-proof", "receipts/7.tlog-proof"), "receipts/8.tlog-proof"),
    "an opening's value": (replaced("openings/4.jsonl", b'"20.5"', b'"20.6"'), "openings/4.jsonl: 1/draws/0/kg"),
    "an opening's salt": (replaced("openings/4.jsonl", b'"salt":"0', b'"salt":"1'), "openings/4.jsonl"),
    "an opening's path": (replaced("openings/4.jsonl", b"draws/0", b"draws/1"), "openings/4.jsonl"),
    "an opening left out": (replaced("openings/4.jsonl", b'{"outcome":"withheld","path":"0/supplier"}\n', b""), "openings/4"),
    "a word for an outcome": (replaced("openings/4.jsonl", b'"withheld"', b'"lost"'), "openings/4.jsonl: 0/supplier"),
    "openings left out": (without("openings/4.jsonl"), "openings/4.jsonl"),
    "a withdrawn key": (replaced("keys.json", b'"from_size":2', b'"from_size":1'), "keys.json"),
    "another checkpoint": (replaced("checkpoint", b"\n13\n", b"\n14\n"), "checkpoint"),
    "a form of JSON": (replaced("balls/U-1.json", b'{"unit"', b'{ "unit"'), "balls/U-1.json"),
    "a word of a type": (replaced("balls/U-1.json", b'"usable":true', b'"usable":1'), "balls/U-1.json"),
    "an unknown field": (replaced("balls/U-1.json", b'{"unit"', b'{"more":1,"unit"'), "balls/U-1.json"),
}  # fmt: skip
"""What someone who holds the dossier key may change, and the file and field that is named."""


@pytest.mark.parametrize("what", list(FORGED))
def test_a_forged_dossier_is_found_behind_a_good_signature(what: str) -> None:
    """Whatever is changed, with every digest and the signature made anew, the entries and their proofs show it."""
    change, where = FORGED[what]
    files = members(dossier())
    rulebook = next(name for name in files if name.startswith("rulebooks/"))
    renamed = {"rulebooks/{digest}.toml" if name == rulebook else name: raw for name, raw in files.items()}
    changed = {rulebook if name == "rulebooks/{digest}.toml" else name: raw for name, raw in change(renamed).items()}
    assert where in first_wrong(resealed(changed)).where


@pytest.mark.parametrize(
    ("stated", "where"),
    [({"balls": 3}, "balls"), ({"withheld": 0, "opened": 7}, "opened"), ({"tokens": 1}, "tokens")],
)
def test_a_manifest_that_counts_otherwise_is_found(stated: dict[str, int], where: str) -> None:
    """What the manifest states is counted."""
    found = first_wrong(resealed(members(dossier()), stated={"counts": stated}))
    assert f"manifest.json: counts/{where}" == found.where


def test_a_manifest_that_states_another_size_is_found() -> None:
    """The size of the book is the checkpoint's."""
    assert "manifest.json" == first_wrong(resealed(members(dossier()), stated={"tree_size": 14})).where


def test_the_mend_and_both_values_are_told() -> None:
    """A sheet that differs is shown beside what the entries say."""
    change, _ = FORGED["a reading"]
    assert "expected 15100000, got 15000000" in str(first_wrong(resealed(change(members(dossier())))))


@pytest.mark.parametrize(
    ("change", "where"),
    [
        (lambda files: {**files, "zz.txt": b""}, "zz.txt"),
        (lambda files: {"aa.txt": b"", **files}, "aa.txt"),
        (without("checkpoint"), "keys.json"),
        (without("receipts/3.tlog-proof"), "entries/4.json"),
        (without("manifest.sig"), "the end"),
        (lambda files: dict(reversed(files.items())), "manifest.sig"),
    ],
    ids=["extra at the end", "extra at the start", "no checkpoint", "no receipt", "no signature", "reordered"],
)
def test_files_are_those_of_a_dossier_and_no_other(change: Callable[[Files], Files], where: str) -> None:
    """A file too many, too few or out of place is named."""
    assert where == first_wrong(archived(change(members(dossier())))).where


def test_another_format_is_said_to_be_unknown() -> None:
    """A later format is named as such, whatever else its manifest holds."""
    files = members(dossier())
    stated = msgspec.json.decode(files["manifest.json"]) | {"v": 2, "more": []}
    assert "another format" in str(first_wrong(archived({**files, "manifest.json": msgspec.json.encode(stated)})))


@pytest.mark.parametrize(
    "raw", [b"[" * 60_000, b'{"v":1', b"\xff", b"null", b'{"v":1e400}', b'{"v":"1"}', b"9" * 60_000]
)
def test_hostile_json_is_refused(raw: bytes) -> None:
    """Deep, broken and oversized JSON in the manifest is refused, not followed."""
    assert "manifest.json" == first_wrong(archived({**members(dossier()), "manifest.json": raw})).where


@pytest.mark.parametrize("name", ["balls/U-1.json", "keys.json", "openings/4.jsonl", "entries/8.json", "checkpoint"])
@pytest.mark.parametrize("raw", [b"[" * 60_000, b"{}\n", b"\xff", b"null\n", b"", b"1" * 70_000])
def test_hostile_content_in_any_file_is_refused(name: str, raw: bytes) -> None:
    """Content of another sort, signed and summed rightly, is refused with an error of ours."""
    first_wrong(resealed({**members(dossier()), name: raw}))


def test_a_key_that_is_not_the_books_is_refused() -> None:
    """The right proof under a key that the reader does not trust proves nothing."""
    assert "checkpoint" == first_wrong(dossier(), [format_verifier(OTHER_LOG.verifier)]).where


def test_a_key_that_is_none_is_refused() -> None:
    """What is given as a key must be one."""
    with pytest.raises(MalformedKey):
        check(dossier(), ["no key"])


def test_a_book_forged_with_another_key_is_refused() -> None:
    """A whole book made anew under another key fails at its checkpoint."""
    forged = made_book(SUBMISSIONS, OTHER_LOG)
    entries = [forged.entry(index) for index in (*range(10), 11)]
    assert "checkpoint" == first_wrong(written(content(entries=entries, checkpoint=forged.note))).where


def test_a_manifest_signed_by_a_stranger_is_refused() -> None:
    """Only a dossier key of the book signs, unless the reader names another."""
    stranger = signer_from_seed("stranger.example", bytes(32), "dossier")
    raw = resealed(members(dossier()), stranger)
    assert "manifest.sig" == first_wrong(raw).where
    assert check(raw, [KEY, format_verifier(stranger.verifier)]).key_given


def test_a_key_that_no_entry_introduces_is_refused() -> None:
    """A dossier key that stands in the key list alone, and in no entry, is not the book's."""
    stranger = signer_from_seed("stranger.example", bytes(32), "dossier")
    line = msgspec.json.encode(
        {"key": stranger.name, "purpose": "dossier", "verifier": format_verifier(stranger.verifier), "from_size": 0}
    )
    files = members(dossier())
    files["keys.json"] = files["keys.json"][:-2] + b"," + line + b"]\n"
    assert "keys.json" == first_wrong(resealed(files, stranger)).where


def test_a_key_revoked_before_the_checkpoint_is_refused() -> None:
    """A dossier key speaks for no book larger than at its revocation."""
    revoked = {"kind": "key-revoked", "key": SEALER.name, "reason": "lost", "at": "2025-01-01T09:00:00.000+00:00"}
    made = made_book([*SUBMISSIONS[:2], [revoked]])
    facts = [Fact(index, 0, records[0], "a1", 0) for index, records in enumerate(made.records)]
    raw = written(
        content(
            entries=[made.entry(index) for index in range(3)],
            checkpoint=made.note,
            keys=fold_facts(facts).all_of(BookKey),
            balls=[],
        )
    )
    assert SEALER.name == first_wrong(raw).where


def test_a_receipt_against_another_checkpoint_is_refused() -> None:
    """Every receipt is against the one checkpoint, even where another would prove it too."""
    smaller = made_book(SUBMISSIONS[:11])
    entries = [smaller.entry(index) if index == 3 else book().entry(index) for index in (*range(10), 11)]
    assert "receipts/3.tlog-proof" == first_wrong(written(content(entries=entries))).where


def test_a_receipt_that_names_another_index_is_refused() -> None:
    """A proof that leads elsewhere does not lead here."""
    good = book().entry(3)
    wrong = DossierEntry(3, good.raw, format_receipt(20, [], book().note))
    entries = [wrong if index == 3 else book().entry(index) for index in (*range(10), 11)]
    assert "receipts/3.tlog-proof" == first_wrong(written(content(entries=entries))).where


@pytest.mark.parametrize(
    ("left_out", "where"),
    [
        (5, "balls/U-1.json"),
        (2, "balls/U-1.json"),
        (9, "balls/U-2.json"),
        (11, "balls/U-2.json: facts/1/body"),
        (0, "keys.json"),
        (3, "balls/U-1.json"),
    ],
)
def test_an_entry_that_a_sheet_rests_on_is_missed(left_out: int, where: str) -> None:
    """A sheet cannot say what no entry in the dossier shows: lots, model, ball, correction, keys, gauges."""
    entries = [book().entry(index) for index in (*range(10), 11) if index != left_out]
    assert where == first_wrong(written(content(entries=entries))).where


@pytest.mark.parametrize(
    ("indexes", "entry"),
    [
        ((*range(10), 11), book().entry(2, erased=frozenset({"0/note"}))),
        ((*range(10), 11, 12), book().entry(2, erased=frozenset({"0/note", "0/recipe"}))),
        ((*range(10), 11, 12), book().entry(2, withheld=frozenset({"0/note"}))),
        ((*range(10), 11, 12), book().entry(2)),
    ],
    ids=["its erasure left out", "never erased", "told as withheld", "opened all the same"],
)
def test_erased_is_told_of_what_an_erasure_names_and_of_nothing_else(
    indexes: tuple[int, ...], entry: DossierEntry
) -> None:
    """An opening that is merely missing is no erased one, and an erased one is not handed over."""
    entries = [entry if index == 2 else book().entry(index) for index in indexes]
    assert "openings/2.jsonl" == first_wrong(written(content(entries=entries))).where


def test_an_erasure_of_entries_that_are_not_here_says_nothing() -> None:
    """An erasure may come along for its own sake."""
    assert 0 == check(written(content(entries=[book().entry(index) for index in (0, 1, 12)], balls=[]))).counts.erased


def test_a_withdrawn_reading_is_not_told() -> None:
    """A fact that the dossier itself shows withdrawn gives no reading."""
    withdrawn = {
        "kind": "correction",
        "changes": [{"fact": "8.1"}],
        "reason": "other-ball",
        "at": "2025-02-12T08:00:00.000+00:00",
    }
    made = made_book([*SUBMISSIONS, [withdrawn]])
    entries = [made.entry(index) for index in (*range(10), 11, 13)]
    assert "balls/U-1.json: facts/1" == first_wrong(written(content(entries=entries, checkpoint=made.note))).where


def test_a_dossier_without_balls_checks() -> None:
    """Entries may be handed over by themselves."""
    assert 0 == check(written(content(balls=[], rulebooks=()))).counts.balls


def test_what_is_no_file_of_ours_is_refused() -> None:
    """Nothing at all, and any text, is no dossier."""
    first_wrong(b"")
    first_wrong(b"PK\x05\x06" + bytes(18))


@given(st.binary(max_size=300))
def test_any_bytes_give_our_errors_alone(raw: bytes) -> None:
    """Bytes of any sort raise MalformedDossier or DossierRejected."""
    first_wrong(raw)


def test_the_books_names_are_those_of_the_book() -> None:
    """The report names the book, and the signer is a key of it."""
    report = check(dossier())
    assert (ORIGIN, LOG.name) == (report.book, report.book)
    assert sheet("U-1").lots[0].lot == sheet("U-2").lots[0].lot
