"""Every page, with example addresses on the demo plant and who sees it there: one table for pictures and for tests.

To add a page, add a line; `tests/browser/test_every_page.py` fails for a page of the service that has none.
"""

from __future__ import annotations

from typing import NamedTuple

from ledger.access.roles import ROLES


class PageExample(NamedTuple):
    """One example. ``name`` names its pictures; ``address`` has places of `ops.screens.places` in braces.

    ``role``: who looks, empty for nobody signed in.  ``pattern`` is the page's address as its route has it, by default
    the example's own; ``status`` what it answers with.
    """

    name: str
    address: str
    role: str = ""
    pattern: str = ""
    status: int = 200

    @property
    def route(self) -> str:
        """The address of its route: ``/ball/{unit}``."""
        return self.pattern or self.address.partition("?")[0]


PAGES = (
    PageExample("front", "/"),
    *(PageExample(f"front-{role}", "/", role) for role in ROLES),
    PageExample("sign-in", "/sign-in"),
    PageExample("enrol", "/enrol"),
    PageExample("account", "/account", "quality"),
    PageExample("people", "/people", "admin"),
    PageExample("person", "/people/{account}", "admin"),
    PageExample("devices", "/devices", "admin"),
    PageExample("book", "/book", "quality"),
    PageExample("book-for-a-station", "/book", "station"),
    PageExample("book-check", "/book/check/{check}", "auditor"),
    PageExample("entries", "/book/entries", "auditor"),
    PageExample("entries-of-a-lot", "/book/entries?lot={lot_soft}", "auditor"),
    PageExample("entry", "/book/entry/{entry_claim}", "auditor", "/book/entry/{index}"),
    PageExample("entry-corrected", "/book/entry/{entry_corrected}", "auditor", "/book/entry/{index}"),
    PageExample("entry-of-a-correction", "/book/entry/{entry_correction}", "quality", "/book/entry/{index}"),
    PageExample("problem", "/problems/refused", pattern="/problems/{code}"),
    PageExample("station", "/station", "station"),
    PageExample("station-mixing", "/station/mixing", "station"),
    PageExample("station-blocks", "/station/blocks", "station"),
    PageExample("station-cores", "/station/cores?from={lot_block}", "station"),
    PageExample("station-shells", "/station/shells", "station"),
    PageExample("station-shells-lot", "/station/shells?lot={lot_shell}", "station"),
    PageExample("station-finishing", "/station/finishing?lot={lot_shell}", "station"),
    PageExample("station-undo", "/station/undo?entry=9", "station"),
    PageExample("station-engraving", "/station/engraving", "station"),
    PageExample("station-engraving-lot", "/station/engraving?lot={lot_shell}", "station"),
    PageExample("station-label", "/station/engraving/label?unit={unit}&count=2", "station"),
    PageExample("station-inspection", "/station/inspection", "inspector"),
    PageExample("station-inspection-lot", "/station/inspection?lot={unit_lot}", "inspector"),
    PageExample("station-inspection-ball", "/station/inspection?unit={unit_engraved}", "inspector"),
    PageExample("desk", "/desk", "desk"),
    PageExample("desk-found", "/desk?q=QD4P%3FQ%3FQH", "desk"),
    PageExample("desk-none", "/desk?q=H77-41202&weight=15", "desk"),
    PageExample("desk-range", "/desk?q=2..9", "desk"),
    PageExample("claims", "/desk/claims", "desk"),
    PageExample("claim-new", "/desk/claim/new?unit={unit}&serial={serial}", "desk"),
    PageExample("claim-open", "/desk/claim/{claim_open}", "desk", "/desk/claim/{claim}"),
    PageExample("claim-accepted", "/desk/claim/{claim_accept}", "quality", "/desk/claim/{claim}"),
    PageExample("claim-for-an-auditor", "/desk/claim/{claim_goodwill}", "auditor", "/desk/claim/{claim}"),
    PageExample("claim-erase", "/desk/claim/{claim_reject}/erase", "quality", "/desk/claim/{claim}/erase"),
    PageExample("signals", "/desk/signals", "desk"),
    PageExample("signal", "/desk/signals/shell/{lot_claimed}", "inspector", "/desk/signals/{family}/{name}"),
    PageExample("imports", "/desk/imports", "quality"),
    PageExample("import-unknown", f"/desk/imports/{'0' * 64}?what=claims", "desk", "/desk/imports/{file}", 404),
    PageExample("contain", "/containment", "quality"),
    PageExample("contain-lot", "/containment?sort=shell-lot&name={lot_claimed}", "quality"),
    PageExample("contain-refused", "/containment?sort=week&name=2026-W99", "desk", status=400),
    PageExample("cases", "/containment/cases", "auditor"),
    PageExample("case", "/containment/case/{case}", "quality", "/containment/case/{case}"),
    PageExample(
        "case-answers",
        "/containment/case/{case}/answers/{consignee}",
        "desk",
        "/containment/case/{case}/answers/{consignee}",
    ),
    PageExample("consignees", "/containment/consignees", "desk"),
    PageExample("consignee", "/containment/consignee/{consignee}", "auditor"),
    PageExample("label", "/01/{gtin}/21/{serial}"),
    PageExample("label-unknown", "/01/{gtin}/21/P404404", pattern="/01/{gtin}/21/{serial}"),
    PageExample("limits", "/limits?rulebook=usbc-2026&quantity=hardness&model={model}", "quality"),
    PageExample(
        "limits-answer", "/limits/answer?rulebook={rulebook}&quantity=hardness&by=mould&model={model}", "auditor"
    ),
    PageExample("limits-refused", "/limits/answer?rulebook=none-such", "quality", "/limits/answer", 404),
    PageExample("charts", "/limits/charts?quantity=hardness&subgroups=lot", "quality"),
    PageExample("charts-answer", "/limits/charts/answer?quantity=hardness&by=station&from_on=2026-10-01", "inspector"),
    PageExample("changes", "/limits/changes", "quality"),
    PageExample("changes-rules", "/limits/changes/rules?rulebook=usbc-2026&against=usbc-2012", "quality"),
    PageExample("changes-gauge", "/limits/changes/gauge?gauge=RO-1&rulebook=usbc-2026", "quality"),
    PageExample(
        "changes-correction", "/limits/changes/correction?fact={entry_correction}.0&rulebook=usbc-2026", "auditor"
    ),
    PageExample("rulebooks", "/limits/rulebooks", "quality"),
    PageExample("rulebook", "/limits/rulebooks/usbc-2026", "desk", "/limits/rulebooks/{name}"),
    PageExample("rulebook-difference", "/limits/difference?one=usbc-2023&two=usbc-2026", "auditor"),
    PageExample("gauges", "/limits/gauges", "station"),
    PageExample("gauge", "/limits/gauges/HD-1", "inspector", "/limits/gauges/{gauge}"),
    PageExample("sampling", "/limits/sampling?lot_size=40&aql=0.65", "inspector"),
    PageExample("ball-find", "/ball", "station"),
    PageExample("ball-none", "/ball?q=P404404", "desk"),
    PageExample("ball-unread", "/ball?q=7?N", "desk"),
    PageExample("ball-released", "/ball/{unit_released}", "quality", pattern="/ball/{unit}"),
    PageExample("ball-reworked", "/ball/{unit_reworked}", "station", pattern="/ball/{unit}"),
    PageExample("ball-claimed", "/ball/{unit_claimed}", "auditor", pattern="/ball/{unit}"),
    PageExample("ball-anew", "/ball/{unit_released}/anew", "station", pattern="/ball/{unit}/anew"),
    PageExample("shipment", "/shipment?ball={unit_released}&ball={unit_engraved}&ball=no-such", "quality"),
    PageExample("shipment-new", "/shipment", "station"),
    PageExample("shipment-return", "/shipment/return?ball={unit}&ball={unit_released}", "desk"),
    PageExample("lots", "/lot", "station"),
    PageExample("lots-material", "/lot?stage=material", "quality"),
    PageExample("lots-beginning", "/lot?q=SL-0", "station"),
    PageExample("lot-shell", "/lot/{lot_mixed}", "quality", pattern="/lot/{lot}"),
    PageExample("lot-logged", "/lot/{lot_logged}", "inspector", pattern="/lot/{lot}"),
    PageExample("lot-material", "/lot/{lot_material}", "auditor", pattern="/lot/{lot}"),
    PageExample("lot-below", "/lot/{lot_block}/below", "quality", pattern="/lot/{lot}/below"),
    PageExample("approvals", "/evidence", "quality"),
    PageExample("approval-answered", "/evidence/approval/{approval_done}", "quality", "/evidence/approval/{file}"),
    PageExample("approval-waiting", "/evidence/approval/{approval_waiting}", "quality", "/evidence/approval/{file}"),
    PageExample(
        "approval-for-an-auditor", "/evidence/approval/{approval_done}", "auditor", "/evidence/approval/{file}"
    ),
    PageExample("dossier", "/evidence/dossier?serials={serial}", "quality"),
    PageExample("draw-rule", "/evidence/draw-rule", "auditor"),
    PageExample("examinations", "/evidence/examinations", "quality"),
    PageExample("examination", "/evidence/examination/{examination}", "auditor", "/evidence/examination/{examination}"),
    PageExample("examined", "/examination", "examiner"),
    PageExample("examined-balls", "/examination/{examination}", "examiner", "/examination/{examination}"),
    PageExample(
        "examined-ball", "/examination/{examination}/ball/{unit}", "examiner", "/examination/{examination}/ball/{unit}"
    ),
    PageExample(
        "examined-lot", "/examination/{examination}/lot/{unit_lot}", "examiner", "/examination/{examination}/lot/{lot}"
    ),
    PageExample(
        "examined-verdicts",
        "/examination/{examination}/verdicts?rulebook=usbc-2026",
        "examiner",
        "/examination/{examination}/verdicts",
    ),
    PageExample("trace", "/trace/{lot_mixed}", "quality", pattern="/trace/{lot}"),
    PageExample("trace-down", "/trace/{lot_block}?direction=down", "desk", pattern="/trace/{lot}"),
)
