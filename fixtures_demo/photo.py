"""Photos, invented as everything here: a dark disc with a light crack across it, or with a pin and a mark; small grey PNGs."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable

SIDE = 96
BACKGROUND, BALL, CRACK = 232, 58, 190


def claim_photo() -> bytes:
    """A claimant's picture, the same bytes each time (PNG, 8-bit grey)."""
    return _png(_cracked)


def axis_photo(number: int) -> bytes:
    """A picture of a sample ball: its pin, and its axis mark at one of twelve places round it."""
    return _png(lambda x, y: _marked(x, y, number % 12))


def _png(shade: Callable[[int, int], int]) -> bytes:
    rows = b"".join(b"\0" + bytes(shade(x, y) for x in range(SIDE)) for y in range(SIDE))
    head = struct.pack(">IIBBBBB", SIDE, SIDE, 8, 0, 0, 0, 0)
    # Stored, not compressed: other releases of the library would compress to other bytes.
    parts = (_chunk(b"IHDR", head), _chunk(b"IDAT", zlib.compress(rows, 0)), _chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def _is_ball(x: int, y: int) -> bool:
    middle = SIDE // 2
    return (x - middle) ** 2 + (y - middle) ** 2 <= (middle - 6) ** 2


def _marked(x: int, y: int, place: int) -> int:
    if not _is_ball(x, y):
        return BACKGROUND
    middle = SIDE // 2
    mark = middle - 18 + place * 3, middle + 14
    pin = (x - middle) ** 2 + (y - middle + 12) ** 2 < 20
    return CRACK if pin or max(abs(x - mark[0]), abs(y - mark[1])) < 2 else BALL


def _cracked(x: int, y: int) -> int:
    middle = SIDE // 2
    if not _is_ball(x, y):
        return BACKGROUND
    return CRACK if abs(y - middle - (x * 7 % 11 - 5) // 2) < 2 else BALL


def _chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
