"""The files of a dossier, format 1, and the JSON in them.

A dossier is an archive (see `archive`) of, in this order; those with a star may be absent:

    README.txt                      what it is, in plain words
    VERIFY.md                       what public tools can check, the same bytes in every dossier of a version
    verify.html                     a page that checks it in a browser, the same bytes in every dossier of a version
    checkpoint                      the signed head of the book (C2SP tlog-checkpoint), witnesses' cosignatures with it
  * tokens/<name>.tsr               time stamps over the bytes of `checkpoint` (RFC 3161 responses, DER), ascending
    keys.json                       the keys of the book and the tree sizes over which each speaks
  * did.json                        the issuer's DID document, where there are credentials
    rulebooks/<digest>.toml         rulebook files, byte for byte, named by their SHA-256, ascending
  * checklists/<digest>.toml        checklist files, likewise
    entries/<index>.json            an entry exactly as hashed, by ascending index; after each
    receipts/<index>.tlog-proof     its receipt against that checkpoint (C2SP tlog-proof), and
    openings/<index>.jsonl          one line for each of its sealed fields, where it has any
  * lots/<lot>.json                 which balls of a shell lot are here, of how many, by ascending lot
    balls/<unit>.json               one sheet a ball, by ascending unit
  * events/<unit>.jsonld            the ball's history as EPCIS 2.0 events
  * credentials/<unit>.json         a verifiable credential about the ball
  * approval.json                   the approval file that the balls are samples of
  * documents/<digest>              files that the approval file names, named by their SHA-256, ascending
  * verdicts.csv                    the verdicts of the sheets as one table
  * report.pdf                      the same for people who print it
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

README, VERIFY_TEXT, VERIFY_PAGE = "README.txt", "VERIFY.md", "verify.html"
CHECKPOINT, KEYS, DID = "checkpoint", "keys.json", "did.json"
APPROVAL, VERDICTS, REPORT = "approval.json", "verdicts.csv", "report.pdf"
SUMS, MANIFEST, SIGNATURE = "SHA256SUMS", "manifest.json", "manifest.sig"

MAX_SHEET_BYTES = 1_000_000
MAX_KEYS_BYTES = 1_000_000
MAX_OPENINGS_BYTES = 10_000_000
MAX_LINE_BYTES = MAX_ENTRY_BYTES
MAX_RULEBOOKS = 100
MAX_TOKENS = 20
MAX_LOT_BYTES = 80_000_000
MAX_APPROVAL_BYTES = 20_000_000
MAX_EVENTS_BYTES = 10_000_000
MAX_CREDENTIAL_BYTES = 1_000_000
MAX_DOCUMENT_BYTES = 50_000_000
MAX_TEXT_BYTES = 5_000_000
MAX_VERDICTS_BYTES = 250_000_000
VERDICTS_LIMIT = 5_000
"""Balls up to which a dossier has `verdicts.csv`: spreadsheets stop at 1,048,576 lines."""

Sha256 = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}\Z")]
Whole = Annotated[int, Meta(ge=0, le=2**53 - 1)]
Micro = Annotated[int, Meta(ge=-(2**53) + 1, le=2**53 - 1)]
Text = Annotated[str, Meta(max_length=2000)]
UnitId = Annotated[str, Meta(pattern=r"^[A-Z0-9][A-Z0-9._-]{0,39}\Z")]


class Page(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of what stands in the JSON files."""


class Counts(Page, frozen=True, kw_only=True):
    """How many files of each sort there are, and how many sealed fields are opened, withheld and erased."""

    tokens: Whole
    did: Whole
    rulebooks: Whole
    checklists: Whole
    entries: Whole
    opened: Whole
    withheld: Whole
    erased: Whole
    lots: Whole
    balls: Whole
    events: Whole
    credentials: Whole
    approval: Whole
    documents: Whole
    verdicts: Whole
    report: Whole


