"""The files of a dossier, format 1, and the JSON in them.

A dossier is an archive (see `archive`) of, in this order:

    README.txt                      what it is, in plain words
    checkpoint                      the signed head of the book (C2SP tlog-checkpoint)
    keys.json                       the keys of the book and the tree sizes over which each speaks
    rulebooks/<digest>.toml         rulebook files, byte for byte, named by their SHA-256, ascending
    entries/<index>.json            an entry exactly as hashed, by ascending index; after each
    receipts/<index>.tlog-proof     its receipt against that checkpoint (C2SP tlog-proof), and
    openings/<index>.jsonl          one line for each of its sealed fields, where it has any
    balls/<unit>.json               one sheet a ball, by ascending unit
    SHA256SUMS                      a line for each file above, as `sha256sum` writes and checks it
    manifest.json                   what the dossier is, and the digest of SHA256SUMS
    manifest.sig                    C2SP signed note of the dossier key over a text that names the manifest's digest

JSON is compact, with the fields in the order of the classes below and none that says nothing (absent, empty or
false by default): what is read must encode to the same bytes again. Sheets and openings
are files and lines of their own, and not two great lists, so that both sides hold one at a time.
The format has a number; a later one gets another.
"""

from __future__ import annotations

import itertools
from typing import Annotated, Any, Literal, TypeVar

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.errors import MalformedDossier
from ledger.tracing.parts import Certainty

FORMAT = 1

README, CHECKPOINT, KEYS = "README.txt", "checkpoint", "keys.json"
SUMS, MANIFEST, SIGNATURE = "SHA256SUMS", "manifest.json", "manifest.sig"

MAX_SHEET_BYTES = 1_000_000
MAX_KEYS_BYTES = 1_000_000
MAX_OPENINGS_BYTES = 10_000_000
MAX_LINE_BYTES = MAX_ENTRY_BYTES
MAX_RULEBOOKS = 100

Sha256 = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}\Z")]
Whole = Annotated[int, Meta(ge=0, le=2**53 - 1)]
Micro = Annotated[int, Meta(ge=-(2**53) + 1, le=2**53 - 1)]
Text = Annotated[str, Meta(max_length=2000)]


