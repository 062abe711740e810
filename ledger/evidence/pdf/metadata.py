"""What a report says of itself to programs: title, maker, instant, and that it is PDF/A-3b (XMP; ISO 19005-3, 6.6.2 and 6.6.4,
clauses from memory).

Written here, since what fpdf2 writes of itself states the clock's time of the change too.
"""

from __future__ import annotations

import datetime as dt
from xml.sax.saxutils import escape

_XMP = """<x:xmpmeta xmlns:x="adobe:ns:meta/">
  <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
    <rdf:Description rdf:about=""
      xmlns:dc="http://purl.org/dc/elements/1.1/"
      xmlns:xmp="http://ns.adobe.com/xap/1.0/"
      xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">
      <pdfaid:part>3</pdfaid:part>
      <pdfaid:conformance>B</pdfaid:conformance>
      <xmp:CreatorTool>Pourbook</xmp:CreatorTool>
      <xmp:CreateDate>{at}</xmp:CreateDate>
      <xmp:ModifyDate>{at}</xmp:ModifyDate>
      <xmp:MetadataDate>{at}</xmp:MetadataDate>
      <dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
      <dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
      <dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
    </rdf:Description>
  </rdf:RDF>
</x:xmpmeta>"""


def xmp_metadata(*, title: str, subject: str, author: str, at: dt.datetime) -> str:
    """The metadata of a report that states the instant ``at``."""
    stamp = at.astimezone(dt.UTC).isoformat(timespec="seconds")
    return _XMP.format(title=_text(title), subject=_text(subject), author=_text(author), at=stamp)


def _text(text: str) -> str:
    """As XML may hold it: no control character is allowed there (XML 1.0, 2.2)."""
    return escape("".join(letter if letter.isprintable() else " " for letter in text))
