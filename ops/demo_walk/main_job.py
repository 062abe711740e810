"""The main job over HTTP: one ball from its number to its label, back to the drum, and its evidence."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import msgspec

from fixtures_demo.bends import CLAIMED_LOT, FRESH_ROUND
from fixtures_demo.build import DemoBook
from fixtures_demo.days import MINUTE, told
from fixtures_demo.models import MODEL_OF, RULEBOOK
from fixtures_demo.plant import chance
from fixtures_demo.readings import make_ball, read_ball
from ledger.book.receipt import check_receipt
from ledger.errors import Contradiction
from ledger.evidence.credential import pinned_contexts
from ledger.evidence.credential_check import check_credential, parse_credential
from ledger.evidence.did_web import parse_did_document
from ledger.evidence.own_terms import terms_address
from ledger.line.quantity import QUANTITIES, UNITS
from ops.demo_walk.client import Client
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.screen import Screen
from ops.demo_walk.words import counted, local, span

TURNED, FRESH = f"SL-{FRESH_ROUND}A", f"SL-{FRESH_ROUND}B"
UNIT, STATION, WHO = f"{FRESH_ROUND}A-37", "ENG-1", "engraving-1"


class MainJob:
    """The steps of the main job; each prints what it found, and raises where something is not as it must be."""

    def __init__(self, client: Client, screen: Screen, folder: DemoFolder, demo: DemoBook) -> None:
        """Steps are meant to be run in order."""
        self.client = client
        self.screen = screen
        self.folder = folder
        self.demo = demo
        self.serial = self.label_path = ""
        self.entry = 0
        self.ball: dict[str, Any] = {}

    def allot(self) -> None:
        """A number before it is engraved."""
        given = self.client.post("/serials", WHO, {"station": STATION, "count": 1}, "walk-serials")
        self.serial = given["serials"][0]
        self.screen.say("allot a number", f"{self.serial} for station {STATION}; entry {given['entry']:,} says so")

    def ask_first(self) -> None:
        """May this be done now? No for a lot that still cures, yes for one that has."""
        now = told(self.demo.now_ms)
        turned = {"kind": "unit-started", "at": now, "unit": f"{FRESH_ROUND}B-01", "lot": FRESH, "station": "FIN-1"}
        no = self.client.post("/ask", WHO, {"records": [turned]})["answers"][0]
        yes = self.client.post("/ask", WHO, {"records": [self._engraved()]})["answers"][0]
        if no["may"] or not yes["may"]:
            raise Contradiction("the answers to the two questions are not those of the plan", got=f"{no}, {yes}")
        reason = no["reasons"][0]["said"].split(": ", 1)[1]
        self.screen.say("ask first", f"turn a ball of {FRESH} now? no: {reason}; earliest {local(no['earliest'])}")
        self.screen.say("", f"engrave {self.serial} on a ball of {TURNED} now? yes")

    def register(self) -> None:
        """Engraving and readings in one entry; what comes back."""
        model = MODEL_OF[self._lot()["model"]]
        rng = chance(self.demo.seed, "the ball of the walk")
        readings = read_ball(rng, make_ball(rng, model, self._lot()["weight_class_lb"]), 1, self.demo.now_ms)
        body = {name: value for name, value in self._engraved().items() if name != "kind"}
        body["readings"] = msgspec.to_builtins(readings)
        answer = self.client.post("/balls", WHO, body, f"walk-{UNIT}")
        self.entry = answer["entry"]
        breaches = sum(map(len, answer["breaches"]))
        self.screen.say(
            "register the ball",
            f"entry {self.entry:,}: engraving and {counted(len(readings), 'reading')}; receipt in hand; "
            f"{breaches or 'no'} breaches",
        )
        self._show_verdicts(answer)

    def release(self) -> None:
        """First quality, on the verdicts as they stand."""
        answer = self.client.post("/releases", "quality-1", {"units": [UNIT], "grade": "first"}, "walk-release")
        self.screen.say("release it", f"first quality, entry {answer['entry']:,}, resting on those verdicts by digest")

    def label(self) -> None:
        """The label, and what anyone who scans it is told."""
        svg = self.client.read(f"/balls/{UNIT}/label.svg", WHO)
        self.folder.label.write_bytes(svg)
        gtin = self._lot()["gtin"]
        self.label_path = f"/01/{gtin}/21/{self.serial}"
        self.screen.say(
            "fetch its label",
            f"{self.demo.label_stem}{self.label_path} in {self.folder.label.name}, "
            "which a decoder read back before it was served",
        )
        told_to_all = self.client.get(self.label_path)["answer"]
        ball = told_to_all["balls"][0]
        self.screen.say(
            "who scans it reads",
            f"{told_to_all['statement']}: {ball['brand']} {ball['model']}, {ball['weight_class_lb']} lb, "
            f"made on {ball['made_on']}, {ball['status']}",
        )

    def look_up(self) -> None:
        """Back to the drum with certainty, and the cure times against the plan."""
        unit = self.client.get("/balls", "quality-1", serial=self.serial)["balls"][0]["unit"]
        self.ball = self.client.get(f"/balls/{unit}", "quality-1")
        above = self.ball["materials"]
        named = ", ".join(f"{lot['stage']} {lot['lot']}" for lot in above if lot["stage"] in {"core", "block"})
        drums = [lot for lot in above if lot["stage"] == "material"]
        certain = sum(lot["certainty"] == "certain" for lot in above)
        self.screen.say(
            "back to the drum",
            f"shell {self.ball['lot']}, {named}, {_stage(above, 'batch')} batches, "
            f"{counted(len(drums), 'material lot')}; of {len(above)} lots above it {certain} certain",
        )
        rows: list[tuple[str, ...]] = [("cure", "lot", "lasted", "plan", "", "temperature")]
        rows += [_cure_row(cure) for cure in self.ball["cures"]]
        self.screen.table(rows)

    def look_down(self) -> None:
        """From one drum to every ball."""
        drum = next(lot for lot in self.ball["materials"] if lot.get("material") == "Block resin")
        below = self.client.get(f"/lots/{drum['lot']}/below", "quality-1")
        stages = [f"{counted(_stage(below['lots'], stage), f'{stage} lot')}" for stage in ("block", "core", "shell")]
        self.screen.say(
            "down from the drum",
            f"{drum['material']} {drum['lot']}: {', '.join(stages)}, {len(below['balls']):,} balls",
        )

    def check_offline(self) -> None:
        """The receipt against the entry's bytes and the book's public key, without the service."""
        text = self.client.read(f"/receipts/{self.entry}").decode()
        raw = self.client.read(f"/entries/{self.entry}/bytes", "auditor")
        receipt = check_receipt(text, raw, [self.folder.key.read_text("utf-8").strip()], self.demo.origin)
        self.screen.say(
            "receipt, offline",
            f"right: entry {receipt.index:,}, {len(raw):,} bytes, stands in the {receipt.checkpoint.tree_size:,} entries "
            f"that {self.demo.origin} signed",
        )

    def conformity(self) -> None:
        """All balls of one model against the rulebook."""
        tally = self.client.get("/conformity", "quality-1", model="GATEPOST", rulebook=RULEBOOK)["tally"]
        overall = tally["overall"]
        self.screen.say(
            "conformity, model",
            f"Gatepost, {tally['balls']:,} balls by {RULEBOOK}: {overall['conforms']:,} conform, "
            f"{overall['does_not_conform']} do not, {overall['not_measured']} not measured",
        )

    def warranty(self) -> None:
        """A claimed number: ours, in term, of what, what stands out."""
        units = self.client.get(f"/lots/{CLAIMED_LOT}/below", "desk")["balls"]
        serial = next(ball["serial"] for ball in units if ball["state"] == "shipped")
        answer = self.client.get("/warranty", "desk", serial=serial, bought_on="2026-09-12")
        ball = answer["balls"][0]
        sisters = next(reason["said"] for reason in ball["stands_out"] if "claims among" in reason["said"])
        self.screen.say(
            "warranty question",
            f"{serial}: {answer['standing']} on {ball['made_on']}, {ball['term']['outcome']} to "
            f"{ball['term']['last_day']}; {sisters}; {answer['caution']}",
        )

    def dossier(self) -> None:
        """Evidence for three balls in one file."""
        units = (UNIT, f"{CLAIMED_LOT[3:]}-05", "013B-03")
        serials = [self.client.get(f"/balls/{unit}", "auditor")["serial"] for unit in units]
        content = self.client.post_for_bytes("/dossiers", "auditor", {"serials": serials})
        self.folder.dossier.write_bytes(content)
        self.screen.say(
            "dossier",
            f"{self.folder.dossier.name}, {len(content) / 1000:,.0f} kB: 3 balls; suppliers, recipes, people and notes withheld",
        )

    def verify_dossier(self) -> None:
        """The dossier by the command that its reader would use: no service, no network, one public key."""
        command = [sys.executable, "-m", "ops.cli", "verify", "dossier", str(self.folder.dossier)]
        command += ["--key", str(self.folder.key)]
        checked = subprocess.run(command, capture_output=True, text=True, check=False)
        if checked.returncode:
            raise Contradiction("the dossier is not right", got=checked.stderr.strip(), where=str(self.folder.dossier))
        said = checked.stdout.splitlines()
        self.screen.say(
            "check it elsewhere", f"pourbook verify dossier {self.folder.dossier.name} --key KEY: {said[0]}"
        )

    def events(self) -> None:
        """The ball's history for another maker's system, and a credential that its holder can check by the issuer's document."""
        told = self.client.get(f"/epcis/serials/{self.serial}", "auditor")
        document = parse_did_document(self.client.read("/.well-known/did.json"))
        secured = parse_credential(self.client.read(f"/balls/{UNIT}/credential", "auditor"))
        said = check_credential(secured, document, pinned_contexts(terms_address(self.demo.label_stem)))
        judged = said["credentialSubject"]["pb:judgements"]
        verdicts = sum(len(one["pb:verdicts"]) for one in judged)
        self.screen.say(
            "its history", f"{len(told['epcisBody']['eventList'])} EPCIS 2.0 events, from the drum to the number"
        )
        self.screen.say(
            "its credential",
            f"{verdicts} verdicts by {counted(len(judged), 'rulebook')}, right by the key of {document.id}; "
            "the maker's own assessment, no approval",
        )

    def _lot(self) -> Any:
        return self.client.get(f"/lots/{TURNED}", WHO)

    def _engraved(self) -> dict[str, Any]:
        at = told(self.demo.now_ms - MINUTE)
        lot = self._lot()
        return {
            "kind": "ball-engraved",
            "at": at,
            "unit": UNIT,
            "lot": TURNED,
            "serial": self.serial,
            "weight_class": lot["weight_class_lb"],
            "station": STATION,
        }

    def _show_verdicts(self, answer: Any) -> None:
        judged = answer["judged"][0]
        verdicts = judged["verdicts"]
        met = [verdict for verdict in verdicts if verdict["outcome"] == "conforms"]
        hardness = next(verdict for verdict in met if verdict["quantity"] == "hardness")
        self.screen.say(
            "verdicts",
            f"{judged['rulebook']}: {judged['outcome'].replace('_', ' ')}; {len(met)} of {len(verdicts)} requirements "
            f"apply, all met; hardness, say, {hardness['value']} {UNITS[hardness['unit']].printed}, limit "
            f"{hardness['limit']}, inside by {hardness['margin']}",
        )
        for provenance, words in (("second-hand", "limits second-hand"), ("memory", "limits from memory")):
            names = dict.fromkeys(
                QUANTITIES[verdict["quantity"]].name for verdict in met if verdict["provenance"] == provenance
            )
            self.screen.say("", f"{words}: {', '.join(names) or 'none'}")
        self.screen.say("", answer["caution"])


def _stage(lots: list[Any], stage: str) -> int:
    return sum(lot["stage"] == stage for lot in lots)


def _cure_row(cure: Any) -> tuple[str, ...]:
    most = f" to {span(cure['most_s'])}" if "most_s" in cure else " or more"
    kept = "kept" if cure["kept"] else "not kept"
    return (
        cure["stage"],
        cure["lot"],
        span(cure["elapsed_s"]),
        f"{span(cure['least_s'])}{most}",
        kept,
        cure["temperature"],
    )
