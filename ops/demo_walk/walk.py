"""The walk as a whole: build, serve, the main job, verdicts, troubles, desk, evidence, pages; then the service stays up."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager

from fixtures_demo.build import DemoBook
from fixtures_demo.days import DAYS, told
from fixtures_demo.plant import MAKER
from ledger.errors import StoreError
from ops.demo_walk.approvals import show_approvals
from ops.demo_walk.client import Client
from ops.demo_walk.desk import Desk
from ops.demo_walk.evidence import Evidence
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.looking import show_pages
from ops.demo_walk.main_job import MainJob
from ops.demo_walk.people import let_people_in
from ops.demo_walk.quality import Quality
from ops.demo_walk.screen import Screen
from ops.demo_walk.tampering import change_book, change_dossier, check_whole_book
from ops.demo_walk.verdicts import Verdicts
from ops.demo_walk.words import counted

STOP_S = 30


def walk(folder: DemoFolder, screen: Screen, *, seed: int, once: bool, opens: bool = False) -> int:
    """Walk through everything; 0. ``opens``: show the pages in a browser at the end, unless ``once``.

    Raises a LedgerError for the first step that fails.
    """
    began = time.monotonic()
    screen.line(f"Pourbook, the main job on the plant of {MAKER}: every name, number and trouble is made up")
    with folder.taken():
        demo = _build(folder, screen, seed)
        people = let_people_in(demo.url)
        with _service(folder) as address:
            client = Client(address, demo.tokens)
            _show_book(client, screen, demo)
            screen.title("2 The service")
            screen.say("open", f"{address}  (its description: {address}/docs)")
            job = _main_job(client, screen, folder, demo)
            screen.title("4 Verdicts: what is undecided, what another edition or a wrong gauge would change")
            Verdicts(client, screen, folder).show()
            screen.title("5 The troubles in it, most urgent first")
            Quality(client, screen, demo).show()
            screen.title("6 The warranty desk: a half-worn number, its claim, and the lot behind it")
            Desk(client, screen, folder, demo).show()
            screen.title("7 One byte changed")
            check_whole_book(screen, demo)
            change_book(client, screen, folder, demo)
            change_dossier(screen, folder, job.entry)
            screen.title("8 Approval files: samples that nobody picked, and what a body has to be told")
            show_approvals(client, screen)
            screen.title("9 Evidence that stands alone: a witness's word, three verifiers, and a forged book")
            Evidence(client, screen, folder, demo).show()
            screen.title("10 Look at it with a browser")
            show_pages(screen, address, job.label_path, people)
            screen.title(f"Done in {time.monotonic() - began:.0f} s.")
            if not once:
                _stay(screen, address, opens=opens)
    return 0


def _build(folder: DemoFolder, screen: Screen, seed: int) -> DemoBook:
    screen.title(f"1 The plant's book: {DAYS} days, told in the order in which they happened")
    began = time.monotonic()
    progress = screen.progress("building")
    built = folder.build(seed, progress)
    progress(1)
    demo = folder.copy()
    how = f"built in {time.monotonic() - began:.0f} s" if built else "built earlier by this version and kept"
    screen.say("data", f"{folder.folder} ({how}; each walk works on a fresh copy)")
    return demo


def _show_book(client: Client, screen: Screen, demo: DemoBook) -> None:
    standing = client.get("/standing", "quality-1")
    lots = ", ".join(f"{count} {stage}" for stage, count in standing["lots"].items())
    balls = sum(standing["balls"].values())
    screen.say(
        "in it",
        f"{balls:,} balls of 3 models, {sum(standing['lots'].values())} lots ({lots}), "
        f"{counted(standing['entries'], 'entry')}, {sum(standing['facts'].values()):,} facts",
    )
    screen.say("now", f"{told(demo.now_ms)[:16].replace('T', ' ')} by the plant's clock, which goes on from there")


def _main_job(client: Client, screen: Screen, folder: DemoFolder, demo: DemoBook) -> MainJob:
    screen.title("3 The main job: one ball, from the drum to its engraved number")
    job = MainJob(client, screen, folder, demo)
    steps = (
        *(job.allot, job.ask_first, job.register, job.release, job.label, job.look_up, job.look_down),
        *(job.check_offline, job.warranty, job.dossier, job.verify_dossier, job.events, job.conformity),
    )
    for step in steps:
        step()
    return job


@contextmanager
def _service(folder: DemoFolder) -> Iterator[str]:
    """The service as a process of its own, in no group that a Ctrl-C reaches; stopped at the end of the block."""
    command = [sys.executable, "-m", "ops.demo_walk.server_process", str(folder.folder)]
    process = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, start_new_session=True
    )
    try:
        address = (process.stdout.readline() if process.stdout else "").strip()
        if not address:
            raise StoreError("service did not start", got=f"exit code {process.wait()}", mend="its reason is above")
        yield address
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                pipe.close()


def _stay(screen: Screen, address: str, *, opens: bool) -> None:
    try:
        if opens and not webbrowser.open(address):
            screen.line("No browser could be opened here.")
        screen.line(f"The service stays at {address} until Ctrl-C; accounts and tokens are in demo.json.")
        while True:
            time.sleep(3600)
    except KeyboardInterrupt:
        screen.line()
        screen.line("Stopping; what was acknowledged is in the book.")
