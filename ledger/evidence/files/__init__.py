"""Two files that every dossier carries, the same bytes in each of this version: ``verify.html`` and ``VERIFY.md``.

``verify.html`` checks a dossier in a browser, offline; ``VERIFY.md`` says which checks public tools can do.
Since a page inside an untrusted dossier proves nothing by itself, its SHA-256 is published by the service and the README.
"""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from importlib.resources import files

VERIFY_PAGE, VERIFY_TEXT = "verify.html", "VERIFY.md"


@cache
def verify_page() -> bytes:
    """The page that checks a dossier in a browser, as it stands in every dossier."""
    return (files(__name__) / VERIFY_PAGE).read_bytes()


@cache
def verify_text() -> bytes:
    """The checks that public tools can do, as they stand in every dossier."""
    return (files(__name__) / VERIFY_TEXT).read_bytes()


def verify_page_digest() -> str:
    """SHA-256 of the page, 64 lower hex digits: what is published, and what a reader compares."""
    return sha256(verify_page()).hexdigest()
