"""The page on a dossier with every part, and on hostile content in each file, held against the whole check."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from ledger.errors import LedgerError
from ledger.evidence.verifier import check_dossier
from tests.browser.verify_page_hand import VerifyPage, opened_from_disk, unpacked
from tests.evidence.small_dossier import archived, members, resealed
from tests.evidence.test_hostile_dossiers import HOSTILE, JSON_FILES
from tests.evidence.whole_dossier import whole_dossier
from tests.evidence.witnessed_dossier import KEYS, trust_of

NOT_READ = ("did.json", "events/", "credentials/")
"""Files of which the page compares the digest alone, and says so."""


@pytest.fixture(scope="module")
def page(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[VerifyPage]:
    """One page for all of them."""
    with opened_from_disk(browser, unpacked(whole_dossier(), tmp_path_factory.mktemp("dossier"))) as one:
        yield one


def first_fault(raw: bytes) -> tuple[str, str]:
    """What the whole check says, in the words of the page."""
    try:
        check_dossier(io.BytesIO(raw), trust_of(KEYS))
    except LedgerError as error:
        return "wrong", error.where.partition(":")[0]
    return "right", ""


def test_a_dossier_with_every_part_is_right_in_what_is_checked(page: VerifyPage) -> None:
    """What the page does not look into is named."""
    assert "right" == page.check(whole_dossier(), KEYS).kind
    assert "Whether these say what the entries say: events, credentials, did.json." in page.told("not-checked")


def test_deep_content_in_each_file_is_refused_alike(page: VerifyPage) -> None:
    """JSON nested without end, under right digests and a good signature, is refused where both verifiers read it."""
    found, expected = {}, {}
    for name in JSON_FILES:
        raw = resealed({**members(whole_dossier()), name: HOSTILE["deep"]})
        outcome = page.check(raw, KEYS)
        found[name] = (outcome.kind, outcome.file)
        expected[name] = ("right", "") if name.startswith(NOT_READ) else first_fault(raw)

    assert expected == found


@pytest.mark.full
@pytest.mark.parametrize("what", list(HOSTILE))
def test_hostile_content_in_each_file_is_refused_alike(page: VerifyPage, what: str) -> None:
    """Whatever stands in a file, both verifiers name it, or neither does."""
    found, expected = {}, {}
    for name in [*JSON_FILES, "manifest.json"]:
        files = {**members(whole_dossier()), name: HOSTILE[what]}
        raw = archived(files) if name == "manifest.json" else resealed(files)
        outcome = page.check(raw, KEYS)
        found[name] = (outcome.kind, outcome.file)
        expected[name] = ("right", "") if name.startswith(NOT_READ) else first_fault(raw)

    assert expected == found
