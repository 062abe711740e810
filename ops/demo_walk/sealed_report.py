"""The report of the demo's approval file for people who print it, under a seal made for the demo (`pourbook keys new-seal`)."""

from __future__ import annotations

import io
from datetime import UTC, datetime

from fixtures_demo.approvals import DONE
from fixtures_demo.build import DemoBook
from fixtures_demo.plant import MAKER, demo_signers
from ledger.application.dossier_report import DossierReporter
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_wanted
from ledger.application.dossiers import USUAL_PARTS
from ledger.errors import Contradiction, Unsupported
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import REPORT
from ledger.evidence.pdf.seal import Stamp
from ledger.evidence.pdf_check import MAX_REPORT_BYTES
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ops.demo_walk.folder import PASSWORD, DemoFolder
from ops.demo_walk.screen import Screen
from ops.seal_files import create_seal_file, open_seal_file

LABEL = "printed"


def show_report(screen: Screen, folder: DemoFolder, demo: DemoBook, trust: Trust, stamp: Stamp | None = None) -> None:
    """Export the approval file with its report, check both, and write the report beside; or say that it needs the extra."""
    try:
        dossier, sealed = _exported(folder, demo, stamp)
    except Unsupported as error:
        screen.say(LABEL, f"no report.pdf here, since the extra evidence is not installed ({error.mend})")
        return
    report = check_dossier(io.BytesIO(dossier), trust)
    if "its seal is whole" not in report.parts["report"]:
        raise Contradiction("the report of the demo has no seal that holds", got=report.parts["report"])
    folder.report.write_bytes(Archive(io.BytesIO(dossier)).read(REPORT, MAX_REPORT_BYTES))
    screen.say(LABEL, f"{sealed}: {folder.report}, with the dossier in it")


def _exported(folder: DemoFolder, demo: DemoBook, stamp: Stamp | None) -> tuple[bytes, str]:
    """The dossier with its report, and how that was sealed. Raises Unsupported without the extra.

    The certificate is the demo's own: it says whose the seal is meant to be, and nobody vouches for it.
    """
    folder.seal.unlink(missing_ok=True)
    now = datetime.now(UTC)
    create_seal_file(folder.seal, MAKER, PASSWORD, now)
    reporter = DossierReporter(open_seal_file(folder.seal, PASSWORD, now, stamp))
    wanted = DossierWanted(approval_file=DONE, parts=(*USUAL_PARTS, "report"))
    out, store = io.BytesIO(), open_store(demo.url)
    try:
        with open_reader(store) as reader:
            note = reader.head().checkpoint
            if note is None:
                raise Contradiction("the book of the demo has no checkpoint")
            write_wanted(
                reader, out, wanted, DossierGiver(note=note, signer=demo_signers(demo.seed).dossier, reporter=reporter)
            )
    finally:
        store.close()
    return out.getvalue(), reporter.said
