"""Receipts of many entries against one checkpoint: the same as `check_receipt` says of each, at a fraction of the cost.

Neighbours share the upper part of their paths. A node from which the rest of a path was seen to lead to the root is kept with
that rest; another receipt that comes to the same node with the same hash and the same rest leads there too. Whatever is not
in the plain form, or does not come out, is read by the one parser and refused by the one check.
"""

from __future__ import annotations

from ledger.book.c2sp_text import parse_hash
from ledger.book.checkpoint import Checkpoint
from ledger.book.merkle import check_inclusion, node_hash
from ledger.book.receipt import HEADER, MAX_PROOF_HASHES, parse_receipt
from ledger.errors import DossierRejected, MalformedReceipt

_LINE = 45
"""Bytes of a hash in base64, and its newline."""

_KEPT = 5_000


class ReceiptCheck:
    """Checks receipts against ``checkpoint``, which was checked."""

    def __init__(self, checkpoint: Checkpoint) -> None:
        """Nothing is kept yet."""
        self._checkpoint = checkpoint
        self._end = b"\n" + checkpoint.note
        self._known: dict[tuple[int, int], tuple[bytes, bytes]] = {}

    def check(self, index: int, entry_hash: bytes, raw: bytes, name: str) -> None:
        """Check that the entry with this hash stands at ``index`` by the receipt ``raw``.

        Raises MalformedReceipt, DossierRejected, InclusionFailed.
        """
        checkpoint = self._checkpoint
        start = b"%s\nindex %d\n" % (HEADER.encode(), index)
        if raw.startswith(start) and raw.endswith(self._end) and index < checkpoint.tree_size:
            lines = raw[len(start) : -len(self._end)]
            if (
                len(lines) % _LINE == 0
                and len(lines) <= MAX_PROOF_HASHES * _LINE
                and self._leads(index, entry_hash, lines)
            ):
                return
        receipt = parse_receipt(raw)
        if receipt.checkpoint_note != checkpoint.note:
            raise DossierRejected("receipt is against another checkpoint", where=name)
        if receipt.index != index:
            raise DossierRejected("receipt is of another entry", expected=index, got=receipt.index, where=name)
        if index >= checkpoint.tree_size:
            raise DossierRejected("entry is beyond the checkpoint", got=index, where=name)
        check_inclusion(entry_hash, index, checkpoint.tree_size, receipt.proof, checkpoint.root_hash)

    def _leads(self, index: int, entry_hash: bytes, lines: bytes) -> bool:
        """Whether the path leads from the entry to the root. Source: RFC 9162 section 2.1.3.2."""
        place, last, running, at = index, self._checkpoint.tree_size - 1, entry_hash, 0
        passed: list[tuple[tuple[int, int], bytes, int]] = []
        while True:
            known = self._known.get((place, last))
            if known is not None:
                if known != (running, lines[at:]):
                    return False
                break
            passed.append(((place, last), running, at))
            if at == len(lines):
                if last or running != self._checkpoint.root_hash:
                    return False
                break
            sibling = _hash_in(lines, at)
            if last == 0 or sibling is None:
                return False
            if place & 1 or place == last:
                running = node_hash(sibling, running)
                while not place & 1 and place:
                    place >>= 1
                    last >>= 1
            else:
                running = node_hash(running, sibling)
            place >>= 1
            last >>= 1
            at += _LINE
        self._keep(passed, lines)
        return True

    def _keep(self, passed: list[tuple[tuple[int, int], bytes, int]], lines: bytes) -> None:
        if len(self._known) > _KEPT:
            self._known.clear()
        # A leaf is met once; what lies above it is met again.
        for node, running, at in passed[1:]:
            self._known[node] = (running, lines[at:])


def _hash_in(lines: bytes, at: int) -> bytes | None:
    """The hash in the line that begins there; None for what is no line of a hash."""
    if lines[at + _LINE - 1] != 0x0A:
        return None
    try:
        return parse_hash(lines[at : at + _LINE - 1].decode("ascii"), MalformedReceipt)
    except (MalformedReceipt, UnicodeDecodeError):
        return None
