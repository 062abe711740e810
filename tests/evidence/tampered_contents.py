"""Dossiers tampered with by someone who holds the dossier key: every digest and the signature are made anew."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import partial
from typing import Any

import msgspec

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.receipt import format_receipt
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.evidence.dossier import DossierEntry
from ledger.evidence.dossier_format import LotBall, Scope
from ledger.evidence.lot_check import ball_leaf
from tests.evidence.small_dossier import LOG, ORIGIN, SEALER, SUBMISSIONS, archived, made_book, resealed, sheet, written
from tests.evidence.tampered_archives import Change, Files, Tampering, good_files, swapped_contents, without
from tests.evidence.witnessed_dossier import BALLS, LEAVES, closed_book, entries_of, full_content, lot_page

_POINT = bytes([1, 1]) + bytes(31)
_KEY_ID = hashlib.sha256(SEALER.name.encode() + b"\n" + _POINT).hexdigest()[:8]
SMALL_ORDER = f"{SEALER.name}+{_KEY_ID}+{base64.b64encode(_POINT).decode()}"
"""A verifier line over the point of order 1: a signature by it is easily made, and binds nobody."""


def sealed_anew(change: Change) -> bytes:
    """The changed files under new digests and a new signature."""
    return resealed(change(good_files()))


def with_content(**more: Any) -> bytes:
    """A dossier written of other content, with right digests and signature."""
    return written(full_content(**more))


def replaced(name: str, old: bytes, new: bytes, files: Files) -> Files:
    """Bytes of one file are others."""
    assert old in files[name], f"{old!r} is not in {name}"
    return {**files, name: files[name].replace(old, new, 1)}


def _forged(name: str, old: bytes, new: bytes, *, unchecked: str = "", where: str = "") -> Tampering:
    return Tampering(partial(sealed_anew, partial(replaced, name, old, new)), where or name, unchecked=unchecked)


def lines_swapped(name: str, files: Files) -> Files:
    """Two lines of one file are in each other's place."""
    lines = files[name].splitlines(keepends=True)
    return {**files, name: b"".join([lines[1], lines[0], *lines[2:]])}


def proof_changed(place: int, hashes: int, files: Files) -> Files:
    """From ``place`` on, so many hashes of a receipt are left out; below 0, the first is said again."""
    lines = files["receipts/3.tlog-proof"].split(b"\n")
    start = 2 + place
    lines = [*lines[: start + 1], *lines[start:]] if hashes < 0 else [*lines[:start], *lines[start + hashes :]]
    return {**files, "receipts/3.tlog-proof": b"\n".join(lines)}


def key_added(purpose: str, line: str, files: Files) -> Files:
    """A key stands in the list that no entry introduces."""
    row = msgspec.json.encode({"key": line.partition("+")[0], "purpose": purpose, "verifier": line, "from_size": 0})
    return {**files, "keys.json": files["keys.json"][:-2] + b"," + row + b"]\n"}


def stated(**fields: object) -> bytes:
    """The good dossier under a manifest that states something else."""
    files = good_files()
    manifest = msgspec.json.decode(files["manifest.json"])
    counts = {**manifest["counts"], **{name: number for name, number in fields.items() if name in manifest["counts"]}}
    rest = {name: value for name, value in fields.items() if name not in counts}
    return resealed(files, stated={"counts": counts, **rest})


def receipt_swapped(index: int, receipt: str) -> bytes:
    """An entry with another receipt."""
    good = closed_book().entry(index)
    other = DossierEntry(index, good.raw, receipt, good.openings)
    return with_content(entries=[other if one.index == index else one for one in entries_of(closed_book())])


def signed_twice() -> bytes:
    """The manifest bears a second signature, under the name of a stranger."""
    files = good_files()
    line = files["manifest.sig"].splitlines(keepends=True)[-1]
    other = line.replace(SEALER.name.encode(), b"stranger.example")
    return archived({**files, "manifest.sig": files["manifest.sig"] + other})


