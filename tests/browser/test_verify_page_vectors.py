"""The page's own functions, in a browser, on published vectors: trees, notes, signatures, canonical bytes, policies.

Vectors are read from the collection beside the project where it is present (RFC 8032, RFC 9162 with the Certificate
Transparency reference tree, C2SP signed-note, RFC 8785); each test says what it takes from it.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from ledger.book.canonical import decode
from ledger.book.policy import parse_policy
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import LedgerError
from tests.book.samples import vectors
from tests.browser.verify_page_hand import VerifyPage, opened_from_disk, unpacked
from tests.evidence.small_dossier import dossier

REFUSED = "error => { if (error instanceof Fault) return null; throw error; }"


@pytest.fixture(scope="module")
def page(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[VerifyPage]:
    """One page for all vectors."""
    with opened_from_disk(browser, unpacked(dossier(), tmp_path_factory.mktemp("dossier"))) as one:
        yield one


def asked(page: VerifyPage, body: str, cases: list[Any]) -> list[Any]:
    """What an expression over ``one`` gives for each case; None where the page refuses it."""
    script = f"""async cases => {{
        const answers = [];
        for (const one of cases) answers.push(await (async () => ({body}))().catch({REFUSED}));
        return answers;
    }}"""
    found: list[Any] = page.page.evaluate(script, cases)
    return found


def test_leaves_and_roots_are_those_of_the_reference_tree(page: VerifyPage) -> None:
    """The eight reference leaves of Certificate Transparency, and the roots of the trees of 0 to 8 of them."""
    tree = vectors("merkle.json")

    assert tree["leaf_hashes"] == asked(page, "hexOf(await leafHash(parseHex(one)))", tree["leaves"])
    cases = [tree["leaf_hashes"][: root["size"]] for root in tree["roots"]]
    assert [root["root"] for root in tree["roots"]] == asked(page, "hexOf(await treeRoot(one.map(parseHex)))", cases)


@pytest.mark.parametrize("group", ["inclusion", "negative_inclusion", "published_probes_inclusion"])
def test_inclusion_proofs_come_out_as_published(page: VerifyPage, group: str) -> None:
    """Proofs of RFC 9162 section 2.1.3: the right ones, those with one thing changed, and the published probes."""
    cases = [one for one in vectors("merkle.json")[group] if _is_of_hashes(one)]
    leaf = "one.leaf_data === undefined ? parseHex(one.leaf_hash) : await leafHash(parseHex(one.leaf_data))"
    body = f"""(await checkInclusion({{leaf: {leaf}, index: BigInt(one.leaf_index), size: BigInt(one.tree_size),
        proof: one.proof.map(parseHex), root: parseHex(one.root)}}), "valid")"""

    assert [one["expect"] for one in cases] == [answer or "reject" for answer in asked(page, body, cases)]
    assert len(cases) > 30


def _is_of_hashes(one: Any) -> bool:
    """Whether every hash has 32 bytes and every number is one: the page reads both from text before a proof is tried."""
    hashes = [one["root"], *one["proof"], one.get("leaf_hash", "0" * 64)]
    return all(len(each) == 64 for each in hashes) and one["leaf_index"] >= 0 and one["tree_size"] >= 0


@pytest.mark.parametrize("group", ["published_notes", "published_bad_notes", "note_cases"])
def test_notes_come_out_as_published(page: VerifyPage, group: str) -> None:
    """Signed notes of C2SP, of Go's note package and of real logs; text, the keys that verified, and every bad form."""
    cases = vectors("signed_note.json")[group]
    body = """await (async () => {
        const keys = await Promise.all(one.verifier_keys.map(parseVerifier));
        const note = await checkNote(Uint8Array.from(atob(one.note_b64), sign => sign.charCodeAt(0)), keys, true);
        return [note.text, note.signatures.map(({verifier}) => verifier.name), note.unknown.length];
    })()"""
    answers = asked(page, body, cases)

    assert [one["expect"] == "ok" for one in cases] == [answer is not None for answer in answers]
    for one, answer in zip(cases, answers, strict=True):
        if "parse" in one and answer:
            names = list(dict.fromkeys(verified["name"] for verified in one["parse"]["verified"]))
            assert [one["parse"]["text"], names] == [answer[0], list(dict.fromkeys(answer[1]))]


