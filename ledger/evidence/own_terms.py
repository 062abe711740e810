"""The words of our own in events and credentials: what no standard has a word for, each with what it means.

A word is an address under the plant's own host, ``<stem>/terms/<word>``, written ``pb:<word>`` where a name stands.  The
service answers at that address with what is said here.  The namespace ends with a slash, since a hash of events is worked
out otherwise without one (`event_hash`).
"""

from __future__ import annotations

from ledger.line.gs1 import lot_link
from ledger.line.quantity import QUANTITIES

PREFIX = "pb"
"""The prefix that the contexts of events and credentials give the namespace."""

EXAMPLE_GTIN = "09520123456788"
"""Of the range that GS1 keeps for examples."""

STEPS = {
    "cleaned": "lot was cleaned",
    "rested": "lot rested",
    "trimmed": "lot was trimmed",
    "tumbled": "lot was tumbled",
    "hole-drilled": "locating hole was drilled",
    "pin-filled": "locating hole was filled",
    "turned": "turned to size",
    "sanded": "surface was sanded",
    "polished": "surface was polished",
    "finished": "surface was finished",
    "spin-tested": "spin test was done",
    "cg-marked": "centre of gravity was marked",
    "pin-marked": "pin was marked",
    "changed": "something changed in the middle of a lot",
    "curing": "temperature was logged while the lot rested or cured",
    "released": "released by the maker at a grade; no approval by anybody",
    "regraded": "given a lower grade by the maker",
    "hold-lifted": "a hold ended; others may stand",
    "conceded": "may go on as it is though a rule was not kept; changes no verdict",
}
"""Business steps that CBV has no word for."""

MEASURES = {
    "hardness-shore-d": "hardness, Shore D",
    "roughness-ra-um": "surface roughness Ra in micrometres",
    "roughness-ra-uin": "surface roughness Ra in microinches",
    "expanded-uncertainty": "expanded uncertainty U (k = 2) of the figure with the same method",
}
"""Types of measurement that the GS1 vocabulary has no word for."""

METHODS = {
    "mould-time": "from the pour to demoulding",
    "final-cure": "from demoulding of the shell lot to the first step that the final cure comes before",
    "step-time": "from beginning to end of a step",
    "reading-delay": "from firm contact to the reading",
    "temperature-log": "readings of a logger over a stage of a lot; straight lines between two readings",
    **{quantity.id.replace("_", "-"): quantity.name for quantity in QUANTITIES.values()},
}
"""How a figure was arrived at, or which quantity of a ball it is."""

FIELDS = {
    "book": "origin of the book that the events are told from",
    "subject": "what the events of a document are about",
    "eventHashes": "CBV event hash of each event, in the order of the event list",
    "record": "entry of the book, and the record in it, that an event is told from",
    "possibleLots": "lots that the ball descends from or not: the records do not tell",
    "unit": "ball by its id in the plant",
    "lot": "lot that a ball was of",
    "place": "place of a ball in its lot, from 1",
    "model": "model by its id in the plant",
    "revision": "revision of the model's construction",
    "weightClassLb": "nominal weight class in pounds",
    "material": "name of a material",
    "compound": "name of a compound",
    "colours": "colours of a shell",
    "expiresOn": "last day on which a material may be used",
    "line": "line of the pour",
    "mouldSet": "mould set of the pour",
    "mixer": "mixer of the pour or the batch",
    "rejects": "pieces rejected at demoulding",
    "supplier": "who a material came from",
    "supplierLot": "the supplier's own lot number",
    "consignee": "who a ball was sent to",
    "reason": "short word for why",
    "purpose": "what a shipment was for",
    "grade": "grade given by the maker",
    "operation": "kind of rework",
    "hold": "hold by its id",
    "stops": "what a hold stops",
    "change": "what changed in the middle of a lot",
    "stage": "stage of a lot that was logged",
    "surface": "state of the surface when it was read",
    "judgedBy": "rulebook file, by its SHA-256, whose requirements judged a reading of an inspection",
}
"""Names of our own in events."""

CLAIMS = {
    "ConformityStatement": "statement of the maker about one ball, by its own assessment",
    "BookCheckpoint": "head of the book under which the facts stand",
    "serial": "number that the ball bears",
    "modelName": "name of the model",
    "state": "where the ball stands in its life",
    "assessorLevel": "who assessed; Self is the maker (word of the UNTP 0.6.1 data model)",
    "statement": "what the credential says and does not say, in words",
    "judgements": "verdicts by each rulebook",
    "rulebook": "rulebook edition by its id",
    "rulebookDigest": "SHA-256 of the rulebook file",
    "madeOn": "date of manufacture that chose the limits",
    "overall": "worst verdict by that rulebook; never an approval",
    "verdicts": "one verdict a requirement",
    "requirement": "requirement of the rulebook by its id",
    "outcome": "how it came out",
    "limit": "limit as the rulebook prints it",
    "value": "figure that was judged, in the unit given",
    "unitOfMeasure": "unit of the figure and the limit",
    "margin": "distance from the limit, positive inside it",
    "expandedUncertainty": "expanded uncertainty U (k = 2) of the figure, in the unit in which it was read",
    "readIn": "unit in which it was read",
    "decision": "decision rule",
    "provenance": "whether the limit was read in the body's own text or is second-hand",
    "fact": "fact of the book that a verdict rests on",
    "facts": "facts of the book about the ball",
    "treeSize": "number of entries under the head",
    "rootHash": "root of the tree under the head, base64",
    "askAt": "where to ask whether a later entry has changed what is said here",
}
"""Names of our own in credentials."""

TERMS = {**STEPS, **MEASURES, **METHODS, **FIELDS, **CLAIMS}
"""Every word and its meaning."""


def stem_address(stem: str) -> str:
    """A stem (a host, or an http or https address) as an address without a slash at its end. Raises MalformedLink."""
    return lot_link(stem, EXAMPLE_GTIN, "1").removesuffix(f"/01/{EXAMPLE_GTIN}/10/1")


def terms_address(stem: str) -> str:
    """The namespace of these words under a stem. Raises MalformedLink."""
    return f"{stem_address(stem)}/terms/"
