"""An earlier checkpoint held against the book: each way in which it may come out."""

from __future__ import annotations

import hashlib

import pytest

from ledger.application.earlier_checkpoint import LONGEST, Compared, compare_checkpoint
from ledger.application.pourbook import open_book
from ledger.application.signers import Signers
from ledger.book.checkpoint import parse_checkpoint, sign_checkpoint
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import MalformedInput
from ledger.store.reader import open_reader
from tests.application.floor import ORIGIN, Floor, at, floor_signers

OTHER_ROOT = hashlib.sha256(b"another book").digest()


def compared(floor: Floor, text: str) -> Compared:
    """A pasted text held against the plant's book."""
    newest = floor.book.checkpoint()
    with open_reader(floor.book.store) as reader:
        return compare_checkpoint(reader, floor.book.origin, newest, text)


def signed(size: int, root: bytes = OTHER_ROOT) -> str:
    """A checkpoint by the plant's own key."""
    return sign_checkpoint(ORIGIN, size, root, [floor_signers().checkpoint]).decode()


def test_a_book_that_only_grew_extends_what_was_kept(ready: Floor) -> None:
    """An earlier checkpoint extends, and the newest is the same; sizes and root are as they state."""
    kept = ready.book.checkpoint().decode()
    now = compared(ready, kept)
    ready.ball("U-1", "P-1")
    later = compared(ready, kept)
    stated = parse_checkpoint(kept.encode())

    assert ("same", "extends") == (now.outcome, later.outcome)
    assert (stated.tree_size, stated.root_hash.hex()) == (later.size, later.root)
    assert stated.tree_size + 1 == later.now
    assert "extends" == compared(ready, f"\r\n  \r\n{kept}".replace("\n", "\r\n") + "\r\n").outcome


def test_what_is_not_this_books_is_told_apart(ready: Floor) -> None:
    """Another book, a signature by no key of this one, one that was changed, more entries than there are, others."""
    kept = ready.book.checkpoint().decode()
    size = parse_checkpoint(kept.encode()).tree_size
    stranger = signer_from_seed(ORIGIN, bytes(32))
    elsewhere = signer_from_seed("elsewhere.example/book", bytes(32))
    texts = {
        "other-book": sign_checkpoint("elsewhere.example/book", size, OTHER_ROOT, [elsewhere]).decode(),
        "not-signed": sign_checkpoint(ORIGIN, size, OTHER_ROOT, [stranger]).decode(),
        "larger": signed(size + 1),
        "differs": signed(size - 1),
    }
    assert {name: name for name in texts} == {name: compared(ready, text).outcome for name, text in texts.items()}
    assert "not-signed" == compared(ready, kept.replace(f"\n{size}\n", f"\n{size - 1}\n")).outcome
    assert ("differs", "elsewhere.example/book") == (
        compared(ready, signed(size)).outcome,
        compared(ready, texts["other-book"]).origin,
    )


def test_a_key_speaks_for_its_own_sizes(ready: Floor) -> None:
    """A checkpoint by a key that took over later, of a size at which it did not speak yet, is told as that."""
    signers, following = floor_signers(), signer_from_seed(ORIGIN, bytes(range(1, 33)))
    ready.book.close()
    ready.book = open_book(
        ready.url,
        origin=ORIGIN,
        signers=Signers(signers.checkpoint, signers.dossier, following),
        label_stem="https://id.example.com",
        clock_ms=ready.clock,
    )
    ready.book.start()
    line = format_verifier(following.verifier)
    introduced = {"kind": "key-introduced", "at": at(100), "key": ORIGIN, "purpose": "checkpoint", "verifier": line}
    size = ready.say(introduced).index
    assert "same" == compared(ready, ready.book.checkpoint().decode()).outcome
    assert "wrong-term" == compared(ready, sign_checkpoint(ORIGIN, size, OTHER_ROOT, [following]).decode()).outcome


@pytest.mark.parametrize(
    "text",
    ["", "nonsense", "a\n\nb\n", f"{ORIGIN}\n5\nAAAA\n", "\ud800\n\n\u2014 x y\n", "x" * (LONGEST + 1)],
)
def test_what_is_no_checkpoint_is_refused(ready: Floor, text: str) -> None:
    """Text that is none is refused in words."""
    with pytest.raises(MalformedInput):
        compared(ready, text)
