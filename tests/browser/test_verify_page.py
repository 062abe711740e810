"""The page that checks dossiers, on good ones and on every tampered one, held against the whole check."""

from __future__ import annotations

import io
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from ledger.errors import LedgerError
from ledger.evidence.verifier import check_dossier
from tests.browser.verify_page_hand import VerifyPage, opened_from_disk, unpacked
from tests.evidence.seals import in_own_thread
from tests.evidence.small_dossier import KEY, content, dossier, written
from tests.evidence.tampered_archives import Tampering
from tests.evidence.tamperings import GROUPS
from tests.evidence.witnessed_dossier import KEYS, full_dossier, policy_text, trust_of

NO_ED25519 = """const known = crypto.subtle.importKey.bind(crypto.subtle);
crypto.subtle.importKey = (form, key, algorithm, ...rest) => (algorithm.name ?? algorithm) === "Ed25519"
    ? Promise.reject(new DOMException("Unrecognized name.", "NotSupportedError")) : known(form, key, algorithm, ...rest);"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A good dossier, unpacked: the page is the one in it."""
    return unpacked(full_dossier(), tmp_path_factory.mktemp("dossier"))


@pytest.fixture
def verify_page(browser: Browser, folder: Path) -> Iterator[VerifyPage]:
    """The page of the good dossier, opened from disk without a network."""
    with opened_from_disk(browser, folder) as page:
        yield page


def first_fault(tampering: Tampering) -> str:
    """The file that the whole check names."""
    trust = trust_of(tampering.trust, time.time_ns() // 1_000_000)
    try:
        in_own_thread(lambda: check_dossier(io.BytesIO(tampering.make()), trust))
    except LedgerError as error:
        return error.where.partition(":")[0]
    pytest.fail("the whole check finds nothing")


@pytest.mark.parametrize("group", list(GROUPS))
def test_both_verifiers_name_the_same_file_first(verify_page: VerifyPage, group: str) -> None:
    """On each tampered dossier, one after another in one page, the browser's first fault is the whole check's.

    Or the page finds nothing, and says that it did not check what is wrong.
    """
    found, expected = {}, {}
    for name, tampering in GROUPS[group].items():
        outcome = verify_page.check(tampering.make(), tampering.trust)
        left = tampering.unchecked if tampering.unchecked in verify_page.told("not-checked") else ""
        found[name] = (outcome.kind, outcome.file, left)
        where = first_fault(tampering)
        expected[name] = ("wrong", where, "") if tampering.by_both else ("right", "", tampering.unchecked)

    assert expected == found


def test_what_only_the_whole_check_finds_is_said_to_be_unchecked(verify_page: VerifyPage) -> None:
    """A forged sheet passes here, and the page says that sheets are not made anew, and what does that."""
    outcome = verify_page.check(GROUPS["sheets"]["a reading"].make(), KEYS)

    assert "right" == outcome.kind
    assert "pourbook verify dossier" in outcome.words
    assert "Whether the sheets follow from the entries" in verify_page.told("not-checked")


@pytest.mark.parametrize("trust", [KEYS, policy_text("any"), policy_text("all")], ids=["keys", "any", "all"])
def test_a_good_dossier_is_right_in_what_is_checked(verify_page: VerifyPage, trust: str) -> None:
    """Who signed, who cosigned and when, what is here of the lot, and what was left out are told."""
    outcome = verify_page.check(full_dossier(), trust)

    assert "right" == outcome.kind
    checked = verify_page.told("checked")
    assert "witness.example/north cosigned it at 2025-03-03 11:06:40 UTC" in checked
    assert "2 of 3 balls of lot S1 are here" in checked
    assert "14 entries stand in the book" in checked
    assert "time stamp of tsa-1" in verify_page.told("not-checked")
    assert ("quorum (both) is reached by witness.example/north, witness.example/south" in checked) == (trust != KEYS)


def test_withheld_and_erased_are_outcomes_of_their_own(verify_page: VerifyPage) -> None:
    """They are counted apart, and are no fault."""
    verify_page.check(full_dossier(), KEYS)

    told = verify_page.told("closed")
    assert "Withheld: 1 field" in told
    assert "Erased: 1 field" in told


def test_without_a_witness_the_page_says_what_that_leaves_open(verify_page: VerifyPage) -> None:
    """One known key is enough to check, and not enough to know that there is one head."""
    verify_page.check(dossier(), KEY)

    assert "shown another head of this book" in verify_page.told("not-checked")


def test_without_ed25519_signatures_are_not_checked(browser: Browser, folder: Path) -> None:
    """A browser that lacks the algorithm never says that a dossier is right, and still finds what it can."""
    with opened_from_disk(browser, folder, script=NO_ED25519) as page:
        good = page.check(full_dossier(), KEYS)
        not_checked, checked = page.told("not-checked"), page.told("checked")
        forged = page.check(GROUPS["forged"]["an entry"].make(), KEYS)

    assert "unsigned" == good.kind
    assert "Not proved: this browser cannot check signatures" in good.words
    assert "Every signature: of the manifest, of the checkpoint, and of witnesses" in not_checked
    assert "signed by" not in checked
    assert ("wrong", "receipts/8.tlog-proof") == (forged.kind, forged.where)


def test_without_digests_nothing_is_checked(browser: Browser, folder: Path) -> None:
    """A browser that gives the page no cryptography at all says so."""
    script = "Object.defineProperty(Crypto.prototype, 'subtle', {value: undefined});"
    with opened_from_disk(browser, folder, script=script) as page:
        assert "failed" == page.check(full_dossier(), KEYS).kind


@pytest.mark.parametrize(
    ("trust", "words"),
    [
        ("", "no key is given"),
        ("no key", "key line has another form"),
        ("no+key", "verifier key has another form"),
        (f"{KEY} from x", "number is not a decimal"),
        (f"log {KEY}\n", "no quorum line"),
        (f"log {KEY}\nlog {KEY}\nquorum none\n", "names a key twice"),
        (f"log {KEY}\nquorum w\n", "no line before this one defines the name"),
        (f"log {KEY}\nquorum none\nquorum none\n", "two quorum lines"),
        (f"log {KEY}\nwatch w\nquorum none\n", "key line has another form"),
        ("quorum none\n", "no key is given"),
    ],
)
def test_a_key_that_is_none_is_asked_for(verify_page: VerifyPage, trust: str, words: str) -> None:
    """Nothing is checked by a key that cannot be read, and the page says what is wrong with it."""
    outcome = verify_page.check(full_dossier(), trust)

    assert ("asked", True) == (outcome.kind, words in outcome.words)


def test_a_dossier_is_asked_for(verify_page: VerifyPage) -> None:
    """Without a file there is nothing to check."""
    verify_page.page.fill("#keys", KEYS)

    assert ("asked", True) == (verify_page.press().kind, "choose the zip file" in verify_page.told("outcome"))


def test_a_finding_goes_when_the_next_is_wrong(verify_page: VerifyPage) -> None:
    """What was right about one dossier does not stay beside what is wrong with the next."""
    verify_page.check(full_dossier(), KEYS)
    assert verify_page.page.locator("[data-part=found]").is_visible()

    verify_page.check(full_dossier()[:-1], KEYS)

    assert not verify_page.page.locator("[data-part=found]").is_visible()


def test_a_dossier_without_balls_is_checked(verify_page: VerifyPage) -> None:
    """Entries may be handed over by themselves; no list of balls is shown then."""
    assert "right" == verify_page.check(written(content(balls=[], rulebooks=())), KEY).kind
    assert not verify_page.page.locator("[data-part=balls]").is_visible()
