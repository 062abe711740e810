"""What a quality lead asks of verdicts: what is undecided and why, what another edition or a wrong gauge changes; files.

Every figure comes from the service; which lot and which gauge is asked about stands in `fixtures_demo.bends`.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from typing import Any

from fixtures_demo import bends
from fixtures_demo.house import CUSTOMER_RULEBOOK, HOUSE_QUANTITIES
from fixtures_demo.models import RULEBOOK
from ledger.errors import Contradiction
from ledger.line.quantity import QUANTITIES, UNITS
from ops.demo_walk.client import Client
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.screen import Screen
from ops.demo_walk.words import counted, local, significant

QUALITY = "quality-1"
EARLIER = "usbc-2019"
MODEL = "GATEPOST"
FIRST = 3
"""Numbers that a line names."""
CAPABLE = "1.33"
"""The least Cpk that is often asked for: common practice, no source."""


class Verdicts:
    """Asks the service each question and prints a line or two; raises where an answer is not as it must be."""

    def __init__(self, client: Client, screen: Screen, folder: DemoFolder) -> None:
        """Nothing is asked yet."""
        self.client = client
        self.screen = screen
        self.folder = folder

    def show(self) -> None:
        """Every question, in order."""
        self._undecided()
        self._agreed_limits()
        self._other_edition()
        self._wrong_gauge()
        self._table()
        self._chart()
        self._capability()

    def _undecided(self) -> None:
        """One ball that more readings would decide, one that they would not, and how many there are."""
        near = self._near_limit()
        decidable = [one for one in near if "would likely decide" in one[1]["more_readings"]]
        ball, verdict = min(decidable, key=_margin)
        unit = _printed(verdict)
        house = verdict["house"]
        self.screen.say(
            "one undecided ball",
            f"{ball['serial']}, {ball['state']}: hardness {verdict['value']} {unit}, U {_u(verdict)} (k = 2); "
            f"limit {verdict['limit']}",
        )
        self.screen.say("", f"as the body judges, value against limit: conforms, inside by {verdict['margin']}")
        self.screen.say(
            "",
            f"by the rule of the house: undecided, nearer to the limit than the guard band, "
            f"{significant(house['guard_band'])} {unit}; probability of conforming {verdict['probability']}",
        )
        self.screen.say("", f"what would decide: {verdict['more_readings']}")
        self.screen.say("", f"U from {verdict['u_from']}")
        other, stuck = min(
            (one for one in near if "gauge's own part" in one[1]["more_readings"]),
            key=_margin,
        )
        self.screen.say("another", f"{other['serial']}, {stuck['value']} {unit}: {stuck['more_readings']}")
        tally = self.client.get("/conformity", QUALITY, rulebook=RULEBOOK)["tally"]
        limits = {QUANTITIES[name].name: self._house_undecided(tally, name) for name in HOUSE_QUANTITIES}
        said = ", ".join(f"{count} by {name}" for name, count in limits.items())
        self.screen.say(
            "in the whole plant", f"of {tally['balls']:,} balls the rule of the house leaves undecided {said}"
        )

    def _near_limit(self) -> list[tuple[Any, Any]]:
        """Balls of the soft lot, with the verdict on hardness, that meet the limit and that the house leaves undecided."""
        found = self.client.get("/conformity", QUALITY, rulebook=RULEBOOK, lot=bends.SOFT_LOT, listed="100")["balls"]
        return [
            (ball, verdict)
            for ball in found
            for verdict in ball["judged"]["verdicts"]
            if verdict["requirement"] == "usbc.hardness"
            and (verdict["outcome"], verdict["house"]["outcome"]) == ("conforms", "undecided")
        ]

    def _house_undecided(self, tally: Any, quantity: str) -> int:
        # Two limits on hardness are the same, by two clocks: each ball counts once.
        requirement = {"hardness": "usbc.hardness", "rg_low": "usbc.rg-minimum"}[quantity]
        return int(tally["house_counts"][requirement]["undecided"])

    def _agreed_limits(self) -> None:
        """A customer's limits whose own rule takes the uncertainty into account, against what is in stock."""
        answer = self.client.get("/conformity", QUALITY, rulebook=CUSTOMER_RULEBOOK, state="released")
        books = self.client.get("/rulebooks", QUALITY)["rulebooks"]
        limits = next(book["requirements"] for book in books if book["id"] == CUSTOMER_RULEBOOK)
        limit = next(one for one in limits if one["decision"] == "guarded")
        tally = answer["tally"]
        overall = tally["overall"]
        self.screen.say(
            "customer's limits",
            f"{CUSTOMER_RULEBOOK}, a rulebook of the plant's own: {QUANTITIES[limit['quantity']].name} "
            f"{limit['operator']} {limit['limits'][0]} {UNITS[limit['unit']].printed}, and met only from U inside it: of "
            f"{tally['balls']} balls released and in house {overall['conforms']} conform, {overall['undecided']} are "
            f"undecided, {overall['does_not_conform']} do not conform",
        )

    def _other_edition(self) -> None:
        """The balls that an earlier edition lets pass and the one in force does not."""
        answer = self.client.get("/impact/rules", QUALITY, rulebook=EARLIER, against=RULEBOOK, listed="1000")
        change = answer["change"]
        caught = change["quantities"]["hardness"]["conforms"]["does_not_conform"]
        balls = [one for one in answer["listed"] if any(side["quantity"] == "hardness" for side in one["changes"])]
        if caught != len(balls):
            raise Contradiction("the balls listed are not those counted", expected=caught, got=len(balls))
        before, after = _limits(balls[0])
        lots = Counter(one["ball"]["lot"] for one in balls)
        lot, most = lots.most_common(1)[0]
        where = answer["where"]
        first = [one["ball"]["serial"] for one in balls if one["ball"]["lot"] == lot][:FIRST]
        self.screen.say(
            "another edition",
            f"hardness {before} in {EARLIER}, {after} in {RULEBOOK}: {counted(caught, 'ball')} of {answer['balls']:,} "
            f"conform under the earlier and not under the later, {where['in_stock']} in stock, {where['shipped']} shipped",
        )
        self.screen.say(
            "",
            f"{self._grades({one['ball']['serial'] for one in balls})}; {most} of them of {lot}, the first "
            f"{', '.join(first)}",
        )

    def _grades(self, serials: set[str]) -> str:
        """How these balls were released, from the table. Raises Contradiction where one is first quality."""
        grades = Counter(row["grade"] for row in self._rows() if row["serial"] in serials)
        if grades["first"]:
            raise Contradiction("a ball that fails a body's limit is first quality", got=str(dict(grades)))
        return f"{grades['second']} released as second quality, none as first, {grades['']} not released"

    def _wrong_gauge(self) -> None:
        """The balls behind the gauge that was found wrong, and those that come out otherwise with its bias taken out."""
        answer = self.client.get("/impact/gauge", QUALITY, gauge=bends.WRONG_GAUGE, rulebook=RULEBOOK, listed="1000")
        where, shifted = answer["where"], answer["shifted"]
        bias, unit = answer["bias"], UNITS[answer["unit"]].printed
        read = f"{bias.removeprefix('-')} {unit} too {'little' if bias.startswith('-') else 'much'}"
        self.screen.say(
            "a wrong gauge",
            f"{bends.WRONG_GAUGE} read {read} when it was found wrong ({local(answer['found']['at'])}): "
            f"{answer['balls']} balls rest on it since its last calibration, {where['in_stock']} in house, "
            f"{where['shipped']} shipped in {counted(len(where['shipments']), 'shipment')}",
        )
        fails = shifted["quantities"]["out_of_round"]["conforms"]["does_not_conform"]
        named = [_placed(one["ball"]) for one in answer["listed"] if one.get("by_shift")]
        self.screen.say(
            "",
            f"with that taken out {counted(shifted['changed'], 'verdict')} change, "
            f"{'all' if fails == shifted['changed'] else f'{fails} of them'} to does not conform "
            f"({', '.join(named[:FIRST])}); as the book stands all {answer['now']['changed']} count as not measured until "
            "they are read again",
        )

    def _table(self) -> None:
        """Everything in a file that a spreadsheet opens."""
        rows = self._rows()
        self.screen.say(
            "table for a report",
            f"{self.folder.table.name}: {counted(len(rows), 'ball')}, one line each: readings, the verdict on each limit, "
            "the whole ball, and by the rule of the house",
        )

    def _rows(self) -> list[dict[str, str]]:
        if not self.folder.table.exists():
            content = self.client.read("/conformity/table", QUALITY, rulebook=RULEBOOK)
            self.folder.table.write_bytes(content)
        lines = [line for line in self.folder.table.read_text("utf-8").splitlines() if not line.startswith("#")]
        return list(csv.DictReader(io.StringIO("\n".join(lines))))

    def _chart(self) -> None:
        """Control charts of hardness as a picture, and the signals on them."""
        asked = {"quantity": "hardness", "model": MODEL, "subgroups": "lot"}
        self.folder.chart.write_bytes(self.client.read("/charts.svg", QUALITY, **asked))
        group = self.client.get("/charts", QUALITY, **asked)["groups"][0]
        points = len(group["charts"][0]["points"])
        signals = [one for one in group["signals"] if one["chart"] == "xbar"]
        said = "; ".join(f"{one['label']} {one['words']}" for one in signals)
        self.screen.say(
            "control chart",
            f"{self.folder.chart.name}: mean hardness of {points} shell lots of {MODEL.title()}, with limits at three times "
            f"the scatter that chance gives a lot's mean (sigma); {counted(len(signals), 'signal')}: {said}",
        )

    def _capability(self) -> None:
        """How the spread of the process compares with the limits, with the interval that so many balls allow."""
        wide = self._capable("circumference")["capability"]
        cp, cpk = wide["indices"]["cp"], wide["indices"]["cpk"]
        self.screen.say(
            "capability",
            f"circumference of {wide['count']} balls of {MODEL.title()}: Cp {cp:.2f}, the limits are so many times as wide as "
            f"the spread (6 s); Cpk {cpk:.2f}, the same towards the nearer limit ({_interval(wide['cpk_interval'])})",
        )
        hardness = self._capable("hardness")
        soft = hardness["capability"]
        self.screen.say(
            "",
            f"hardness has one limit, so Cpk alone: {soft['indices']['cpk']:.2f} ({_interval(soft['cpk_interval'])}); "
            f"{CAPABLE} is often asked for (common practice); {soft['outside']['below']} of these balls read below the limit",
        )

        self._risks(hardness["risk"])

    def _risks(self, risk: Any) -> None:
        """What each rule costs over the whole production, as its spread and the gauge's uncertainty have it."""
        body, house = ({one["by"]: one for one in risk["rules"]}[by] for by in ("simple", "house"))
        self.screen.say(
            "what a rule costs",
            f"hardness of all balls of {MODEL.title()}: value against limit accepts {_percent(body['consumer'])} that do not "
            f"conform and does not accept {_percent(body['producer'])} that do; the rule of the house accepts "
            f"{_percent(house['consumer'])} and does not accept {_percent(house['producer'])} (taking the true values for normal)",
        )

    def _capable(self, quantity: str) -> Any:
        answer = self.client.get("/capability", QUALITY, quantity=quantity, model=MODEL, rulebook=RULEBOOK)
        return answer["groups"][0]


def _margin(one: tuple[Any, Any]) -> float:
    return float(one[1]["margin"])


def _limits(one: Any) -> tuple[str, str]:
    change = next(side for side in one["changes"] if side["quantity"] == "hardness")
    return change["before"]["limit"], change["after"]["limit"]


def _placed(ball: Any) -> str:
    return f"{ball['serial']} {ball['state']}"


def _printed(verdict: Any) -> str:
    return UNITS[verdict["unit"]].printed


def _u(verdict: Any) -> str:
    return significant(verdict["expanded"])


def _percent(share: float) -> str:
    return f"{share:.1%}" if share >= 0.001 else f"{share:.2%}"


def _interval(interval: Any) -> str:
    return f"{interval['confidence']:.0%} interval {interval['low']:.2f} to {interval['high']:.2f}"
