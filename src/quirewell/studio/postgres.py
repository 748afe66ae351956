"""PostgreSQL under a studio: durable settings, one writer at a time, guards, and its faults said.

Writers hold one lock of the whole database from their first statement to their end (an advisory
lock, which the server gives up when a writer dies), so that every entry follows the one before it
with any number of machines. Readers wait for nobody and see one moment (repeatable read).
"""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Any

import pg8000.dbapi  # type: ignore[import-untyped]
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, InterfaceError

from quirewell.studio.address import Address, password_for
from quirewell.studio.faults import Busy, DiskFull, ServerLost, StudioError

WAIT_S = 10
_TIMEOUT_S = 60
_LOCK = 0x7175697265  # any number will do, as long as every quirewell takes the same
_OLDEST = 120000
_SETTINGS = {
    "application_name": "quirewell",
    "search_path": "public",
    "lock_timeout": f"{WAIT_S}s",
    # A machine that was switched off while it wrote is let go of, and its lock with it.
    "idle_in_transaction_session_timeout": "300s",
    "tcp_keepalives_idle": "20",
    "tcp_keepalives_interval": "5",
    "tcp_keepalives_count": "4",
}
_LOST = ("57P01", "57P02", "57P03", "25P03", "53300", "08000", "08003", "08006")
_DURABLE = ("fsync", "full_page_writes", "synchronous_commit")
GUARDS = ("journal_no_delete", "journal_no_truncate", "journal_no_update")


def open_postgres(address: Address, folder: Path | None) -> Engine:
    """Engine on a PostgreSQL database; ``folder`` is the studio whose password may be used."""

    def connect() -> Any:
        where: dict[str, Any] = {"host": address.host, "port": address.port}
        if address.host.startswith("/"):
            where = {"unix_sock": f"{address.host}/.s.PGSQL.{address.port}"}
        try:
            made = pg8000.dbapi.connect(
                user=address.user,
                database=address.database,
                password=password_for(address, folder),
                ssl_context=address.tls(),
                timeout=_TIMEOUT_S,
                **where,
            )
        except OSError as error:
            raise pg8000.dbapi.InterfaceError(f"network error: {error}") from error
        except pg8000.dbapi.InterfaceError as error:
            raise _first_said(error) from error
        made._sock = _Line(made._sock)
        return made

    # A lost server is said by the fault that is raised; its trace would only frighten.
    logging.getLogger("sqlalchemy.pool").setLevel(logging.CRITICAL)
    engine = create_engine(address.url, creator=connect, pool_pre_ping=True, max_overflow=35)
    event.listen(engine, "connect", _on_connect)
    event.listen(engine, "begin", _on_begin)
    event.listen(engine, "handle_error", _on_error)
    return engine


def _first_said(error: BaseException) -> BaseException:
    """What the server said before the driver failed to take leave of it; else the error itself."""
    before: BaseException | None = error
    while before is not None and not code_of(before):
        before = before.__context__
    return before or error


class _Line:
    """The driver's line to the server. Of the errors of the operating system the driver makes its
    own in all places but one (the first read of an answer); here in that one too, so that a broken
    connection is always known for one and never used again."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner
        self.write, self.flush, self.close = inner.write, inner.flush, inner.close

    def read(self, size: int) -> bytes:
        """Bytes from the server; none at the end."""
        try:
            found: bytes = self._inner.read(size)
        except OSError as error:
            raise pg8000.dbapi.InterfaceError(f"network error: {error}") from error
        return found


def _on_connect(connection: Any, record: Any) -> None:
    asked = ", ".join(f"set_config('{name}', '{said}', false)" for name, said in _SETTINGS.items())
    cursor = connection.cursor()
    try:
        cursor.execute(
            f"SELECT {asked}, set_config('synchronous_commit', CASE "
            "current_setting('synchronous_commit') WHEN 'off' THEN 'on' "
            "ELSE current_setting('synchronous_commit') END, false), "
            "current_setting('server_version_num'), current_setting('server_encoding')"
        )
        *_, version, encoding = cursor.fetchone()
        connection.commit()
    finally:
        cursor.close()
    if int(version) < _OLDEST:
        raise StudioError(f"the PostgreSQL server is too old ({version}); 12 is the oldest that do")
    if encoding != "UTF8":
        raise StudioError(
            f"the database keeps its text as {encoding}, which cannot hold every letter; make it "
            "with: createdb --encoding UTF8 --template template0 NAME"
        )


def _on_begin(connection: Connection) -> None:
    options = connection.get_execution_options()
    if options.get("quirewell_writer", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
    elif options.get("quirewell_reader", False):
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")


def _on_error(context: Any) -> None:
    """The server said that it is going: connections kept for later are of no use any more."""
    if code_of(context.original_exception) in ("57P01", "57P02", "57P03", "25P03"):
        context.is_disconnect = True


def code_of(error: BaseException | None) -> str:
    """The five-letter code that the server gave an error; empty when it gave none."""
    said = error.args[0] if error is not None and error.args else None
    return str(said.get("C", "")) if isinstance(said, dict) else ""


def message_of(error: BaseException | None) -> str:
    """The server's own words of an error."""
    said = error.args[0] if error is not None and error.args else None
    return str(said.get("M", "")) if isinstance(said, dict) else str(error)


