"""The page that checks dossiers, as the service publishes it."""

from __future__ import annotations

import hashlib

from ledger.evidence.files import verify_page
from tests.api.running import Service
from tests.evidence.small_dossier import dossier, members


def test_the_digest_is_that_of_the_page_that_is_served(service: Service) -> None:
    """Whoever asks is told the SHA-256, and gets the bytes that have it, to be saved and not shown."""
    stated = service.nobody.get("/verifier").json()
    answer = service.nobody.get(stated["address"])

    assert hashlib.sha256(answer.content).hexdigest() == stated["sha256"]
    assert (len(answer.content), "verify.html") == (stated["bytes"], stated["file"])
    assert 'attachment; filename="verify.html"' == answer.headers["content-disposition"]


def test_it_is_the_page_that_every_dossier_carries(service: Service) -> None:
    """A dossier holds these bytes and no other."""
    served = service.nobody.get("/verifier/verify.html").content

    assert verify_page() == served == members(dossier())["verify.html"]
