"""Notes, keys, checkpoints, cosignatures, receipts and tiles against C2SP and its users.

Published: C2SP/C2SP@5ba5ee8 (signed-note, tlog-checkpoint, tlog-cosignature, tlog-tiles; CC BY 4.0),
golang/mod@fe2ec04 sumdb/note tests (BSD-3-Clause) with two heads of a public checksum database,
FiloSottile/sunlight@ed0bc38 (ISC). Cases that are not published are marked so in the vectors file, with their clause.
"""

from __future__ import annotations

import base64
from typing import Any

import pytest

from ledger.book.checkpoint import check_checkpoint, format_checkpoint, parse_checkpoint, sign_checkpoint
from ledger.book.cosignature import cosigned_message
from ledger.book.merkle import leaf_hash
from ledger.book.note import check_note, parse_note, parse_signature_line, sign_note
from ledger.book.receipt import check_receipt
from ledger.book.signing import Signer, format_verifier, parse_verifier, signer_from_seed
from ledger.book.tiles import (
    TILE_WIDTH,
    decode_entries_tile,
    encode_entries_tile,
    entries_path,
    parse_tile_path,
    tile_path,
    tile_width,
)
from ledger.book.witness import add_cosignatures, cosign, parse_add_checkpoint, witness_step
from ledger.errors import MalformedCheckpoint, MalformedKey, MalformedNote, MalformedTile, SignatureRejected
from tests.book.samples import vectors

# C2SP/C2SP@5ba5ee8 signed-note.md, example.
C2SP_NOTE = (
    "This is an example message.\n\n"
    "— example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1"
)
C2SP_KEY = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"
# golang/mod sumdb/note: the seed of EnochRoot is 32 zero bytes.
ENOCH_KEY = "EnochRoot+af0cfe78+ATtqJ7zOtqQtYqOo0CpvDXNlMhV3HeJDpjrASKGLWdop"


def _verdict(case: dict[str, Any]) -> str:
    try:
        note = check_note(base64.b64decode(case["note_b64"]), case["verifier_keys"])
    except MalformedNote:
        return "malformed"
    except SignatureRejected as error:
        return "no_known_signature" if "by a known key" in error.problem else "invalid_signature"
    assert note.signatures
    return "ok"


def _signer(keys: list[dict[str, Any]], position: int) -> Signer:
    key = keys[position]
    return signer_from_seed(key["name"], bytes.fromhex(key["seed_hex"]), "witness" if position else "checkpoint")


def test_the_verifier_key_of_the_standard_is_read() -> None:
    """C2SP signed-note.md: the example key, and its key id worked out again."""
    verifier = parse_verifier(C2SP_KEY)

    assert ("example.com/foo", "530d903a", 1) == (verifier.name, verifier.key_id.hex(), verifier.kind)
    assert C2SP_KEY == format_verifier(verifier)


def test_a_published_private_key_gives_its_verifier_key() -> None:
    """golang/mod sumdb/note example_test.go: EnochRoot from its seed of 32 zero bytes."""
    assert ENOCH_KEY == format_verifier(signer_from_seed("EnochRoot", bytes(32)).verifier)


def test_published_notes_are_accepted() -> None:
    """Eight published notes, two heads of a checksum database and two cosignatures among them."""
    notes = vectors("signed_note.json")["published_notes"]
    for case in notes:
        note = check_note(base64.b64decode(case["note_b64"]), case["verifier_keys"])
        assert case["parse"]["text"] == note.text
        assert case["parse"]["unknown"] == len(note.unknown)
        found = [(line.verifier.name, line.verifier.key_id.hex()) for line in note.signatures]
        assert [(line["name"], line["key_id"]) for line in case["parse"]["verified"]] == found
    assert {C2SP_NOTE} <= {case["note"][: len(C2SP_NOTE)] for case in notes}


def test_published_notes_are_signed_again_to_the_byte() -> None:
    """golang/mod sumdb/note: the note by EnochRoot, made again from the published seed."""
    case = next(case for case in vectors("signed_note.json")["published_notes"] if case["id"] == "xmod-peter-enoch")
    note = parse_note(base64.b64decode(case["note_b64"]))
    line = next(line for line in note.signatures if line.name == "EnochRoot")

    again = parse_note(sign_note(note.text, [signer_from_seed("EnochRoot", bytes(32))]))
    assert (line,) == again.signatures


def test_published_bad_notes_are_rejected() -> None:
    """golang/mod sumdb/note note_test.go: malformed notes and a wrong signature."""
    for case in vectors("signed_note.json")["published_bad_notes"]:
        assert case["expect"] == _verdict(case)


def test_note_cases() -> None:
    """34 cases by clause of signed-note v1.0.0; not published, basis named with each."""
    cases = vectors("signed_note.json")["note_cases"]

    assert [] == [(case["case"], _verdict(case)) for case in cases if case["expect"] != _verdict(case)]
    assert len(cases) == 34


def test_verifier_key_cases() -> None:
    """Published and own verifier keys: those that are good, and those that are not."""
    for case in vectors("signed_note.json")["verifier_keys"]:
        if case["expect"] == "valid":
            verifier = parse_verifier(case["vkey"])
            found = (verifier.name, verifier.key_id.hex(), verifier.kind, verifier.public.hex())
            assert (case["name"], case["key_id"], case["type"], case["public_key_hex"]) == found
        else:
            with pytest.raises(MalformedKey):
                parse_verifier(case["vkey"])