def test_verifier_keys_come_out_as_published(page: VerifyPage) -> None:
    """Verifier lines of C2SP signed-note, with key ids; a kind of key that the page does not know is refused."""
    cases = vectors("signed_note.json")["verifier_keys"]
    answers = asked(page, "await parseVerifier(one.vkey).then(key => [key.name, key.id, hexOf(key.key)])", cases)

    for one, answer in zip(cases, answers, strict=True):
        if one["expect"] == "valid" and one["type"] in (1, 4):
            assert [one["name"], one["key_id"], one["public_key_hex"]] == answer
        else:
            assert answer is None


def test_checkpoint_texts_come_out_as_published(page: VerifyPage) -> None:
    """Texts of C2SP tlog-checkpoint: origin, size and root, and every other shape."""
    cases = vectors("signed_note.json")["checkpoint_text_cases"]
    body = "(head => [head.origin, String(head.size), hexOf(head.root)])(parseCheckpointText(one.text))"

    for one, answer in zip(cases, asked(page, body, cases), strict=True):
        if one["expect"] == "valid":
            parsed = one["parsed"]
            assert [parsed["origin"], str(parsed["tree_size"]), parsed["root_hash_hex"]] == answer
        else:
            assert answer is None


def test_a_published_receipt_stands(page: VerifyPage) -> None:
    """The tlog-proof of the collection leads to its checkpoint, with a cosignature of the time that it states."""
    own = vectors("signed_note.json")["own"]
    case = {"keys": [key["vkey"] for key in own["keys"]], **own["tlog_proof"]}
    body = """await (async () => {
        const receipt = utf8.encode(one.document);
        const keys = await Promise.all(one.keys.map(parseVerifier));
        const checkpoint = await checkCheckpoint(parseReceipt(receipt).note, keys, keys[0].name, true);
        await checkReceipt(receipt, one.leaf_index, parseHex(one.leaf_data_hex), checkpoint);
        return checkpoint.witnesses.map(({atSeconds}) => String(atSeconds));
    })()"""

    assert [["1764046800"]] == asked(page, body, [case])


@pytest.mark.parametrize("group", ["signatures", "negative"])
def test_signatures_come_out_as_published(page: VerifyPage, group: str) -> None:
    """RFC 8032 section 7.1, and published edge cases; where a key of small order is accepted by libraries, it is not here."""
    cases = vectors("ed25519.json")[group]
    body = """(checkPublicKey(parseHex(one.public_key)),
        await checkSignature({name: "", key: parseHex(one.public_key)}, parseHex(one.message), parseHex(one.signature)), "valid")"""
    answers = asked(page, body, cases)

    if group == "signatures":
        assert ["valid"] * len(cases) == answers
    for one, answer in zip(cases, answers, strict=True):
        assert answer is None or one["cryptography_50_0_2" if group == "negative" else "expect"] in {"accept", "valid"}


JSON_TEXTS = [
    *('{"a":1}', '{"a":1,"a":1}', '{"b":1,"a":2}', '{"a": 1}', "[1,2]", "[1.0]", "[1e2]", "[-0]", "[null]", "[true]", '"\\u0041"'),
    *('"\\u001f"', '"\\u001F"', '"\\n"', '"\\/"', '"\x7f"', '"\u2028"', '"e\u0301"', '"\u00e9"', '"\\ud83d\\ude00"', '"\U0001f600"'),
    *('"\\ud800"', '{"\u00e9":1}', "[9007199254740991]", "[9007199254740992]", "[-9007199254740993]", "[1]x", "", "[", "{}", '""'),
    *('{"10":1,"9":2}', '{"9":1,"10":2}', '{"__proto__":1}', "[" * 32 + "]" * 32, "[" * 33 + "]" * 33, "[" * 60_000),
]  # fmt: skip


def test_canonical_bytes_are_those_of_the_book(page: VerifyPage) -> None:
    """Texts of every sort are canonical for the page exactly if they are for the book; its own pairs of RFC 8785 too."""
    texts = [*JSON_TEXTS, *(one["input_json"] for one in vectors("jcs.json")["parse_side"] if "input_json" in one)]
    texts += [bytes.fromhex(one["output_utf8_hex"]).decode() for one in vectors("jcs.json")["published_pairs"]]
    answers = asked(page, "(decodeCanonical(utf8.encode(one)), true)", texts)

    assert [_is_canonical(text) for text in texts] == [answer is True for answer in answers]


