"""Every command of VERIFY.md, run by bash with public tools alone, on a good dossier and on tampered ones."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest
from fpdf import FPDF

from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import Unsupported
from ledger.evidence.files import verify_text
from ledger.evidence.pdf.seal import SealKey
from ops.demo_walk.public_tools import TOOLS, Said, run_commands
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.evidence.small_dossier import KEY, ORIGIN, OTHER_LOG
from tests.evidence.tampered_archives import ARCHIVES, bit_in, put_together
from tests.evidence.tampered_books import BOOKS, TRUSTS
from tests.evidence.tampered_contents import FORGED, LOTS, with_content
from tests.evidence.witnessed_dossier import WITNESSES, closed_book, full_dossier

NORTH, SOUTH = (format_verifier(one.verifier) for one in WITNESSES)


def run(raw: bytes, folder: Path, key: str = KEY, **more: str) -> Said:
    """Run every command of the page on these bytes, as a reader would who pasted all of them."""
    try:
        return run_commands(raw, folder, {"KEY": key, **more}, tools=(*TOOLS, "sha256sum", "pdfsig"))
    except Unsupported as error:
        pytest.skip(error.problem)


def test_a_good_dossier_is_right_in_every_case(tmp_path: Path) -> None:
    """Each case of the page says that it is right, and the tools have nothing to complain of."""
    said = run(full_dossier(), tmp_path, WITNESSES=f"{NORTH} {SOUTH}")

    assert [] == said.wrong
    assert [
        "every file has the digest in SHA256SUMS",
        "there is no other file, and none is missing",
        "the manifest states the digest of SHA256SUMS",
        "manifest.sig is over this manifest",
        "manifest.sig is by a dossier key of keys.json",
        f"checkpoint, manifest and key are of one book: {ORIGIN}",
        "the checkpoint is signed by the key that you gave",
        "cosigned by witness.example/north",
        "cosigned by witness.example/south",
        "every entry stands in the book under the checkpoint, byte for byte",
        "every entry follows the one before it, where that is here",
        "every opened field is as it was sealed",
        "rulebooks, checklists and documents are those that their names say",
        "the 3 leaves of lot S1 lead to the root of its closing",
        "an entry here closes lot S1 with that root",
    ] == said.right
    assert "witness.example/north at second 1741000000 of 1970: Mon Mar  3 11:06:40 UTC 2025" in said.text
    assert "told:  1 erased 6 opened 1 withheld" in said.text
    assert "lot S1: 2 of 3 balls are here under the number that they bore at the closing" in said.text
    assert "tokens/tsa-1.tsr is here; set TSA_ROOT to check it" in said.text
    assert not [line for line in said.text.splitlines() if ": line " in line]


TAMPERED: Mapping[str, tuple[Callable[[], bytes], str]] = {
    "a bit of a file": (partial(put_together, partial(bit_in, "README.txt")), "every file has the digest in SHA256SUMS"),
    "a file too many": (ARCHIVES["a file more at the end"].make, "there is no other file, and none is missing"),
    "a receipt left out": (ARCHIVES["no receipt"].make, "there is no other file, and none is missing"),
    "the archive cut in half": (ARCHIVES["cut in half"].make, "every file has the digest in SHA256SUMS"),
    "the digests": (ARCHIVES["two digests in another order"].make, "the manifest states the digest of SHA256SUMS"),
    "the signature of another dossier": (
        ARCHIVES["the signature of another dossier"].make,
        "manifest.sig is over this manifest",
    ),
    "the signature": (partial(put_together, partial(bit_in, "manifest.sig")), "manifest.sig is by a dossier key of keys.json"),
    "a stranger's signature": (
        FORGED["a manifest signed by a stranger"].make,
        "manifest.sig is by a dossier key of keys.json",
    ),
    "an entry": (FORGED["an entry"].make, "every entry stands in the book under the checkpoint, byte for byte"),
    "a proof of another entry": (
        FORGED["a proof of another entry"].make,
        "every entry stands in the book under the checkpoint, byte for byte",
    ),
    "a proof that is too short": (
        FORGED["every hash of a proof left out"].make,
        "every entry stands in the book under the checkpoint, byte for byte",
    ),
    "a receipt of an earlier head": (
        FORGED["a receipt against an earlier head"].make,
        "every entry stands in the book under the checkpoint, byte for byte",
    ),
    "the size of the checkpoint": (
        FORGED["the size of the checkpoint"].make,
        "the checkpoint is signed by the key that you gave",
    ),
    "an entry that follows another": (
        BOOKS["an entry that follows another"].make,
        "every entry follows the one before it, where that is here",
    ),
    "an entry of another index": (
        BOOKS["an entry of another index"].make,
        "every entry stands in the book under the checkpoint, byte for byte",
    ),
    "the value of an opening": (FORGED["the value of an opening"].make, "every opened field is as it was sealed"),
    "the salt of an opening": (FORGED["the salt of an opening"].make, "every opened field is as it was sealed"),
    "a rulebook": (FORGED["a rulebook"].make, "rulebooks, checklists and documents are those that their names say"),
    "a leaf of a lot": (LOTS["a leaf"].make, "the 3 leaves of lot S1 lead to the root of its closing"),
    "the count of a lot": (LOTS["the count of a lot"].make, "the 2 leaves of lot S1 lead to the root of its closing"),
    "the root of a lot": (LOTS["the root of a lot"].make, "an entry here closes lot S1 with that root"),
    "a cosignature": (
        TRUSTS["a cosignature by another under a witness's key id"].make,
        "cosigned by witness.example/south",
    ),
    "no cosignature": (
        TRUSTS["no cosignature where a policy wants one"].make,
        "cosigned by witness.example/north",
    ),
}  # fmt: skip
"""What was done to the dossier, and the case of the page that finds it."""


@pytest.mark.parametrize("name", list(TAMPERED))
def test_a_tampered_dossier_is_wrong_in_its_case(name: str, tmp_path: Path) -> None:
    """The case that is there for it says that it is wrong."""
    make, case = TAMPERED[name]

    assert case in run(make(), tmp_path, WITNESSES=f"{NORTH} {SOUTH}").wrong


def test_another_key_is_wrong(tmp_path: Path) -> None:
    """A key of the same name that did not sign is no key of the book."""
    said = run(full_dossier(), tmp_path, format_verifier(OTHER_LOG.verifier))

    assert ["the checkpoint is signed by the key that you gave"] == said.wrong


def test_a_key_of_another_book_is_wrong(tmp_path: Path) -> None:
    """A key by another name is told as such."""
    said = run(full_dossier(), tmp_path, format_verifier(signer_from_seed("another.example", bytes(32)).verifier))

    assert [
        f"checkpoint, manifest and key are of one book: {ORIGIN}",
        "the checkpoint is signed by the key that you gave",
    ] == said.wrong


def test_a_time_stamp_is_checked_against_the_root(tmp_path: Path) -> None:
    """A token over the checkpoint is right and says its time; one over other bytes is wrong."""
    tsa, note = OpenSslTsa(tmp_path / "tsa"), closed_book().note
    good = tsa.answer(tsa.query(note, "-sha256", "-cert"))
    other = tsa.answer(tsa.query(note + b"x", "-sha256", "-cert"))

    said = run(
        with_content(tokens={"good": good, "other": other}), tmp_path, TSA_ROOT=str(tmp_path / "tsa" / "root.crt")
    )

    assert "tokens/good.tsr is over this checkpoint" in said.right
    assert ["tokens/other.tsr is over this checkpoint"] == said.wrong
    assert "Time stamp: " in said.text


def test_every_case_says_what_it_shows() -> None:
    """Under each numbered heading there are commands, and then what they show."""
    cases = re.split(r"^## \d+\. ", verify_text().decode(), flags=re.MULTILINE)[1:]

    assert 12 == len(cases)
    assert [] == [case.splitlines()[0] for case in cases if "```sh" not in case or "\nShows" not in case]


def test_parts_that_only_the_whole_check_makes_anew_are_named() -> None:
    """What no command of the page holds against the entries stands in its last section."""
    left = verify_text().decode().partition("## What these commands leave out")[2]
    parts = ("balls/", "keys.json", "stations' own signatures", "events/", "credentials/", "did.json")

    assert [] == [part for part in (*parts, "approval.json", "verdicts.csv", "report.pdf") if part not in left]


def sealed_pdf(folder: Path) -> bytes:
    """One page, sealed by a key and certificate that OpenSSL makes."""
    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "key.pem", "-out", "crt.pem"]
    packed = ["openssl", "pkcs12", "-export", "-inkey", "key.pem", "-in", "crt.pem", "-out", "seal.p12", "-passout"]
    subprocess.run([*made, "-days", "2", "-subj", "/CN=Seal of the tests"], cwd=folder, check=True, capture_output=True)
    subprocess.run([*packed, "pass:word"], cwd=folder, check=True, capture_output=True)
    page = FPDF()
    page.add_page()
    now = datetime.now(UTC) + timedelta(minutes=1)
    return SealKey((folder / "seal.p12").read_bytes(), b"word", now=now).seal(bytes(page.output())).pdf


def test_the_signature_of_the_report_is_checked(tmp_path: Path) -> None:
    """A sealed report is right; one with a byte changed after the seal is wrong."""
    good = sealed_pdf(tmp_path)

    assert "report.pdf is as it was signed" in run(with_content(report=good), tmp_path).right
    changed = good.replace(b"/Count 1", b"/Count 2", 1)
    assert ["report.pdf is as it was signed"] == run(with_content(report=changed), tmp_path).wrong
