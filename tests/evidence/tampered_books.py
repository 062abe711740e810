"""Dossiers of books that were never right, signed by the book's own key; and good ones held against another trust."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import entry_hash
from ledger.book.merkle import root
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.evidence.entry_facts import fold_facts
from ledger.line.fact import Fact
from ledger.line.rows import BookKey
from tests.evidence.small_dossier import (
    KEY,
    LOG,
    ORIGIN,
    OTHER_LOG,
    RECORDED,
    SEALER,
    SUBMISSIONS,
    content,
    made_book,
    members,
    resealed,
    written,
)
from tests.evidence.tampered_archives import Tampering
from tests.evidence.witnessed_dossier import KEYS, SEEN_S, WITNESSES, closed_book, cosigned, full_dossier, policy_text

PLACE = 5
"""The entry that a hostile book has otherwise."""

STRANGER = signer_from_seed("witness.example/north", bytes(32), "witness")
"""A witness under the name of another."""


def head_of(raws: Sequence[bytes], signer: Signer = LOG) -> bytes:
    """The checkpoint over these entries, cosigned by nobody."""
    hashes = [entry_hash(raw) for raw in raws]
    return sign_checkpoint(ORIGIN, len(hashes), root(hashes), [signer])


def dossier_under(note: bytes, raws: Sequence[bytes] | None = None) -> bytes:
    """The good dossier with other entries and their proofs under this note, all digests and the signature made anew."""
    book = replace(closed_book(), raws=list(raws or closed_book().raws), note=note)
    files = members(full_dossier()) | {"checkpoint": note}
    for index, raw in enumerate(book.raws):
        if f"entries/{index}.json" in files:
            files[f"entries/{index}.json"] = raw
            files[f"receipts/{index}.tlog-proof"] = book.entry(index).receipt.encode()
    return resealed(files)


def hostile_book(old: bytes, new: bytes) -> bytes:
    """A dossier of a book whose keeper signed a tree with other bytes in one entry, the later ones as they were."""
    raws = list(closed_book().raws)
    assert old in raws[PLACE], f"{old!r} is not in entry {PLACE}"
    raws[PLACE] = raws[PLACE].replace(old, new, 1)
    return dossier_under(cosigned(head_of(raws)), raws)


def revoked_signer() -> bytes:
    """A dossier signed by a key that an entry in it revokes."""
    revoked = {"kind": "key-revoked", "key": SEALER.name, "reason": "lost", "at": "2025-01-01T09:00:00.000+00:00"}
    made = made_book([*SUBMISSIONS[:2], [revoked]])
    facts = [Fact(index, 0, records[0], "a1", 0) for index, records in enumerate(made.records)]
    keys = fold_facts(facts).all_of(BookKey)
    entries = [made.entry(index) for index in range(3)]
    return written(content(entries=entries, checkpoint=made.note, keys=keys, balls=[]))


def _hostile(old: bytes, new: bytes, where: str = f"entries/{PLACE}.json") -> Tampering:
    return Tampering(partial(hostile_book, old, new), where)


def _under(note: bytes, where: str = "checkpoint", trust: str = KEYS) -> Tampering:
    return Tampering(partial(dossier_under, note), where, trust)


def _with_bad_line(note: bytes) -> bytes:
    """A cosignature of which the last bit is another."""
    lines = note.split(b"\n")
    lines[-2] = lines[-2][:-6] + (b"B" if lines[-2][-6:-5] != b"B" else b"C") + lines[-2][-5:]
    return b"\n".join(lines)


_NOTE = head_of(closed_book().raws)
_PREV = f'"prev":"{entry_hash(closed_book().raws[PLACE - 1]).hex()}'.encode()
_SEALED = re.search(rb'"sealed":"[0-9a-f]{64}"', closed_book().raws[PLACE])[0]  # type: ignore[index]  # it has one
_CLOCK = f'"recorded_at":"{RECORDED}"'.encode()

BOOKS: Mapping[str, Tampering] = {
    "an entry that follows another": _hostile(_PREV, b'"prev":"' + b"0" * 64),
    "a hash of another length": _hostile(_PREV, _PREV + b"0"),
    "an entry with a changed predecessor": _hostile(b'"key":"k5"', b'"key":"k6"', f"entries/{PLACE + 1}.json"),
    "an entry of another index": _hostile(b'"index":5', b'"index":6'),
    "an entry of another book": _hostile(b"books.example/plant-1", b"books.example/plant-2"),
    "an entry in another order": _hostile(b'"author":"a1","book":', b'"book":"books.example/plant-1","book":'),
    "a field of an entry twice": _hostile(b'"author":"a1"', b'"author":"a1","author":"a1"'),
    "a field of an entry that is not known": _hostile(b'"author":"a1"', b'"aa":1,"author":"a1"'),
    "a float in an entry": _hostile(b'"count":10', b'"count":10.0'),
    "no value in an entry": _hostile(b'"count":10', b'"count":null'),
    "text that is not NFC in an entry": _hostile(b'"key":"k5"', '"key":"e\u0301"'.encode()),
    "bytes that are no text in an entry": _hostile(b'"key":"k5"', b'"key":"\xff"'),
    "a lone surrogate in an entry": _hostile(b'"key":"k5"', b'"key":"\\ud800"'),
    "a record of an unknown kind": _hostile(b'"kind":"blocks-moulded"', b'"kind":"blocks-mouldes"'),
    "a record of a kind that every object has": _hostile(b'"kind":"blocks-moulded"', b'"kind":"constructor"'),
    "a sealed field in a list": _hostile(_SEALED, b'"sealed":["' + b"0" * 64 + b'"]'),
    "a sealed field of another form": _hostile(b'"sealed":"', b'"sealed":"0'),
    "an entry of another format": _hostile(b'"v":1', b'"v":2'),
    "a day that the calendar lacks": _hostile(b'"recorded_at":"2025-03-01', b'"recorded_at":"2025-02-29'),
    "a clock that moved back": _hostile(_CLOCK, _CLOCK.replace(b"2025", b"2024")),
    "an entry recorded after it was seen": _hostile(_CLOCK, _CLOCK.replace(b"2025-03", b"2025-04"), "entries/6.json"),
}  # fmt: skip
"""What the keeper of the book signed, all the same."""

TRUSTS: Mapping[str, Tampering] = {
    "a key that does not speak for this size yet": Tampering(full_dossier, "checkpoint", f"{KEY} from 16"),
    "a key that speaks for this size no more": Tampering(full_dossier, "checkpoint", f"{KEY} from 2 to 14"),
    "a dossier key that was revoked": Tampering(revoked_signer, SEALER.name, KEY),
    "a key of another": Tampering(full_dossier, "checkpoint", format_verifier(OTHER_LOG.verifier)),
    "a head under another key of the book's name": _under(cosigned(head_of(closed_book().raws, OTHER_LOG))),
    "a cosignature by another under a witness's key id": _under(_with_bad_line(cosigned(_NOTE))),
    "no cosignature where a policy wants one": _under(_NOTE, trust=policy_text("any")),
    "one cosignature where a policy wants two": _under(cosigned(_NOTE, WITNESSES[:1]), trust=policy_text("all")),
    "the same witness twice where a policy wants two": _under(
        cosigned(cosigned(_NOTE, WITNESSES[:1]), WITNESSES[:1], SEEN_S + 1), trust=policy_text("all")
    ),
    "a stranger in the place of a witness": _under(cosigned(_NOTE, [STRANGER]), trust=policy_text("any")),
    "a cosignature of the future": _under(cosigned(_NOTE, at_seconds=32_500_000_000)),
    "a cosignature from before the last entry": _under(cosigned(_NOTE, at_seconds=SEEN_S - 900_000), "entries/14.json"),
    "a checkpoint with a line more": _under(_NOTE.replace(b"\n\n", b"\nmore\n\n", 1)),
    "a checkpoint with a line of another sort under it": _under(_NOTE + b"not a signature\n"),
    "a checkpoint that ends early": _under(_NOTE[:-1]),
    "a log's key as its own witness": Tampering(
        partial(dossier_under, _NOTE), "checkpoint", f"log {KEY}\nwitness w {format_verifier(STRANGER.verifier)}\nquorum w\n"
    ),
}  # fmt: skip
"""Good entries under a head that does not satisfy what the reader trusts."""
