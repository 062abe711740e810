"""The words of records as pages show them: states, stages, grades, verdicts, sorts. In English mostly the word itself.

One table, so that a word is the same on every page and each language says it once.  A code that is in no row is shown
as it stands.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from api.pages.ball.words import BALL_WORDS
from api.pages.catalogue import N_, Catalogue
from api.pages.desk.words import DESK_WORDS
from api.pages.kind_words import KIND_WORDS
from api.pages.station_words import CHANGE_WORDS, LINE_REASON_WORDS, LOSS_WAY_WORDS, STEP_WORDS

WORDS: dict[str, dict[str, str]] = {
    "kind": KIND_WORDS,
    **BALL_WORDS,
    "public": {  # what `ledger.application.public` says, by its own words
        "number issued by us": N_("number issued by us"),
        "unknown number: not issued by us under this product": N_("unknown number: not issued by us under this product"),
        "made before the maker's present records": N_("made before the maker's present records"),
        "in production": N_("in production"),
        "returned to the maker": N_("returned to the maker"),
        "released by the maker": N_("released by the maker"),
        "not for use: scrapped by the maker": N_("not for use: scrapped by the maker"),
        "not for use: tested to destruction": N_("not for use: tested to destruction"),
        "retained by the maker": N_("retained by the maker"),
        "held by the maker: ask the maker": N_("held by the maker: ask the maker"),
    },
    "key": {
        "checkpoint": N_("signs checkpoints"),
        "dossier": N_("signs dossiers"),
        "station": N_("signs for a station"),
        "witness": N_("signs as a witness"),
        "credential": N_("signs credentials"),
    },
    "state": {
        "made": N_("made, without a number"),
        "engraved": N_("engraved"),
        "released": N_("released"),
        "shipped": N_("shipped"),
        "returned": N_("returned"),
        "reworked": N_("in rework"),
        "scrapped": N_("scrapped"),
        "destroyed": N_("destroyed in a test"),
        "retained": N_("retained"),
        "imported": N_("from before the book"),
    },
    "stage": {
        "material": N_("material lot"),
        "batch": N_("batch"),
        "block": N_("block lot"),
        "core": N_("core lot"),
        "shell": N_("shell lot"),
        "imported": N_("lot from before the book"),
    },
    "grade": {
        "first": N_("first quality"),
        "second": N_("second quality"),
        "house": N_("house ball"),
        "prototype": N_("prototype"),
        "demo": N_("demonstration ball"),
    },
    "verdict": {
        "conforms": N_("conforms"),
        "does_not_conform": N_("does not conform"),
        "undecided": N_("undecided"),
        "not_measured": N_("not measured"),
        "not_applicable": N_("not applicable"),
        "barred": N_("barred in some events"),
    },
    "role": {
        "station": N_("station"),
        "inspector": N_("inspector"),
        "quality": N_("quality lead"),
        "desk": N_("warranty desk"),
        "auditor": N_("auditor"),
        "examiner": N_("outside auditor"),
        "admin": N_("system keeper"),
    },
    "approval": {
        "open": N_("open"),
        "frozen": N_("frozen"),
        "signed": N_("signed"),
        "handed-over": N_("handed over"),
        "answered": N_("answered"),
        "withdrawn": N_("withdrawn"),
    },
    "approval-part": {
        "document": N_("a document"),
        "photo": N_("a photo"),
        "field": N_("a field of the data sheet"),
        "statement": N_("the recipe statement"),
    },
    "sample": {"in": N_("sample"), "replaced": N_("replaced"), "passed-over": N_("passed over")},
    "body-answer": {
        "approved": N_("approved by the body"),
        "refused": N_("refused"),
        "more-wanted": N_("more is wanted"),
    },
    "sealed": {
        "withheld": N_("recipes, suppliers, consignees"),
        "erasable": N_("people and notes"),
        "recipe": N_("quantities of the recipe"),
        "data-sheet": N_("values of the data sheet"),
        "suppliers": N_("suppliers"),
        "consignees": N_("consignees"),
        "people": N_("people"),
        "notes": N_("notes"),
    },
    "dossier-part": {
        "lots": N_("proof that no ball of a closed lot is missing"),
        "events": N_("events (EPCIS 2.0)"),
        "credentials": N_("credentials (W3C)"),
        "documents": N_("papers and photos of an approval file"),
        "verdicts": N_("table of verdicts (CSV)"),
        "report": N_("report to print (PDF)"),
    },
    "look": {
        "balls": N_("list of balls"),
        "ball": N_("a ball"),
        "lot": N_("a lot"),
        "conformity": N_("verdicts"),
        "dossier": N_("dossier taken along"),
    },
    "step": STEP_WORDS,
    "statistic": {
        "mean": N_("mean"),
        "median": N_("median"),
        "range": N_("range"),
        "single": N_("one reading"),
    },
    "change": CHANGE_WORDS,
    "loss-way": LOSS_WAY_WORDS,
    "line-reason": LINE_REASON_WORDS,
    "post": {
        "mixing": N_("mixing"),
        "blocks": N_("blocks"),
        "cores": N_("cores"),
        "shells": N_("shells"),
        "finishing": N_("finishing"),
        "engraving": N_("engraving"),
        "inspection": N_("inspection"),
    },
    "node": {  # what an entry is about, by the book's own sorts
        "lot": N_("lot"),
        "unit": N_("ball"),
        "hold": N_("hold"),
        "fact": N_("fact"),
        "claim": N_("claim"),
        "case": N_("case"),
        "gauge": N_("gauge"),
        "model": N_("model"),
        "shipment": N_("Shipment"),
        "approval": N_("approval file"),
        "consignee": N_("consignee"),
    },
    "certainty": {
        "certain": N_("certain"),
        "possible": N_("possible"),
    },
    "stop": {
        "use": N_("use"),
        "work": N_("work"),
        "release": N_("release"),
        "shipment": N_("shipment"),
    },
    "quantity": {
        "mass": N_("mass"),
        "circumference": N_("circumference"),
        "diameter": N_("diameter"),
        "out_of_round": N_("out-of-round"),
        "hardness": N_("hardness"),
        "roughness": N_("roughness"),
        "rg_low": N_("low radius of gyration"),
        "rg_mid": N_("intermediate radius of gyration"),
        "rg_high": N_("high radius of gyration"),
        "differential": N_("differential"),
        "mid_differential": N_("intermediate differential"),
        "top_weight": N_("top weight"),
        "static_imbalance": N_("static imbalance"),
        "pin_to_cg": N_("pin to CG mark"),
        "pin_to_low_axis": N_("pin to low axis"),
        "mark_to_high_axis": N_("mark to high axis"),
        "friction": N_("friction"),
        "oil_absorption": N_("oil absorption"),
        "component_density": N_("density of a component"),
    },
    **DESK_WORDS,
    "provenance": {
        "read": N_("read in the body's own text"),
        "second-hand": N_("second-hand: quoted elsewhere"),
        "memory": N_("from memory"),
    },
    "effect": {
        "limit": N_("limit"),
        "bar": N_("bar from some events"),
        "trigger": N_("trigger for more samples"),
    },
    "made event": {
        "pour": N_("pour"),
        "turning": N_("turning"),
        "engraving": N_("engraving"),
        "release": N_("release"),
    },
    "gauge turn": {
        "calibration": N_("calibration"),
        "check": N_("shift check"),
        "fault": N_("fault"),
    },
    "told apart": {
        "none": N_("nothing"),
        "mould": N_("mould set"),
        "station": N_("station"),
        "lot": N_("shell lot"),
    },
    "purpose": {
        "sale": N_("sale"),
        "sample": N_("sample"),
        "test": N_("test"),
        "warranty": N_("warranty"),
        "display": N_("display"),
        "other": N_("other"),
    },
    "anew reason": {
        "slipped": N_("the engraver slipped"),
        "worn": N_("worn by rework"),
        "wrong-number": N_("it was another ball's number"),
        "cannot-be-read": N_("it cannot be read"),
        "other": N_("other"),
    },
    "return reason": {
        "claim": N_("a claim"),
        "recall": N_("a recall"),
        "wrong-ball": N_("another ball was ordered"),
        "damaged-on-the-way": N_("damaged on the way"),
        "not-taken": N_("not taken by the consignee"),
        "sample-back": N_("a sample or display ball, back"),
        "other": N_("other"),
    },
}  # fmt: skip
"""Sort of word, then code, to the English that is looked up."""


def english_word(sort: str, code: str) -> str:
    """The English of a code; the code with its underscores opened where the table lacks it."""
    return WORDS.get(sort, {}).get(code, code.replace("_", " "))


def reason_words(said: str) -> str:
    """A reason in short words as a sentence has it: "cracks-over-block" without its hyphens; figures and ids stay."""
    return re.sub(r"(?<=[a-z])-(?=[a-z])", " ", said)


def limit_words(limit: str) -> str:
    """A limit as people print it: signs for "at least" and "at most", a dash between two ends."""
    return limit.replace(">=", "≥").replace("<=", "≤").replace(" to ", " – ")


def worded(words: Catalogue, sort: str, codes: Iterable[str]) -> list[tuple[str, str]]:
    """Codes to choose from, each with its word in a language."""
    return [(code, words.gettext(english_word(sort, code))) for code in codes]
