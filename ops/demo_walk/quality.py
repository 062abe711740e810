"""The troubles in the plant as a quality lead asks for them, most urgent first, each with its count and what was done.

The order and the names are those of `fixtures_demo.troubles.TROUBLES`; every figure comes from the service.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fixtures_demo import bends
from fixtures_demo.build import DemoBook
from fixtures_demo.days import told
from fixtures_demo.gauges import SPARE
from fixtures_demo.incidents import RECALL_HOLD, RESIN_HOLD
from fixtures_demo.models import RULEBOOK
from fixtures_demo.troubles import GROUPS
from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, Refused
from ops.demo_walk.client import Client
from ops.demo_walk.screen import Screen
from ops.demo_walk.words import counted, local, span

QUALITY = "quality-1"


class Quality:
    """Asks the service about each trouble and prints two lines of it: what and how many, and what Pourbook did."""

    def __init__(self, client: Client, screen: Screen, demo: DemoBook) -> None:
        """Nothing is asked yet."""
        self.client = client
        self.screen = screen
        self.demo = demo
        self.standing: dict[str, Any] = {}

    def show(self) -> None:
        """Every trouble, in order. Raises Contradiction where the book shows another one than was told to it."""
        self.standing = self.client.get("/standing", QUALITY)
        answers: dict[str, Callable[[], tuple[str, str]]] = {
            "held-resin": self._held_resin,
            "early-pour": self._early_pour,
            "recall": self._recall,
            "soft-shells": self._soft_shells,
            "gauge-found-wrong": self._found_wrong,
            "gauge-overdue": self._overdue,
            "doubtful-clock": self._doubtful,
            "gap-in-log": self._gap_in_log,
            "two-core-lots": self._two_core_lots,
            "many-claims": self._many_claims,
            "wrong-lot": self._wrong_lot,
            "re-engraved": self._reengraved,
            "late-report": self._late,
            "off-grade": self._off_grade,
        }
        for group, troubles in GROUPS.items():
            self.screen.line(f"  {group}")
            for trouble in troubles:
                what, done = answers[trouble.name]()
                self.screen.say(f"- {trouble.title}", what)
                self.screen.say("", f"Pourbook: {done}")

    def _below(self, lot: str) -> list[Any]:
        balls: list[Any] = self.client.get(f"/lots/{lot}/below", QUALITY)["balls"]
        return balls

    def _holds(self, lot: str) -> list[Any]:
        holds: list[Any] = self.client.get(f"/lots/{lot}", QUALITY)["holds"]
        return holds

    def _held_resin(self) -> tuple[str, str]:
        lot = self.demo.resin_lot
        balls = [ball for ball in self._below(lot) if ball["state"] not in {"scrapped", "destroyed"}]
        away = [ball for ball in balls if ball["state"] == "shipped"]
        here = [ball for ball in balls if ball["state"] != "shipped"]
        refusal = self._try_to_ship(next(ball["unit"] for ball in here if ball["state"] == "released"))
        what = (
            f"core resin {lot}, moist by its supplier's letter: {counted(len(here), 'ball')} in house "
            f"({_certainty(here)}), {len(away)} shipped before ({_certainty(away)})"
        )
        return what, (
            f"one hold on the lot, {RESIN_HOLD}, stops release and shipment of all {len(here)} (tried now: refused, "
            f"{refusal}); the {len(away)} are named with their shipments"
        )

    def _try_to_ship(self, unit: str) -> str:
        record = {
            "kind": "shipment",
            "at": told(self.demo.now_ms),
            "shipment": "SH-WALK",
            "units": [unit],
            "consignee": "Shop Canal Side",
        }
        try:
            self.client.post("/submissions", "shipping", {"records": [record]}, f"walk-ship-{unit}")
        except Refused as refusal:
            return str(refusal.got).split(" ")[-1]
        raise Contradiction(f"held ball {unit} could be shipped", where="shipment")

    def _early_pour(self) -> tuple[str, str]:
        lot = f"CL-{bends.EARLY_ROUND}"
        said = self._breach(lot, "block-rest-short")
        balls = self._below(lot)
        hold = self._holds(lot)[0]
        cut = sum(ball["state"] == "destroyed" for ball in balls)
        sold = sum(ball["state"] in {"shipped", "released"} for ball in balls)
        what = f"{lot}, {counted(len(balls), 'ball')}: {said.split(': ', 2)[-1]}"
        return what, (
            f"took the report, named the breach, held the lot by itself ({hold['hold']}); quality cut {cut} balls open, "
            f"sound, and conceded; then {sold} were released"
        )

    def _breach(self, lot: str, code: str) -> str:
        history = self.client.get(f"/lots/{lot}", QUALITY)["history"]
        found = [breach for fact in history for breach in fact.get("breaches", ()) if breach.startswith(code)]
        if not found:
            raise Contradiction(f"the book shows no breach {code} on {lot}")
        return str(found[0])

    def _recall(self) -> tuple[str, str]:
        hold = next(hold for hold in self._holds(bends.RECALLED_LOT) if hold["hold"] == RECALL_HOLD)
        if hold["open"]:
            raise Contradiction("the recall is still open", where=RECALL_HOLD)
        balls = self._below(bends.RECALLED_LOT)
        what = (
            f"{bends.RECALLED_LOT}, {counted(len(balls), 'ball')}: colour card in doubt from {local(hold['opened_at'])}"
        )
        return what, f"kept all {len(balls)} in house until two people, not one, had lifted the recall; it is lifted"

    def _soft_shells(self) -> tuple[str, str]:
        lot = bends.SOFT_LOT
        answer = self.client.get("/conformity", QUALITY, rulebook=RULEBOOK, lot=lot, listed="100")
        failing = [ball for ball in answer["balls"] if _fails_hardness(ball)]
        waiting = [ball for ball in failing if ball["state"] == "engraved"]
        scrapped = sum(ball["state"] == "scrapped" for ball in failing)
        refused = self._try_as_first(waiting[0]["unit"])
        readings = sorted(float(_hardness(ball)["value"]) for ball in failing)
        what = (
            f"{lot}, {counted(answer['tally']['balls'], 'ball')}: {len(failing)} read {readings[0]:g} to {readings[-1]:g} "
            f"Shore D, limit {_hardness(failing[0])['limit']}"
        )
        return what, (
            f"lets none of them be first quality, whoever asks (tried now: {refused}); "
            f"{len(failing) - len(waiting) - scrapped} went as second quality, {len(waiting)} wait, {scrapped} scrapped"
        )

    def _try_as_first(self, unit: str) -> str:
        try:
            body = {"units": [unit], "grade": "first", "undecided": True}
            self.client.post("/releases", QUALITY, body, f"walk-first-{unit}")
        except Refused as refusal:
            return f"refused, {str(refusal.got).split(' ')[-1]}"
        raise Contradiction(f"{unit} fails a limit and could be first quality", where="release")

    def _gap_in_log(self) -> tuple[str, str]:
        lot = bends.LOGGED_LOT
        log = self.client.get(f"/lots/{lot}/temperature-log", QUALITY)["logs"][0]
        summary = log["summary"]
        gap = summary["gaps"][0]
        silent = (instant_ms(gap["to_at"]) - instant_ms(gap["from_at"])) // 1000
        balls = self._below(lot)
        what = (
            f"{lot}, {counted(len(balls), 'ball')}: its rack's logger was silent for {span(silent)} of the final cure, from "
            f"{local(gap['from_at'])}"
        )
        return what, (
            f"marks the gap and takes no temperature for it; the other {span(summary['covered_ms'] // 1000)} lay between "
            f"{summary['coldest_c']} and {summary['warmest_c']} deg C, the plan asks for {summary['low_c']} to "
            f"{summary['high_c']}; the file itself is {log['file']}"
        )

    def _found_wrong(self) -> tuple[str, str]:
        asked = {"rulebook": RULEBOOK}
        wrong = self.client.get("/impact/gauge", QUALITY, gauge=bends.WRONG_GAUGE, **asked)
        # Nothing found the spare wrong: with a bias of nothing its readings are asked about as they are.
        spare = self.client.get("/impact/gauge", QUALITY, gauge=SPARE, bias="0", **asked)
        again, failed = spare["balls"], spare["where"]["states"].get("scrapped", 0)
        where = wrong["where"]
        what = (
            f"out-of-round gauge {bends.WRONG_GAUGE}, found wrong on {local(wrong['found']['at'])[:10]}: "
            f"{wrong['balls'] + again} balls read since its last calibration"
        )
        return what, (
            f"kept their readings and uses none of them; {again} were read again with {SPARE} ({failed} failed, scrapped); "
            f"{where['shipped']} had been shipped, {where['in_stock']} are in house, and none of these counts as "
            "conforming any more"
        )

    def _overdue(self) -> tuple[str, str]:
        unfit = self.standing["breaches"]["gauge-unfit"]
        refused = sum(
            count for what, count in self.demo.notes.items() if what in {"refused SL-017B", "refused SL-018B"}
        )
        readings = self.client.get("/balls/017B-01", QUALITY)["readings"]
        usable = all(not reading.get("unusable") for reading in readings)
        what = f"hardness gauge {bends.OVERDUE_GAUGE}, past its due date: {counted(unfit, 'ball')} read with it"
        return what, (
            f"kept the readings as not usable and refused {counted(refused, 'release')} on them; the gauge was then found "
            f"good as it was, so all {unfit} count {'again' if usable else 'only in part'}"
        )

    def _doubtful(self) -> tuple[str, str]:
        lot = bends.DOUBTFUL_LOT
        balls, holds = self._below(lot), self._holds(lot)
        still = sum(hold["open"] for hold in holds)
        what = (
            f"{lot}, {counted(len(balls), 'ball')}: cured 24 h 4 min by a clock up to "
            f"{span(bends.CLOCK_ERROR_S)} wrong, the plan asks for 24 h"
        )
        return what, (
            f"called the cure undecided and held the lot ({counted(len(holds), 'hold')}, {still} open now); "
            "conceded once the clocks had been compared"
        )

    def _two_core_lots(self) -> tuple[str, str]:
        above = self.client.get(f"/lots/{bends.MIXED_LOT}/above", QUALITY)["lots"]
        cores = [lot["lot"] for lot in above if lot["stage"] == "core" and lot["certainty"] == "possible"]
        possible = sum(lot["certainty"] == "possible" for lot in above)
        balls = self._below(bends.MIXED_LOT)
        what = f"{bends.MIXED_LOT}, {counted(len(balls), 'ball')}: the core of each is of {' or '.join(sorted(cores))}"
        return what, (
            f"says possible, not certain, of {possible} of the {len(above)} lots above them, "
            f"and holds them all for {RESIN_HOLD}, since one of the two may be of that resin"
        )

    def _many_claims(self) -> tuple[str, str]:
        lot = bends.CLAIMED_LOT
        balls = self._below(lot)
        claimed = sum(self._claims_of(ball["unit"]) for ball in balls)
        cures = self.client.get(f"/balls/{balls[0]['unit']}", QUALITY)["cures"]
        near = min(cures, key=lambda cure: cure["margin_s"])
        what = (
            f"{lot}, {counted(len(balls), 'ball')}: {claimed} of all {self.standing['claims']} claims, "
            f"{self.standing['open_claims']} of them open"
        )
        return what, (
            f"tells the desk of the sister claims with each number of the lot, and what is unusual: {near['stage']} of "
            f"{near['lot']} kept its time by {span(near['margin_s'])}"
        )

    def _claims_of(self, unit: str) -> int:
        return len(self.client.get(f"/balls/{unit}", "desk").get("claims", ()))

    def _wrong_lot(self) -> tuple[str, str]:
        corrected = self.standing["corrected"]
        first = self.client.get(f"/balls/{bends.RIGHT_LOT[3:]}-01", QUALITY)["history"][0]
        entry = self.client.get(f"/entries/{first['fact'].partition('.')[0]}", QUALITY)["entry"]
        left = [
            self.client.get(f"/lots/{lot}", QUALITY)["account"]["left"] for lot in (bends.NIGHT_LOT, bends.RIGHT_LOT)
        ]
        if left != [0, 0] or not entry["breaches"]:
            raise Contradiction("the accounts of the two lots do not add up", got=str(left))
        what = f"{counted(corrected, 'ball')} of {bends.RIGHT_LOT} typed as {bends.NIGHT_LOT} all night"
        return what, (
            "said at the first one that the lot had no ball left, and held each; one correction in the morning "
            f"({first['corrected_by']}) put all {corrected} right, both lots add up, and what was said first stays readable"
        )

    def _reengraved(self) -> tuple[str, str]:
        count = self.standing["facts"]["ball-engraved-anew"]
        ball = self.client.get(f"/balls/{bends.REENGRAVED_LOT[3:]}-{bends.REENGRAVED[0]:02d}", QUALITY)
        old = ball["numbers"][0]["serial"]
        found = self.client.get("/balls", QUALITY, serial=old)["balls"][0]
        what = f"{counted(count, 'ball')}: the number was cut badly and another one engraved"
        return what, f"keeps both numbers for ever: {old} leads to the ball that now bears {found['serial']}"

    def _late(self) -> tuple[str, str]:
        lot = f"CL-{bends.LATE_ROUND}"
        fact = next(fact for fact in self.client.get(f"/lots/{lot}", QUALITY)["history"] if fact.get("late"))
        behind = (instant_ms(fact["recorded_at"]) - instant_ms(fact["at"])) // 1000
        what = f"{counted(self.standing['late'], 'report')}: the pour of {lot}, told {span(behind)} after it was done"
        return what, "took it, judged it by when it was done, and marked it late"

    def _off_grade(self) -> tuple[str, str]:
        grades, facts = self.standing["grades"], self.standing["facts"]
        states = self.standing["balls"]
        what = (
            f"{grades['second']} second quality, {grades['prototype']} prototypes, {facts['rework']} reworked, "
            f"{states['scrapped']} scrapped, {states['destroyed']} cut open"
        )
        return what, (
            "prints the grade on the labels, takes an unapproved construction as prototype only, and voids the readings "
            "that a rework can change"
        )


def _hardness(ball: Any) -> Any:
    return next(one for one in ball["judged"]["verdicts"] if one["requirement"] == "usbc.hardness")


def _fails_hardness(ball: Any) -> bool:
    return bool(_hardness(ball)["outcome"] == "does_not_conform")


def _certainty(balls: list[Any]) -> str:
    certain = sum(ball["certainty"] == "certain" for ball in balls)
    return f"{certain} certain, {len(balls) - certain} possible"