def _is_canonical(text: str) -> bool:
    try:
        decode(text.encode("utf-8", "surrogatepass"))
    except LedgerError:
        return False
    return True


LOGS = [format_verifier(signer_from_seed(f"log.example/{n}", bytes([n]) * 32).verifier) for n in (1, 2)]
SEERS = [format_verifier(signer_from_seed(f"w.example/{n}", bytes([n]) * 32, "witness").verifier) for n in (3, 4, 5)]
HEAD = f"log {LOGS[0]}\nwitness a {SEERS[0]}\nwitness b {SEERS[1]} https://b.example/\n\twitness\tc  {SEERS[2]} \n"
POLICIES = [
    HEAD + "quorum none\n",
    HEAD + "quorum a\n",
    HEAD + "# a comment\n\n  # another\nquorum c\n",
    HEAD + "group g any a b\nquorum g\n",
    HEAD + "group g all a b\ngroup h 1 g c\nquorum h\n",
    HEAD + "group g 2 a b c\nquorum g\n",
    HEAD + "group g 3 a b\nquorum g\n",
    HEAD + "group g 0 a b\nquorum g\n",
    HEAD + "group g 01 a b\nquorum g\n",
    HEAD + "group g any\nquorum g\n",
    HEAD + "group g constructor a b\nquorum g\n",
    HEAD + "constructor\nquorum a\n",
    HEAD + "group constructor any a b\nquorum constructor\n",
    HEAD + "group g any a a\nquorum g\n",
    HEAD + "group g any a\ngroup h any a\nquorum g\n",
    HEAD + "group g any g\nquorum g\n",
    HEAD + "group g any none\nquorum g\n",
    HEAD + "group none any a\nquorum none\n",
    HEAD + "group a any b\nquorum a\n",
    HEAD + "quorum d\n",
    HEAD + "quorum a\nquorum a\n",
    HEAD + "quorum a b\n",
    HEAD + "quorum a\nlog\n",
    HEAD + f"log {LOGS[1]} https://log.example/ more\nquorum a\n",
    HEAD + f"log {SEERS[0]}\nquorum a\n",
    HEAD + f"witness d {LOGS[1]}\nquorum a\n",
    HEAD + f"log {LOGS[0]}\nquorum a\n",
    HEAD + f"witness d {SEERS[0]}\nquorum a\n",
    HEAD + "watcher a\nquorum a\n",
    HEAD + "quorum a\x7f\n",
    HEAD + "quorum\u00a0a\n",
    HEAD,
]


def test_policies_are_read_as_the_other_verifier_reads_them(page: VerifyPage) -> None:
    """Every form of C2SP tlog-policy, good and bad, comes out alike."""
    answers = asked(page, "await parseTrust(one).then(({policy}) => policy.quorum)", POLICIES)

    assert [_quorum(text) for text in POLICIES] == answers


def _quorum(text: str) -> str | None:
    try:
        return parse_policy(text.encode()).quorum
    except LedgerError:
        return None


def test_a_sealed_field_is_that_of_the_worked_entry(page: VerifyPage, project: Path) -> None:
    """The opening of the worked entry in the format chapter gives the digest that stands in it."""
    case = {"path": "0/supplier", "value": "Example Resins", "salt": "07" * 32}

    [digest] = asked(page, "await sealOf(one.path, one.value, parseHex(one.salt))", [case])

    chapter = (project / "DEVELOPERS.md").read_text("utf-8")
    assert f'"supplier":{{"sealed":"{digest}"}}' in chapter


def test_base64_has_one_form(page: VerifyPage) -> None:
    """Padding left out, unused bits set, spaces and the other alphabet are refused (RFC 4648 sections 3.2, 3.5)."""
    good = base64.b64encode(bytes(range(250, 256))).decode()
    cases = [good, "+/o=", "AA==", "AB==", "AA", "AA=", "A A=", "AA==\n", "-_o=", "AA=A"]

    assert [True, True, True] + [None] * 7 == asked(page, "(parseBase64(one), true)", cases)
