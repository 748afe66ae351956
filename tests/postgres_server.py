"""A throw-away PostgreSQL server for tests: a unix socket in a temporary folder, no network.

``fsync`` is off because nothing here outlives the test; what a studio's own server must have is
checked by ``connection_check`` and has a test of its own.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

import pg8000.native  # type: ignore[import-untyped]

USER = "larkmoor"
_names = count(1)


@cache
def programs() -> Path | None:
    """The folder of PostgreSQL's programs, None where no server is installed."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=_major)
    return places[-1].parent if places else None


def _major(path: Path) -> int:
    name = path.parents[1].name
    return int(name) if name.isdigit() else 0


def why_not() -> str:
    """Why no server can be started here; empty when one can."""
    if programs() is None:
        return "no PostgreSQL server is installed (Debian: apt-get install postgresql)"
    if os.getuid() == 0:
        try:
            pwd.getpwnam("postgres")
        except KeyError:
            return "PostgreSQL does not run as root, and there is no user postgres"
        if shutil.which("setpriv") is None:
            return "PostgreSQL does not run as root, and there is no setpriv to change the user"
    return ""


class Server:
    """One running server; every database is made new and empty."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = 5432
        self._log = folder / "log"

    def run(self, program: str, *words: str) -> str:
        """Run one of PostgreSQL's programs as the user that may; what it printed."""
        place = programs()
        assert place is not None
        command = [str(place / program), *words]
        if os.getuid() == 0:
            command = [
                "setpriv", "--reuid=postgres", "--regid=postgres", "--init-groups", *command,
            ]  # fmt: skip
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=120, cwd="/", check=False
        )
        assert done.returncode == 0, f"{program}: {done.stderr}{done.stdout}"
        return done.stdout

    def make(self) -> None:
        """Make the cluster."""
        self.run(
            "initdb", "-D", str(self.folder / "data"), "-U", USER, "-A", "trust", "-E", "UTF8",
            "--locale=C.UTF-8", "--no-sync",
        )  # fmt: skip

    def start(self, *settings: str) -> None:
        """Start, and wait until it answers."""
        chosen = (
            "fsync=off", "full_page_writes=off", "listen_addresses=", "max_connections=60",
            "shared_buffers=32MB", f"unix_socket_directories={self.folder}", *settings,
        )  # fmt: skip
        options = " ".join(f"-c {one}" for one in chosen)
        self.run(
            "pg_ctl", "-D", str(self.folder / "data"), "-l", str(self._log), "-w", "-o", options,
            "start",
        )  # fmt: skip

    def stop(self, how: str = "immediate") -> None:
        """Stop; nothing is kept."""
        self.run("pg_ctl", "-D", str(self.folder / "data"), "-m", how, "-w", "stop")

    def sql(self, database: str, command: str) -> list[list[Any]]:
        """What the server answers to one command."""
        connection = pg8000.native.Connection(
            USER, database=database, unix_sock=f"{self.folder}/.s.PGSQL.{self.port}"
        )
        try:
            rows: list[list[Any]] = connection.run(command) or []
            return rows
        finally:
            connection.close()

    def new_database(self, template: str = "template0", options: str = "") -> str:
        """The address of a fresh database; a copy of ``template`` when one is named."""
        name = f"bench_{os.getpid()}_{next(_names)}"
        self.sql("postgres", f"CREATE DATABASE {name} TEMPLATE {template} {options}")
        return self.address(name)

    def drop(self, name: str) -> None:
        """Throw a database away, whoever still holds it."""
        self.sql("postgres", f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def let_go(self, name: str) -> None:
        """End every connection to a database, as a restart of the server does."""
        self.sql(
            "postgres",
            f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'",
        )

    def address(self, name: str) -> str:
        """The address of a database by its name."""
        return f"postgresql://{USER}@/{name}?host={self.folder}"


def name_in(address: str) -> str:
    """The database's name out of an address of :meth:`Server.address`."""
    return address.split("@/")[1].split("?")[0]


@contextmanager
def running() -> Iterator[Server]:
    """A server in a temporary folder, stopped and removed afterwards."""
    # The path of a unix socket may have 107 characters at most, so no deep folder of a test.
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    if os.getuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
    server = Server(folder)
    try:
        server.make()
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