def other_head(size: int) -> bytes:
    """A checkpoint by the book's key that its receipts are not against."""
    smaller = made_book(SUBMISSIONS[:size])
    return smaller.note


_OPENED = b'{"outcome":"opened","path":"1/draws/0/kg"'

FORGED: Mapping[str, Tampering] = {
    "an entry": _forged("entries/8.json", b"15.10", b"15.20", where="receipts/8.tlog-proof"),
    "an entry under another's name": Tampering(
        partial(sealed_anew, partial(swapped_contents, "entries/8.json", "entries/9.json")), "receipts/8.tlog-proof"
    ),
    "a proof of another entry": Tampering(
        partial(sealed_anew, lambda files: {**files, "receipts/8.tlog-proof": files["receipts/7.tlog-proof"]}),
        "receipts/8.tlog-proof",
    ),
    "a hash of a proof": _forged("receipts/3.tlog-proof", b"\nindex 3\n", b"\nindex 3\n" + b"A" * 43 + b"=\n"),
    "a hash of a proof left out": Tampering(
        partial(sealed_anew, partial(proof_changed, 0, 1)), "receipts/3.tlog-proof"
    ),
    "every hash of a proof left out": Tampering(
        partial(sealed_anew, partial(proof_changed, 0, 4)), "receipts/3.tlog-proof"
    ),
    "a hash of a proof said again": Tampering(
        partial(sealed_anew, partial(proof_changed, 0, -1)), "receipts/3.tlog-proof"
    ),
    "a hash in another form of base64": _forged("receipts/3.tlog-proof", b"=\n", b"\n"),
    "a receipt of another index": _forged("receipts/3.tlog-proof", b"\nindex 3\n", b"\nindex 4\n"),
    "an index with a zero before it": _forged("receipts/3.tlog-proof", b"\nindex 3\n", b"\nindex 03\n"),
    "a receipt beyond the book": Tampering(
        partial(receipt_swapped, 3, format_receipt(20, [], closed_book().note)), "receipts/3.tlog-proof"
    ),
    "a receipt against an earlier head": Tampering(
        partial(receipt_swapped, 3, format_receipt(3, [], other_head(4))), "receipts/3.tlog-proof"
    ),
    "the size of the checkpoint": _forged("checkpoint", b"\n15\n", b"\n16\n"),
    "an earlier head in the place of the head": Tampering(
        partial(with_content, checkpoint=other_head(9)), "receipts/0.tlog-proof"
    ),
    "a head of the future": Tampering(
        partial(with_content, checkpoint=sign_checkpoint(ORIGIN, 99, bytes(32), [LOG])), "receipts/0.tlog-proof"
    ),
    "the value of an opening": _forged("openings/4.jsonl", b'"20.5"', b'"20.6"'),
    "the salt of an opening": _forged("openings/4.jsonl", b'"salt":"0', b'"salt":"1'),
    "the path of an opening": _forged("openings/4.jsonl", b"draws/0", b"draws/1"),
    "the form of an opening": _forged("openings/4.jsonl", b'"value":"20.5"', b'"value": "20.5"'),
    "an opening twice": _forged("openings/4.jsonl", b'"withheld","path"', b'"withheld","path":"0/supplier","path"'),
    "a word for an outcome": _forged("openings/4.jsonl", b'"withheld"', b'"lost"'),
    "withheld told as erased": _forged("openings/4.jsonl", b'"withheld"', b'"erased"'),
    "erased told as withheld": _forged("openings/2.jsonl", b'"erased"', b'"withheld"'),
    "two openings in another order": Tampering(
        partial(sealed_anew, partial(lines_swapped, "openings/4.jsonl")), "openings/4.jsonl"
    ),
    "an opening left out": _forged("openings/4.jsonl", b'{"outcome":"withheld","path":"0/supplier"}\n', b""),
    "an opening too many": _forged("openings/4.jsonl", _OPENED, b'{"outcome":"withheld","path":"0/note"}\n' + _OPENED),
    "the openings left out": Tampering(partial(sealed_anew, partial(without, "openings/4.jsonl")), "openings/4.jsonl"),
    "the term of a key": _forged("keys.json", b'"from_size":2', b'"from_size":1'),
    "a key too many": Tampering(
        partial(
            sealed_anew,
            partial(key_added, "witness", format_verifier(signer_from_seed("a.example", bytes(32)).verifier)),
        ),
        "keys.json",
    ),
    "a key of small order": Tampering(
        partial(sealed_anew, partial(key_added, "dossier", SMALL_ORDER)), "keys.json"
    ),
    "no keys": _forged("keys.json", b"[{", b'[],"x":[{'),
    "a manifest signed by a stranger": Tampering(
        lambda: resealed(good_files(), signer_from_seed("stranger.example", bytes(32), "dossier")), "manifest.sig"
    ),
    "a manifest signed by two": Tampering(signed_twice, "manifest.sig"),
    "a manifest of another book": Tampering(
        lambda: resealed(good_files(), stated={"book": "books.example/plant-2"}, origin="books.example/plant-2"),
        "checkpoint",
    ),
    "another size in the manifest": Tampering(partial(stated, tree_size=14), "manifest.json"),
    "another count of balls": Tampering(partial(stated, balls=3), "manifest.json"),
    "another count of withheld fields": Tampering(partial(stated, withheld=0), "manifest.json"),
    "another format": Tampering(partial(stated, v=2), "manifest.json"),
    "a field that is not known in the manifest": Tampering(partial(stated, more=[]), "manifest.json"),
    "deep JSON in a sheet": Tampering(
        partial(sealed_anew, lambda files: {**files, "balls/U-1.json": b"[" * 60_000}), "balls/U-1.json"
    ),
    "a sheet without end": Tampering(
        partial(sealed_anew, lambda files: {**files, "balls/U-1.json": b'{"unit":"U-1"' + b" " * 1_000_000 + b"}"}),
        "balls/U-1.json",
    ),
    "a number too great in a sheet": _forged("balls/U-1.json", b"15100000", b"9007199254740993"),
    "a word of a type in a sheet": _forged("balls/U-1.json", b'"usable":true', b'"usable":1'),
    "a space in a sheet": _forged("balls/U-1.json", b'{"unit"', b'{ "unit"'),
    "a field twice in a sheet": _forged("balls/U-1.json", b'"unit":"U-1"', b'"unit":"U-1","unit":"U-1"'),
    "a field that is not known in a sheet": _forged("balls/U-1.json", b'{"unit"', b'{"more":1,"unit"'),
    "an empty field in a sheet": _forged("balls/U-1.json", b'"model":', b'"former_serials":[],"model":'),
    "the sheet of another ball": Tampering(
        partial(sealed_anew, lambda files: {**files, "balls/U-1.json": files["balls/U-2.json"]}), "balls/U-1.json"
    ),
    "a fact that is not here": _forged("balls/U-1.json", b'"fact":"8.0"', b'"fact":"10.0"'),
    "a cell of the table": _forged("verdicts.csv", b"U-1", b"U-3"),
    "a rulebook": Tampering(
        partial(
            sealed_anew,
            lambda files: {name: raw.replace(b'"73"', b'"72"') if name.startswith("rulebooks/") else raw for name, raw in files.items()},
        ),
        "rulebooks",
    ),
    "a document of no approval file": Tampering(
        partial(with_content, documents=(b"a data sheet",)), f"documents/{hashlib.sha256(b'a data sheet').hexdigest()}"
    ),
    "events of a ball without a sheet": Tampering(
        partial(with_content, events=[("U-9", b"{}\n")]), "events/U-9.jsonld"
    ),
    "a credential without its giver's document": Tampering(
        partial(with_content, credentials=[("U-1", b"{}\n")]), "did.json"
    ),
    "no approval file where the scope names one": Tampering(
        partial(with_content, scope=Scope(kind="approval-file", names=("A-1",), words="approval file A-1")),
        "approval.json",
    ),
}  # fmt: skip
"""By what is another."""