class Scope(Page, frozen=True, kw_only=True):
    """What the dossier is about.

    ``kind``: ``serials`` (balls by their numbers), ``lots`` (every ball of the shell lots that ``names`` lists),
    ``approval-file`` (the sample balls of the one that ``names`` gives) or ``selection`` (balls picked by what ``words``
    says, as a model or dates).
    """

    kind: Literal["serials", "lots", "approval-file", "selection"]
    names: Annotated[tuple[Annotated[str, Meta(min_length=1, max_length=40)], ...], Meta(max_length=10_000)] = ()
    words: Text


class Manifest(Page, frozen=True, kw_only=True):
    """What the dossier is; the counts are of files, and of sealed fields by their outcome."""

    format: Literal["pourbook dossier"]
    v: Whole
    book: Annotated[str, Meta(min_length=1, max_length=100)]
    tree_size: Whole
    scope: Scope
    sums: Sha256
    counts: Counts


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
    from its gauge instead; ``uncertainty_from`` says in words which. ``calibration``: the fact that calibrated the gauge.
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
    calibration: Text | UnsetType = UNSET
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

    ``plan``: the fact that set the process plan in force when its shell lot was poured. ``policy``: the fact that states the rule of the house, the newest of the dossier; absent where none does.
    """

    unit: UnitId
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
    plan: Text | UnsetType = UNSET
    policy: Text | UnsetType = UNSET
    tables: tuple[VerdictTable, ...]


class LotBall(Page, frozen=True, kw_only=True):
    """A ball of the lot that is in the dossier: the place of its leaf, from 0, and the number that it bore at the closing.

    Without a place it was not of the lot when the lot was closed, and came to it later. ``gone``: entries withdrew it
    since, so that it has no sheet.
    """

    unit: UnitId
    place: Whole | UnsetType = UNSET
    serial: Text | UnsetType = UNSET
    gone: bool = False


class LotPage(Page, frozen=True, kw_only=True):
    """A shell lot: the fact that closed it (absent: not closed), and how many balls it said the lot has.

    ``leaves``: the leaf hashes by unit id, whose root is that fact's ``balls_root`` (see
    `ledger.line.lot_changes.balls_root`); ``units``: the balls of the lot that are in the dossier, ascending, and those that were withdrawn.
    """

    lot: UnitId
    closed: Text | UnsetType = UNSET
    body: Text | UnsetType = UNSET
    count: Whole | UnsetType = UNSET
    balls_root: Sha256 | UnsetType = UNSET
    leaves: tuple[Sha256, ...] = ()
    units: tuple[LotBall, ...] = ()


P = TypeVar("P")

encode_page = msgspec.json.Encoder(order="deterministic").encode
"""The JSON of a page or of a part of one, in its one form."""


def format_page(page: Page | tuple[Page, ...]) -> bytes:
    """The JSON of a page in its one form, and a newline."""
    return encode_page(page) + b"\n"


def parse_page(raw: bytes, page_type: type[P], where: str) -> P:
    """The page of that JSON. Raises MalformedDossier for another shape, or another form of the same value."""
    try:
        page: P = msgspec.json.decode(raw, type=page_type)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise MalformedDossier("file has another shape", got=str(error), where=where) from error
    if encode_page(page) + b"\n" != raw:
        raise MalformedDossier(
            "file is not in its one form", expected="compact JSON in the format's order", where=where
        )
    return page


def signed_text(book: str, manifest_digest: str) -> str:
    """The text that the dossier key signs."""
    return f"pourbook dossier {FORMAT}\n{book}\nsha256 {manifest_digest}\n"


TOLD_LENGTH = 72
"""Characters of a differing value that are told: enough for a digest, and for a line of a terminal."""


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


def told_short(value: Any) -> Any:
    """A differing value as an error says it: ``nothing`` for none, and what is long cut to its first characters."""
    if value is None:
        return "nothing"
    if isinstance(value, str):
        text = value
    elif isinstance(value, dict | list | tuple):
        text = msgspec.json.encode(value).decode()
    else:
        return value
    return text if len(text) <= TOLD_LENGTH else f"{text[:TOLD_LENGTH]}... ({len(text):,} characters)"
