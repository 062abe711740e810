"""Every way in which the dossiers of these tests are tampered with, by name; each goes to every form of the verifier."""

from __future__ import annotations

from collections.abc import Mapping

from tests.evidence.tampered_archives import ARCHIVES, BITS, Tampering
from tests.evidence.tampered_books import BOOKS, TRUSTS
from tests.evidence.tampered_contents import FORGED, LOTS, SHEETS
from tests.evidence.tampered_parts import CREDENTIALS, EVENTS, REPORTS, STATIONS

GROUPS: Mapping[str, Mapping[str, Tampering]] = {
    "archive": ARCHIVES,
    "bits": BITS,
    "forged": FORGED,
    "lots": LOTS,
    "sheets": SHEETS,
    "events": EVENTS,
    "credentials": CREDENTIALS,
    "report": REPORTS,
    "stations": STATIONS,
    "books": BOOKS,
    "trust": TRUSTS,
}
"""By who could have done it, or by the part in which it was done."""

TAMPERINGS: Mapping[str, Tampering] = {
    f"{group}: {name}": tampering for group, tamperings in GROUPS.items() for name, tampering in tamperings.items()
}
"""All of them."""