def fault_of(engine: Engine, error: DBAPIError) -> StudioError | None:
    """The sentence for a fault of the server or of the way to it; None for any other error."""
    url, code = engine.url, code_of(error.orig)
    host = str(url.host)
    there = "on this machine" if host.startswith("/") else f"at {host}"
    if code == "55P03":
        return Busy(
            f"somebody else has been writing to this studio for more than {WAIT_S} s; nothing was "
            "saved, do it once more"
        )
    if code == "53100":
        return DiskFull(
            f"the disk of the database server {there} is full; nothing was half saved. Make room "
            "there, then do it once more"
        )
    if code in ("28P01", "28000"):
        return StudioError(
            f"the database server {there} did not let {url.username!r} in "
            f"({message_of(error.orig)}); set the password with PGPASSWORD, ~/.pgpass or "
            "--ask-password"
        )
    if code == "3D000":
        return StudioError(
            f"there is no database {url.database!r} on the server {there}; make it there with: "
            f"createdb --encoding UTF8 --template template0 {url.database}"
        )
    if code == "42501":
        return StudioError(
            f"{url.username!r} may not do that in the database {url.database!r} "
            f"({message_of(error.orig)}); the database must belong to that user"
        )
    if code == "25006":
        return StudioError(f"the database server {there} is a copy that only reads; use the first")
    if code == "54000":
        return StudioError(
            "a title, a name or a number is longer than the database can look up (about 600 "
            "letters); nothing was saved, make it shorter"
        )
    if code in ("22021", "22P05"):
        return StudioError(
            "a name or a number holds a sign that the database cannot keep (U+0000, which is no "
            "letter); type it anew. Nothing was saved"
        )
    said = str(error.orig)
    if "CERTIFICATE_VERIFY_FAILED" in said or "refuses SSL" in said:
        return StudioError(
            f"the database server {there} could not show that it is the one that is meant "
            f"({said.removeprefix('network error: ')}); give its certificate in the address with "
            "?sslrootcert=FILE, or on a network of your own ?sslmode=require (enciphered, but to "
            "whoever answers) or ?sslmode=disable (not enciphered)"
        )
    if code in _LOST or error.connection_invalidated or isinstance(error, InterfaceError):
        return ServerLost(
            f"the database server {there} does not answer. What was saved before is safe; what "
            "was being sent just now may not be: look for it when the server is back. See "
            "whether that machine is on and on the network"
        )
    return None


def complaints_of(connection: Connection) -> list[str]:
    """What is missing that makes a journal safe on this server, in sentences."""
    said = []
    for name in _DURABLE:
        if connection.exec_driver_sql(f"SHOW {name}").scalar() == "off":
            said.append(
                f"the database server runs with {name} off, so that a power cut can lose what was "
                f"saved; set {name} = on in its postgresql.conf"
            )
    found = connection.exec_driver_sql(
        "SELECT t.tgname FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid "
        "WHERE t.tgrelid = 'journal'::regclass AND NOT t.tgisinternal AND t.tgenabled = 'A' "
        "AND p.prosrc LIKE '%%RAISE EXCEPTION%%the journal only grows%%'"
    ).scalars()
    if not set(GUARDS) <= set(found):
        said.append("the guards that keep journal entries from being changed are missing")
    return said
