"""Where a studio's tables live: in ``studio.db``, or in the PostgreSQL database that the table
``[database]`` of the folder's ``studio.toml`` names (``at``, see ``studio.where``).

The address never holds a password. That is looked for, in this order, in ``PGPASSWORD``, in the
studio's own private file (:data:`PASSWORD`), and in the password file that PostgreSQL's own
programs read (``PGPASSFILE`` or ``~/.pgpass``: host:port:database:user:password, from the
PostgreSQL documentation, from memory).
"""

from __future__ import annotations

import getpass
import os
import re
import ssl
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from quirewell.studio import where
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import KEYS, keys_folder, read_private, write_private

DATABASE = "studio.db"
TABLE = "database"
PASSWORD = "database-password"
PORT = 5432
_MODES = ("disable", "require", "verify-full")
_HOME = ("localhost", "127.0.0.1", "::1")
_EXAMPLE = "postgresql://ada@bench.local/larkmoor"


@dataclass(frozen=True, slots=True)
class Address:
    """A PostgreSQL database. ``host`` is a name, or the folder of a unix socket."""

    user: str
    host: str
    port: int
    database: str
    sslmode: str = ""
    sslrootcert: str = ""

    @property
    def at_home(self) -> bool:
        """Whether the server is reached without leaving this machine."""
        return self.host.startswith("/") or self.host in _HOME

    @property
    def text(self) -> str:
        """The address as it is written down; it holds no password."""
        host = "" if self.host.startswith("/") else self.host
        host = f"[{host}]" if ":" in host else host
        port = "" if self.port == PORT else f":{self.port}"
        said = {"host": self.host if not host else "", "sslmode": self.sslmode,
                "sslrootcert": self.sslrootcert}  # fmt: skip
        more = "&".join(f"{name}={quote(value)}" for name, value in said.items() if value)
        base = f"postgresql://{quote(self.user, '')}@{host}{port}/{quote(self.database, '')}"
        return f"{base}?{more}" if more else base

    @property
    def url(self) -> URL:
        """The address for the engine, without a password."""
        return URL.create(
            "postgresql+pg8000", self.user, host=self.host, port=self.port, database=self.database
        )

    def tls(self) -> ssl.SSLContext | bool:
        """How the connection is enciphered; False for plain.

        Off this machine the server must show a certificate that holds, unless the address says
        otherwise.

        Raises:
            StudioError: the certificate file that the address names cannot be read.
        """
        mode = self.sslmode or ("disable" if self.at_home else "verify-full")
        if mode == "disable":
            return False
        try:
            context = ssl.create_default_context(cafile=self.sslrootcert or None)
        except OSError as error:
            raise StudioError(
                f"the certificate file {self.sslrootcert!r} of the database's address cannot be "
                f"read ({error.strerror or error})"
            ) from error
        if mode == "require":
            context.check_hostname = False
            context.verify_mode = ssl.CERT_NONE
        return context


def read_address(text: str) -> Address:
    """An address as a person types it.

    >>> read_address("postgresql://ada@bench.local/larkmoor").text
    'postgresql://ada@bench.local/larkmoor'

    Raises:
        StudioError: it is no address of a PostgreSQL database, or holds a password.
    """
    try:
        url = make_url(text)
    except (ArgumentError, ValueError) as error:
        raise StudioError(f"{_hidden(text)!r} is no address; write it as {_EXAMPLE}") from error
    if url.drivername not in ("postgresql", "postgres"):
        raise StudioError(
            f"{_hidden(text)!r} is no address of a PostgreSQL database; write it as {_EXAMPLE}"
        )
    if url.password is not None:
        raise StudioError(
            "leave the password out of the address: it would be seen in the list of running "
            "programs and stay in the shell's history. It is asked for with --ask-password, or "
            "taken from PGPASSWORD or the file ~/.pgpass"
        )
    query = {name: value for name, value in url.query.items() if isinstance(value, str)}
    strange = set(url.query) - {"host", "port", "sslmode", "sslrootcert"}
    if strange or len(query) != len(url.query):
        raise StudioError(
            f"the database's address says {', '.join(sorted(strange)) or 'something twice'}, which "
            "is not known here; it may say host, port, sslmode and sslrootcert"
        )
    mode = query.get("sslmode", "")
    if mode and mode not in _MODES:
        raise StudioError(f"sslmode is {mode!r} in the address; it may be {', '.join(_MODES)}")
    if not url.database:
        raise StudioError(f"{text!r} names no database; write it as {_EXAMPLE}")
    port = url.port or _number(query.get("port", ""))
    host = url.host or query.get("host", "") or "/var/run/postgresql"
    return Address(
        url.username or getpass.getuser(), host, port, url.database, mode,
        query.get("sslrootcert", ""),
    )  # fmt: skip


