"""What a stored file is, by its own bytes: PNG, JPEG or PDF, looked at a little deeper than its first four bytes.

Sources: PNG (ISO/IEC 15948:2004) clauses 5.2 (signature), 5.3 and 11.2.2 (IHDR first, with its length, size and CRC);
JPEG (ITU-T T.81) Annex B.1.1.3 and B.2.1 (SOI, another marker after it, EOI at the end); PDF (ISO 32000-1:2008) 7.5.2
(header ``%PDF-`` and a version) and 7.5.5 (``%%EOF``, looked for in the last 1,024 bytes, as readers do: common practice).

It tells a photo from something else; it does not show that the whole picture can be drawn.
"""

from __future__ import annotations

import re
import zlib

PNG, JPEG, PDF = "PNG", "JPEG", "PDF"

_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_IHDR = b"\x00\x00\x00\rIHDR"
_PDF_HEADER = re.compile(rb"%PDF-[12]\.[0-9]")
_MARKERS = frozenset(range(0xC0, 0xFF)) - frozenset(range(0xD0, 0xDA))
"""Second bytes of the markers that may come right after the start of an image: no restart, no start or end of image."""


def file_type(first: bytes, last: bytes) -> str:
    """PNG, JPEG or PDF, or empty for anything else.

    ``first``: at least the first 33 bytes of the file, as far as it has them; ``last``: up to its last 1,024.
    """
    if _is_png(first):
        return PNG
    if first[:3] == b"\xff\xd8\xff" and len(first) > 3 and first[3] in _MARKERS and b"\xff\xd9" in last:
        return JPEG
    return PDF if _PDF_HEADER.match(first) and b"%%EOF" in last else ""


def _is_png(first: bytes) -> bool:
    if not first.startswith(_PNG_SIGNATURE + _IHDR) or len(first) < 33:
        return False
    sizes = first[16:20], first[20:24]
    crc = int.from_bytes(first[29:33], "big")
    return all(0 < int.from_bytes(size, "big") < 2**31 for size in sizes) and zlib.crc32(first[12:29]) == crc