LOTS: Mapping[str, Tampering] = {
    "a leaf": Tampering(
        partial(with_content, lots=[lot_page(leaves=(LEAVES[0], LEAVES[1], ball_leaf("U-8", None)))]), "lots/S1.json"
    ),
    "the count of a lot": Tampering(partial(with_content, lots=[lot_page(count=2)]), "lots/S1.json"),
    "the root of a lot": Tampering(partial(with_content, lots=[lot_page(balls_root=LEAVES[0])]), "lots/S1.json"),
    "two leaves in another order": Tampering(
        partial(with_content, lots=[lot_page(leaves=(LEAVES[1], LEAVES[0], LEAVES[2]))]), "lots/S1.json"
    ),
    "a ball that is not on the page of its lot": Tampering(
        partial(with_content, lots=[lot_page(units=(LotBall(unit="U-1", place=0, serial=BALLS["U-1"]),))]),
        "lots/S1.json",
    ),
    "a ball at another's place": Tampering(
        partial(with_content, lots=[lot_page(units=(LotBall(unit="U-1", place=1, serial=BALLS["U-2"]),))]),
        "lots/S1.json",
    ),
    "a ball told as added later": Tampering(
        partial(
            with_content,
            lots=[lot_page(units=(LotBall(unit="U-1", place=0, serial=BALLS["U-1"]), LotBall(unit="U-2")))],
        ),
        "lots/S1.json",
    ),
    "the entry that closed the lot left out": Tampering(
        lambda: with_content(entries=entries_of(closed_book(), (10, 13))), "lots/S1.json"
    ),
    "a ball left out of a whole lot": Tampering(
        partial(with_content, scope=Scope(kind="lots", names=("S1",), words="lot S1")), "lots/S1.json"
    ),
    "a ball left out": Tampering(lambda: with_content(balls=[sheet("U-1")]), "lots/S1.json"),
    "an entry of a ball left out": Tampering(
        lambda: with_content(entries=entries_of(closed_book(), (10, 9))), "balls/U-2.json"
    ),
    "an erasure left out": Tampering(
        lambda: with_content(entries=entries_of(closed_book(), (10, 12))), "openings/2.jsonl"
    ),
    "the entry of the dossier key left out": Tampering(
        lambda: with_content(entries=entries_of(closed_book(), (10, 1))), "keys.json"
    ),
}
"""What is left out, or told otherwise, of a closed lot."""

SHEETS_UNCHECKED = "Whether the sheets follow from the entries, and the verdicts from the readings and rulebooks."

SHEETS: Mapping[str, Tampering] = {
    "a reading": _forged("balls/U-1.json", b'"value":15100000', b'"value":15000000', unchecked=SHEETS_UNCHECKED),
    "an uncertainty": _forged("balls/U-1.json", b'"expanded":20000', b'"expanded":10000', unchecked=SHEETS_UNCHECKED),
    "the place of a body": _forged("balls/U-2.json", b',"body":"11.0.0"', b"", unchecked=SHEETS_UNCHECKED),
    "a certainty": _forged("balls/U-1.json", b"possible", b"certain", unchecked=SHEETS_UNCHECKED),
    "the correction of a reading left out": Tampering(
        lambda: with_content(entries=entries_of(closed_book(), (10, 11))), "balls/U-2.json", unchecked=SHEETS_UNCHECKED
    ),
    "a lot above the balls left out": Tampering(
        lambda: with_content(entries=entries_of(closed_book(), (10, 5))), "balls/U-1.json", unchecked=SHEETS_UNCHECKED
    ),
}
"""What only the whole check finds, since it makes every sheet anew."""