def _hidden(text: str) -> str:
    return re.sub(r"(//[^/@]*?:)[^@]*@", r"\1...@", text)


def _number(text: str) -> int:
    if not text:
        return PORT
    if not text.isdigit() or not 0 < int(text) < 65536:
        raise StudioError(f"port {text!r} in the address is no number from 1 to 65535")
    return int(text)


def is_studio(folder: Path) -> bool:
    """Whether a folder holds a studio, wherever its tables are."""
    return (folder / DATABASE).is_file() or bool(where.table(folder, TABLE))


def address_of(folder: Path) -> Address | None:
    """The database that a studio's folder names; None when its tables are in ``studio.db``.

    Raises:
        StudioError: the settings file cannot be read.
    """
    said = where.table(folder, TABLE)
    if not said:
        return None
    text = said.get("at")
    if not isinstance(text, str):
        raise StudioError(
            f"[{TABLE}] in {folder / where.WHERE} does not say where the tables are; it must hold "
            f'a line such as at = "{_EXAMPLE}"'
        )
    return read_address(text)


def write_address(folder: Path, address: Address | None) -> None:
    """Name the database in the folder's settings file (None: ``studio.db``), whole or not."""
    where.set_table(folder, TABLE, {} if address is None else {"at": address.text})


def keep_password(folder: Path, password: str) -> None:
    """Keep the database's password among the studio's keys, its owner's alone."""
    write_private(keys_folder(folder) / PASSWORD, password.encode())


def password_for(address: Address, folder: Path | None) -> str | None:
    """The password for a database; None where none is kept.

    Raises:
        StudioError: a password stands in a file that others may read.
    """
    if said := os.environ.get("PGPASSWORD"):
        return said
    if folder is not None:
        kept = folder / KEYS / PASSWORD
        if (data := read_private(kept)) is not None:
            _refuse_open(kept)
            return data.decode().rstrip("\n")
    path = Path(os.environ.get("PGPASSFILE") or Path("~/.pgpass").expanduser())
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, RuntimeError, UnicodeDecodeError):
        return None
    _refuse_open(path)
    host = "localhost" if address.host.startswith("/") else address.host
    wanted = (host, str(address.port), address.database, address.user)
    for line in lines:
        fields = [
            re.sub(r"\\(.)", r"\1", field)
            for field in re.findall(r"(?:^|:)((?:[^:\\]|\\.)*)", line)
        ]
        if line.startswith("#") or len(fields) != 5:
            continue
        if all(said in ("*", want) for said, want in zip(fields, wanted, strict=False)):
            return fields[4]
    return None


def _refuse_open(path: Path) -> None:
    if os.name == "posix" and path.stat().st_mode & 0o077:
        raise StudioError(
            f"the password in {path} can be read by others on this machine; close it with: "
            f"chmod 600 {path}"
        )


def spoken(text: str) -> str:
    """A written address in words for a sentence: database, host."""
    address = read_address(text)
    host = "this machine" if address.at_home else address.host
    return f"{address.database!r} on {host}"