class Page(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of what stands in the JSON files."""


class Manifest(Page, frozen=True, kw_only=True):
    """What the dossier is. ``scope``: what was asked for, in words; the counts are of files and sealed fields."""

    format: Literal["pourbook dossier"]
    v: Whole
    book: Annotated[str, Meta(min_length=1, max_length=100)]
    tree_size: Whole
    scope: Text
    sums: Sha256
    balls: Whole
    entries: Whole
    rulebooks: Whole
    opened: Whole
    withheld: Whole
    erased: Whole


class KeyLine(Page, frozen=True, kw_only=True):
    """A key of the book: what it is for, its verifier line, and the tree sizes over which it speaks, inclusive."""

    key: Text
    purpose: Text
    verifier: Text
    from_size: Whole
    to_size: Whole | UnsetType = UNSET


class FactLine(Page, frozen=True, kw_only=True):
    """A fact about the ball: its address, kind and instant as said; ``body``: where a correction states it now."""

    fact: Text
    kind: Text
    at: Text
    body: Text | UnsetType = UNSET


class LotLine(Page, frozen=True, kw_only=True):
    """A lot that the ball descends from; ``level`` 0 is its own shell lot."""

    lot: Text
    stage: Text
    certainty: Certainty
    level: Whole


class ReadingLine(Page, frozen=True, kw_only=True):
    """A reading that stands: the statistic of its values, in whole millionths of ``unit``, and how it was taken.

    ``expanded``: the U stated with it (k = 2); ``standard_uncertainty``: the one that it is judged with, which may come
    from its gauge instead; ``uncertainty_from`` says in words which.
    """

    quantity: Text
    unit: Text
    value: Micro
    expanded: Micro | UnsetType = UNSET
    standard_uncertainty: Micro | UnsetType = UNSET
    uncertainty_from: Text | UnsetType = UNSET
    statistic: Text
    values: Whole
    definition: Text | UnsetType = UNSET
    temperature_c: Text | UnsetType = UNSET
    delay_s: Text | UnsetType = UNSET
    spacing_mm: Text | UnsetType = UNSET
    surface: Text | UnsetType = UNSET
    gauge: Text
    fact: Text
    usable: bool
    why: Text | UnsetType = UNSET


class HouseLine(Page, frozen=True, kw_only=True):
    """The same figure by the rule of the house: outcome, rule, guard band in the verdict's unit, values accepted, in words."""

    outcome: Text
    decision: Text
    guard_band: Text | UnsetType = UNSET
    acceptance: Text | UnsetType = UNSET
    sentence: Text = ""


class VerdictLine(Page, frozen=True, kw_only=True):
    """One requirement judged; ``value`` and ``margin`` are decimal text in ``unit``.

    ``house``: beside it, never in its place, where the plant states a release policy.
    """

    requirement: Text
    outcome: Text
    limit: Text
    unit: Text
    decision: Text
    provenance: Text
    value: Text | UnsetType = UNSET
    margin: Text | UnsetType = UNSET
    fact: Text | UnsetType = UNSET
    house: HouseLine | UnsetType = UNSET
    reasons: tuple[Text, ...] = ()


class VerdictTable(Page, frozen=True, kw_only=True):
    """The verdicts by one rulebook, and the dates (ISO) that chose its limits; ``house``: the worst by the rule of the house."""

    rulebook: Sha256
    id: Text
    made_on: Text | UnsetType = UNSET
    approved_on: Text | UnsetType = UNSET
    overall: Text
    house: Text | UnsetType = UNSET
    verdicts: tuple[VerdictLine, ...]


class BallSheet(Page, frozen=True, kw_only=True):
    """One ball: its numbers, its facts in order, its lots nearest first, its readings, and the verdicts on them.

    ``policy``: the fact that states the rule of the house, the newest of the dossier; absent where none does.
    """

    unit: Annotated[str, Meta(pattern=r"^[A-Z0-9][A-Z0-9._-]{0,39}\Z")]
    serial: Text | UnsetType = UNSET
    former_serials: tuple[Text, ...] = ()
    model: Text
    model_name: Text
    revision: Whole | UnsetType = UNSET
    core: Literal["symmetric", "asymmetric"]
    weight_class: Whole | UnsetType = UNSET
    lot: Text
    place: Whole | UnsetType = UNSET
    state: Text
    grade: Text | UnsetType = UNSET
    facts: tuple[FactLine, ...]
    lots: tuple[LotLine, ...]
    readings: tuple[ReadingLine, ...]
    policy: Text | UnsetType = UNSET
    tables: tuple[VerdictTable, ...]


P = TypeVar("P")

_encode = msgspec.json.Encoder(order="deterministic").encode


def format_page(page: Page | tuple[Page, ...]) -> bytes:
    """The JSON of a page in its one form, and a newline."""
    return _encode(page) + b"\n"


def parse_page(raw: bytes, page_type: type[P], where: str) -> P:
    """The page of that JSON. Raises MalformedDossier for another shape, or another form of the same value."""
    try:
        page: P = msgspec.json.decode(raw, type=page_type)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise MalformedDossier("file has another shape", got=str(error), where=where) from error
    if _encode(page) + b"\n" != raw:
        raise MalformedDossier(
            "file is not in its one form", expected="compact JSON in the format's order", where=where
        )
    return page


def signed_text(book: str, manifest_digest: str) -> str:
    """The text that the dossier key signs."""
    return f"pourbook dossier {FORMAT}\n{book}\nsha256 {manifest_digest}\n"


def first_difference(said: Any, found: Any, path: str = "") -> tuple[str, Any, Any] | None:
    """Where two plain JSON values first differ: path, what the first says, what the second says; None where equal."""
    if isinstance(said, dict) and isinstance(found, dict):
        pairs = [(str(key), said.get(key), found.get(key)) for key in sorted({*said, *found})]
    elif isinstance(said, list | tuple) and isinstance(found, list | tuple):
        pairs = [(str(at), *both) for at, both in enumerate(itertools.zip_longest(said, found))]
    else:
        return None if said == found else (path, said, found)
    for key, one, other in pairs:
        differs = first_difference(one, other, f"{path}/{key}" if path else key)
        if differs is not None:
            return differs
    return None
