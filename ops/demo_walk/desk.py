"""The warranty desk: a half-worn number, its claim and letter, the lot behind it, containment, and one person's data erased.

Every figure comes from the service. The claim and the case are said to the walk's copy of the book.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

from fixtures_demo import bends
from fixtures_demo.build import DemoBook
from fixtures_demo.days import told
from fixtures_demo.photo import claim_photo
from ledger.errors import Contradiction, Refused
from ops.demo_walk.client import Client
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.screen import Screen
from ops.demo_walk.words import counted

DESK, QUALITY = "desk", "quality-1"
CLAIM, CASE = "WC-100", "CASE-WALK"
BLOCKS = f"BL-{bends.HASTY_ROUND}"
WORN = (2, 6)
"""Places of the number that cannot be read any more, from 0."""
BOUGHT_ON = "2026-09-19"
ANSWERING = 2
"""Consignees that answer at once."""


class Desk:
    """The steps of the desk, in order; each prints what it found, and raises where something is not as it must be."""

    def __init__(self, client: Client, screen: Screen, folder: DemoFolder, demo: DemoBook) -> None:
        """Nothing is asked yet."""
        self.client = client
        self.screen = screen
        self.folder = folder
        self.demo = demo
        self.serial = ""
        self.files: list[str] = []
        self.entry = 0
        self.answered = 0

    def show(self) -> None:
        """The whole walk of a claim, and of the lot behind it."""
        steps: tuple[Callable[[], None], ...] = (
            *(self._find, self._claim, self._answer, self._letter),
            *(self._signal, self._suspect, self._contain, self._account, self._erase),
        )
        for step in steps:
            step()

    def _find(self) -> None:
        claims = self.client.get("/claims", DESK, limit="1000")["claims"]
        claimed = {claim.get("unit") for claim in claims}
        balls = self.client.get(f"/lots/{bends.CLAIMED_LOT}/below", DESK)["balls"]
        ball = next(one for one in balls if one["state"] == "shipped" and one["unit"] not in claimed)
        worn = "".join("?" if place in WORN else one for place, one in enumerate(ball["serial"]))
        found = self.client.get("/find", DESK, serial=worn)
        if [one["serial"] for one in found["balls"]] != [ball["serial"]]:
            raise Contradiction("the half-worn number does not lead to its ball", got=str(found["count"]), where=worn)
        one = found["balls"][0]
        self.serial = one["serial"]
        self.screen.say(
            "half-worn number",
            f"{worn}: {found['says'][0]}: {one['serial']}",
        )
        self.screen.say(
            "",
            f"{one['model_name']}, {' and '.join(one['colours'])}, {one['weight_class_lb']} lb, made {one['made_on']}, "
            f"{one['state']} in {one['shipment']}: for the person at the phone to compare",
        )

    def _claim(self) -> None:
        kept = self.client.send("/blobs", DESK, claim_photo(), "image/png")
        self.files.append(kept["digest"])
        record = {
            "kind": "claim-opened",
            "at": told(self.demo.now_ms),
            "claim": CLAIM,
            "mode": "crack-over-block",
            "serial": self.serial,
            "bought_on": BOUGHT_ON,
            "proof": "receipt",
            "drilled": {"on": "2026-09-21", "fitted": "inserts", "by": "an invented pro shop"},
            "stored": "indoors",
            "claimant": "Invented Person",
            "contact": "invented.person@mail.example",
            "evidence": [{"digest": kept["digest"], "what": "photo"}],
        }
        entered = self.client.post("/submissions", DESK, {"records": [record]}, f"walk-{CLAIM}")
        self.entry = entered["entry"]
        seen = self.client.get(f"/claims/{CLAIM}", DESK)
        self.screen.say(
            "claim taken",
            f"{CLAIM}, {seen['mode_words']}, with a photo ({kept['length'] / 1000:.1f} kB, kept beside the book, its digest in "
            f"it), entry {self.entry}; answer due {seen['due']['on']}",
        )

    def _answer(self) -> None:
        asked = self.client.get(f"/claims/{CLAIM}/answer", DESK)
        ball, proposal = asked["answer"]["balls"][0], asked["proposal"]
        alike = sum(one["outcome"] == "in family" for one in ball["compared"])
        self.screen.say(
            "what the facts say",
            f"made by us on {ball['made_on']}; {ball['term']['outcome']} to {ball['term']['last_day']} ({ball['rule']})",
        )
        for reason in ball["stands_out"]:
            facts = reason["facts"]
            shown = f"{', '.join(facts[:2])}{f' and {len(facts) - 2} more' if len(facts) > 2 else ''}"
            self.screen.say("", f"- {reason['said']} (facts {shown})")
        self.screen.say("", f"- nothing out of family: {alike} readings and times lie among their like")
        self.screen.say(
            "proposal",
            f"{proposal['speaks_for']} ({proposal['reason']}): {'; '.join(proposal['why'])}",
        )
        self._decide(proposal)

    def _decide(self, proposal: Any) -> None:
        """Reject it first without the evidence that the reason needs, then accept it."""
        decided = {"kind": "claim-decided", "at": told(self.demo.now_ms), "claim": CLAIM}
        try:
            rash = {**decided, "decision": "reject", "reason": "misuse"}
            self.client.post("/submissions", DESK, {"records": [rash]}, "walk-rash")
        except Refused as refusal:
            refused = refusal
        else:
            raise Contradiction("a claim could be rejected for misuse that nobody saw", where=CLAIM)
        record = {**decided, "decision": "accept", "reason": "in-term", "rests_on": proposal["facts"][:50]}
        entered = self.client.post("/submissions", DESK, {"records": [record]}, f"walk-decided-{CLAIM}")
        self.screen.say(
            "a person decides",
            f"rejecting it for misuse is refused ({str(refused.got).split(' ')[-1]}: {refused.mend}); accepted as in term, entry "
            f"{entered['entry']}",
        )

    def _letter(self) -> None:
        sent = self.client.post(f"/claims/{CLAIM}/letter", DESK, {}, f"walk-letter-{CLAIM}")
        self.answered = sent["entry"]
        self.files.append(sent["letter"])
        content = self.client.read(f"/blobs/{sent['letter']}", DESK)
        self.folder.letter.write_bytes(content)
        self.screen.say(
            "letter", f"{self.folder.letter.name}, {len(content) / 1000:,.0f} kB, its digest in entry {sent['entry']}"
        )

    def _signal(self) -> None:
        seen = self.client.get("/signals", QUALITY, family="shell")
        one = next(
            (
                one
                for one in seen["families"][0]["listed"]
                if one["name"] == bends.CLAIMED_LOT and one["stands"] == "signal"
            ),
            None,
        )
        if one is None:
            raise Contradiction("the lot with many claims gives no signal", where=bends.CLAIMED_LOT)
        self.folder.survival.write_bytes(self.client.read(f"/signals/shell/{one['name']}/survival.svg", QUALITY))
        self.screen.say(
            "signal",
            f"shell lot {one['name']}: {counted(one['claims'], 'claim')} where {one['expected']:.1f} are expected of its "
            f"balls at their age; {one['ratio']:.0f} times the rest of its model ({one['ratio_low']:.0f} to "
            f"{one['ratio_high']:.0f}); chance gives one in a family within a year at most {seen['q']:.0%} of the time",
        )
        blocks = self.client.get("/signals", QUALITY, family="block")["families"][0]["listed"]
        above = next(other for other in blocks if other["name"] == BLOCKS)
        self.screen.say(
            "",
            f"of the block lots {above['name']}, above it, stands out most; the survival curve of the lot against the rest is "
            f"{self.folder.survival.name}. A signal is a reason to look, and holds nothing by itself",
        )

    def _suspect(self) -> None:
        found = self.client.get("/suspects", QUALITY, sort="block-lot", name=BLOCKS)
        places = {one["place"]: one["certain"] + one["possible"] for one in found["places"]}
        if sum(places.values()) != found["balls"]["certain"] + found["balls"]["possible"]:
            raise Contradiction("the places do not add up to the balls", where=BLOCKS)
        said = ", ".join(f"{count} {place}" for place, count in places.items() if count)
        self.screen.say(
            "what else",
            f"block lot {BLOCKS}, demoulded 4 s above its least time: {counted(sum(places.values()), 'ball')} below it "
            f"({found['balls']['possible']} of them possible): {said}, to {counted(len(found['consignees']), 'consignee')}",
        )

    def _contain(self) -> None:
        wanted = {
            "case": CASE,
            "why": "signal",
            "reason": "cracks-over-block",
            "suspect": {"sort": "block-lot", "name": BLOCKS},
            "order": {"action": "recall"},
        }
        opened = self.client.post("/cases", QUALITY, wanted, f"walk-{CASE}")
        self.client.post(f"/cases/{CASE}/letters", QUALITY, {}, f"walk-letters-{CASE}")
        case = self.client.get(f"/cases/{CASE}", QUALITY)
        first = case["notices"][0]
        self.folder.notice.write_bytes(self.client.read(f"/cases/{CASE}/letters/{first['consignee']}.pdf", QUALITY))
        self.screen.say(
            "contained",
            f"{CASE}, a recall, opened with its {counted(len(case['holds']), 'hold')} in one entry ({opened['entry']}); "
            f"{counted(len(case['notices']), 'letter')} made, naming {sum(one['balls'] for one in case['notices'])} balls "
            f"({self.folder.notice.name} is the one to {first['consignee']})",
        )
        self.screen.say("", f"before a letter goes: {opened['caution'][0].lower()}{opened['caution'][1:]}")

    def _account(self) -> None:
        """Two consignees answer by the list that they were sent; the rest is silent."""
        listed = list(csv.DictReader(io.StringIO(self.client.read(f"/cases/{CASE}/notices.csv", QUALITY).decode())))
        answering = sorted({line["consignee"] for line in listed})[:ANSWERING]
        said = ("in-stock", "sold", "sold", "destroyed")
        out = io.StringIO(newline="")
        filled = csv.DictWriter(out, list(listed[0]))
        filled.writeheader()
        theirs = [line for line in listed if line["consignee"] in answering]
        filled.writerows({**line, "answer": said[number % len(said)]} for number, line in enumerate(theirs))
        self.client.send(f"/cases/{CASE}/answers", DESK, out.getvalue().encode(), "text/csv", f"walk-answers-{CASE}")
        sums = self.client.get(f"/cases/{CASE}", QUALITY)["reconciliation"]
        answers, places = dict(sums["answers"]), dict(sums["places"])
        shipped = places.pop("shipped")
        if sum(answers.values()) != shipped or shipped + sum(places.values()) != sums["balls"]:
            raise Contradiction("the case does not add up", got=str(sums), where=CASE)
        self.screen.say(
            "to the last ball",
            f"{' and '.join(answering)} answered: {_counts(answers)}; with {_counts(places)} that is all {sums['balls']}",
        )
        self.screen.say("", f"silence is no answer: {sums['unaccounted']} stay unaccounted, and the case open")

    def _erase(self) -> None:
        """Everything personal of the claim: what was said of people, the photo, and the letter with the address on it."""
        fields = {self.entry: ["0/claimant", "0/contact", "0/drilled/by"], self.answered: ["0/to"]}
        asked = {"at": told(self.demo.now_ms), "basis": "request", "reason": "asked-by-claimant"}
        records: list[dict[str, Any]] = [
            {"kind": "erasure", "entry": entry, "fields": paths, **asked} for entry, paths in fields.items()
        ]
        records.append({"kind": "blob-erasure", "blobs": self.files, **asked})
        entered = self.client.post("/submissions", QUALITY, {"records": records}, f"walk-erased-{CLAIM}")
        for digest in self.files:
            self._check_gone(digest)
        self.screen.say(
            "a person's data",
            f"erased at the claimant's request, entry {entered['entry']}: name, address and driller, the photo and the letter "
            f"of {CLAIM}; what was decided stands, and the whole book is checked below",
        )

    def _check_gone(self, digest: str) -> None:
        try:
            self.client.read(f"/blobs/{digest}", QUALITY)
        except Refused as refusal:
            if str(refusal.got).startswith("404"):
                return
            raise
        raise Contradiction("an erased file is still there", where=digest)


def _counts(counts: dict[str, int]) -> str:
    return ", ".join(f"{count} {what.replace('-', ' ')}" for what, count in counts.items() if count)
