"""Small files as people send them: whole pictures and papers, and what is none."""

from __future__ import annotations

import struct
import zlib


def png(shade: int = 0) -> bytes:
    """A picture of one grey point; each shade is another file."""
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        (
            _chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)),
            _chunk(b"IDAT", zlib.compress(bytes((0, shade)))),
            _chunk(b"IEND", b""),
        )
    )


def _chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00" + bytes(2000) + b"\xff\xd9"
"""The ends of a picture, with nothing that can be drawn between them."""

PDF = b"%PDF-1.7\n" + b"% words\n" * 300 + b"trailer\n<<>>\nstartxref\n0\n%%EOF\n"
"""The ends of a paper."""

SCRIPT = b"<html><script>alert(1)</script></html>"