def test_checkpoint_cases() -> None:
    """20 texts by clause of tlog-checkpoint v1.0.0 and by published tests; stricter choices are marked in the file."""
    for case in vectors("signed_note.json")["checkpoint_text_cases"]:
        if case["expect"] == "valid":
            head, expected = parse_checkpoint(case["text"]), case["parsed"]
            found = (head.origin, head.tree_size, head.root_hash.hex(), list(head.extensions))
            assert tuple(expected.values()) == found
        else:
            # Text with a blank line is read as a whole note, and is none.
            with pytest.raises((MalformedCheckpoint, MalformedNote)):
                parse_checkpoint(case["text"])


def test_notes_that_the_standards_show_are_read() -> None:
    """C2SP tlog-cosignature.md and transparency-dev/formats: key id and time of cosignatures without their keys."""
    cosignature, formats, sofa = vectors("signed_note.json")["published_parse_only"]
    line = parse_signature_line(cosignature["signature_line"])
    raw = base64.b64decode(formats["signature_b64"])

    assert (cosignature["key_id"], cosignature["timestamp"]) == (
        line.key_id.hex(),
        int.from_bytes(line.signature[:8], "big"),
    )
    assert (formats["key_id"], formats["timestamp"]) == (raw[:4].hex(), int.from_bytes(raw[4:12], "big"))
    assert sofa["key_id"] == parse_note(sofa["note"].encode()).signatures[0].key_id.hex()


def test_a_checkpoint_is_signed_and_cosigned_to_the_byte() -> None:
    """Own vectors, made with two other libraries: log line, cosigned message and witness line."""
    own = vectors("signed_note.json")["own"]
    log, witness = _signer(own["keys"], 0), _signer(own["keys"], 1)
    head = parse_checkpoint(own["checkpoint_text"])
    note = sign_checkpoint(head.origin, head.tree_size, head.root_hash, [log])
    line = cosign(note, witness, 1_764_046_800)

    assert own["checkpoint_text"] == format_checkpoint(head.origin, head.tree_size, head.root_hash)
    assert f"{own['checkpoint_text']}\n{own['log_line']}" == note.decode()
    assert own["cosignature_message"] == cosigned_message(own["checkpoint_text"], 1_764_046_800).decode()
    assert own["witness_line"] == line.decode()
    cosigned = add_cosignatures(note, line)
    assert len(check_checkpoint(cosigned, [log.verifier, own["keys"][1]["vkey"]]).cosignatures) == 1


def test_a_tlog_proof_is_a_receipt() -> None:
    """C2SP tlog-proof@v1, own vector: the document proves its leaf."""
    own = vectors("signed_note.json")["own"]
    case = own["tlog_proof"]
    receipt = check_receipt(case["document"], bytes.fromhex(case["leaf_data_hex"]), [own["keys"][0]["vkey"]])

    assert case["leaf_index"] == receipt.index


def test_a_witness_request_is_accepted() -> None:
    """C2SP tlog-witness v1.0.0, own vector: from size 6 to 8."""
    own = vectors("signed_note.json")["own"]
    case, log = own["witness_add_checkpoint_request"], _signer(own["keys"], 0)
    stored = sign_checkpoint(log.name, case["stored_size"], bytes.fromhex(case["stored_root_hex"]), [log])
    accepted = witness_step((case["stored_size"], stored), case["body"].encode(), {log.name: [log.verifier]})

    assert (6, 8) == (parse_add_checkpoint(case["body"].encode()).old_size, accepted.checkpoint.tree_size)


@pytest.mark.parametrize(
    ("index", "path"),
    [
        # C2SP/C2SP@5ba5ee8 tlog-tiles.md, Parameters.
        (1_234_067, "tile/0/x001/x234/067"),
        # golang/mod sumdb/tlog tlog_test.go, the index part.
        (123_456_078, "tile/0/x123/x456/078"),
        (0, "tile/0/000"),
    ],
)
def test_published_tile_paths(index: int, path: str) -> None:
    """Indexes are written in groups of three digits."""
    assert path == tile_path(0, index)
    assert index == parse_tile_path(path).tile_index


def test_tile_cases() -> None:
    """C2SP tlog-tiles v0.1.0: paths, the layout of size 70,000, an entries tile, a leaf tile, paths to reject."""
    tiles = vectors("signed_note.json")["tiles"]
    bundle, leaf_tile = tiles["entry_bundle"], tiles["level0_tile"]
    entries = [bytes.fromhex(entry) for entry in bundle["entries_hex"]]

    assert [f"tile/0/{case['path']}" for case in tiles["paths"]] == [
        tile_path(0, case["index"]) for case in tiles["paths"]
    ]
    for layout in tiles["layout"]:
        for level, counts in layout["tiles"].items():
            size, full = layout["tree_size"], counts["full"]
            assert counts["partial"] == tile_width(size, int(level), full)
            assert all(tile_width(size, int(level), index) == TILE_WIDTH for index in range(full))
    assert bundle["bundle_hex"] == encode_entries_tile(entries).hex()
    assert entries == decode_entries_tile(bytes.fromhex(bundle["bundle_hex"]))
    assert bundle["path"] == entries_path(0, len(entries))
    assert leaf_tile["content_hex"] == b"".join(map(leaf_hash, entries)).hex()
    assert leaf_tile["path"] == tile_path(0, 0, len(entries))
    for path in tiles["reject_paths"]:
        with pytest.raises(MalformedTile):
            parse_tile_path(path)
