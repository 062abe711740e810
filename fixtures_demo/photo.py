"""A claimant's photo, invented as everything here: a dark disc with a light crack across it, as a small grey PNG."""

from __future__ import annotations

import struct
import zlib

SIDE = 96
BACKGROUND, BALL, CRACK = 232, 58, 190


def claim_photo() -> bytes:
    """The picture, the same bytes each time (PNG, 8-bit grey)."""
    rows = b"".join(b"\0" + bytes(_shade(x, y) for x in range(SIDE)) for y in range(SIDE))
    head = struct.pack(">IIBBBBB", SIDE, SIDE, 8, 0, 0, 0, 0)
    # Stored, not compressed: other releases of the library would compress to other bytes.
    parts = (_chunk(b"IHDR", head), _chunk(b"IDAT", zlib.compress(rows, 0)), _chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def _shade(x: int, y: int) -> int:
    middle = SIDE // 2
    if (x - middle) ** 2 + (y - middle) ** 2 > (middle - 6) ** 2:
        return BACKGROUND
    return CRACK if abs(y - middle - (x * 7 % 11 - 5) // 2) < 2 else BALL


def _chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
