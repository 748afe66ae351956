"""What PostgreSQL must do for a journal: guards, durability, who gets in, one order of text."""

from __future__ import annotations

import datetime
import ipaddress
import os
import random
import shutil
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

import postgres_server
from postgres_server import USER, Server, name_in
from postgres_studios import PostgresStudios
from quirewell.record.event import Draft
from quirewell.studio.database import reading, writing
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item


@pytest.mark.usefixtures("on_postgres")
@pytest.mark.parametrize("role", ["origin", "replica"])
@pytest.mark.parametrize(
    "statement", ["UPDATE journal SET actor='x'", "DELETE FROM journal", "TRUNCATE journal"]
)
def test_journal_only_grows(tmp_path: Path, statement: str, role: str) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        before = studio.events()
        with (
            pytest.raises(DatabaseError, match="the journal only grows"),
            studio.engine.begin() as connection,
        ):
            connection.execute(text(f"SET LOCAL session_replication_role = {role}"))
            connection.execute(text(statement))
        assert studio.events() == before


@pytest.mark.usefixtures("on_postgres")
@pytest.mark.parametrize("name", ["update", "delete", "truncate"])
@pytest.mark.parametrize(
    "how", ["DROP TRIGGER {} ON journal", "ALTER TABLE journal DISABLE TRIGGER {}"]
)
def test_missing_guard_is_found(tmp_path: Path, name: str, how: str) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        with studio.engine.begin() as connection:
            connection.execute(text(how.format(f"journal_no_{name}")))
        assert "guards" in studio.connection_check()[0][0]


@pytest.mark.usefixtures("on_postgres")
def test_guard_made_toothless_is_found(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        with studio.engine.begin() as connection:
            connection.execute(
                text(
                    "CREATE OR REPLACE FUNCTION journal_only_grows() RETURNS trigger "
                    "LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$"
                )
            )
        assert "guards" in studio.connection_check()[0][0]


def test_saving_is_durable_even_where_the_database_is_set_otherwise(
    tmp_path: Path, on_postgres: PostgresStudios
) -> None:
    studio_with_item(tmp_path / "s").close()
    on_postgres.sql(tmp_path / "s", "DO $$ BEGIN EXECUTE format('ALTER DATABASE %I SET "
                    "synchronous_commit = off', current_database()); END $$")  # fmt: skip
    with Studio.open(tmp_path / "s") as studio, studio.engine.connect() as connection:
        assert connection.execute(text("SHOW synchronous_commit")).scalar() == "on"
        assert studio.connection_check() == ([], [])


def test_server_that_does_not_write_through_is_said(tmp_path: Path, postgres: Server) -> None:
    address = postgres.new_database()
    with Studio.create(tmp_path / "s", database=address) as studio:
        said = studio.connection_check()[0]
        assert len(said) == 2 and "fsync off, so that a power cut can lose" in said[0]
    postgres.drop(name_in(address))


@pytest.mark.usefixtures("on_postgres")
def test_reader_sees_one_moment_and_cannot_write(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        count = text("SELECT count(*) FROM journal")
        with reading(studio.engine) as connection:
            before = connection.execute(count).scalar()
            studio.append(ITEM, 2, [defect()])
            assert connection.execute(count).scalar() == before
        with (
            pytest.raises(StudioError, match="only reads"),
            reading(studio.engine) as connection,
        ):
            connection.execute(text("DELETE FROM item_document"))


@pytest.mark.usefixtures("on_postgres")
def test_writers_take_turns_and_readers_wait_for_nobody(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as one, Studio.open(tmp_path / "s") as two:
        done = threading.Event()

        def write() -> None:
            two.append(ITEM, None, [defect("second")])
            done.set()

        with writing(one.engine):
            thread = threading.Thread(target=write)
            thread.start()
            assert not done.wait(0.3)
            assert not one.state(ITEM).defects  # a reader, while one writes and one waits
        thread.join(20)
        assert done.is_set() and set(one.state(ITEM).defects) == {"second"}


def test_text_is_ordered_alike_whatever_language_the_database_is_in(
    tmp_path: Path, postgres: Server
) -> None:
    address = postgres.new_database(options="LOCALE_PROVIDER icu ICU_LOCALE 'en-US'")
    titles = ["apple", "Zebra", "_mark", "étude", "Apple pie", "10", "9"]
    orders = []
    for name, database in (("there", address), ("here", "")):
        with Studio.create(tmp_path / name, database=database) as studio:
            for title in titles:
                stream = studio.new_id(title)
                studio.append(stream, 0, [Draft(stream, "item.opened", {"title": title})])
            with reading(studio.engine) as connection:
                rows = connection.execute(text("SELECT title FROM item_summary ORDER BY title"))
                orders.append(list(rows.scalars()))
    assert orders[0] == orders[1] == sorted(titles)
    postgres.drop(name_in(address))


@pytest.mark.usefixtures("either_engine")
def test_sign_that_no_column_holds_stays_in_the_record(tmp_path: Path) -> None:
    bad = "NUL \0 here"
    with studio_with_item(tmp_path / "s") as studio:
        described = Draft(ITEM, "item.described", {"title": bad, "year": bad, "notes": bad})
        studio.append(ITEM, 2, [described, defect(extent=bad)])
        state = studio.state(ITEM)
        assert state.item.title == state.defects["defect-1"].extent == bad
        assert studio.items()[0].title == "NUL \ufffd here"
        assert studio.rebuild_differs() == [] and studio.search("here").item_count == 1


@pytest.mark.usefixtures("on_postgres")
def test_name_that_no_column_holds_is_refused_in_a_sentence(tmp_path: Path) -> None:
    noise = "".join(random.Random(2).choices("abcdefghijklmnopqrstuvwxyz0123456789", k=9000))
    with studio_with_item(tmp_path / "s") as studio:
        for name, says in (("d\0", "no letter"), (noise, "make it shorter")):
            with pytest.raises(StudioError, match=says):
                studio.append(ITEM, 2, [defect(name)])
        assert studio.state(ITEM).version == 2 and studio.rebuild_differs() == []


@pytest.mark.usefixtures("either_engine")
def test_long_and_strange_texts_come_back_as_they_were(tmp_path: Path) -> None:
    long = "".join(f"{number} signs of a very long note; " for number in range(60_000))
    strange = "\x01\x7f\u2028\ufeff 'quoted' \"twice\" \\ %s :name {} \U0001f4d6 \r\n\t"
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, 2, [defect("long", extent=long), defect("strange", extent=strange)])
        title = "".join(random.Random(1).choices("abcdefghij klmnopqrstuvwxyz", k=9000)).strip()
        studio.append(ITEM, None, [Draft(ITEM, "item.described", {"title": title})])
    with Studio.open(tmp_path / "s") as studio:
        state = studio.state(ITEM)
        assert state.defects["long"].extent == long and state.defects["strange"].extent == strange
        assert state.item.title == title
        assert studio.connection_check() == ([], []) and studio.rebuild_differs() == []


def test_database_that_cannot_hold_every_letter_is_refused(
    tmp_path: Path, postgres: Server
) -> None:
    latin = postgres.new_database(options="ENCODING 'LATIN1' LC_COLLATE 'C' LC_CTYPE 'C'")
    with pytest.raises(StudioError, match=r"LATIN1.*createdb --encoding UTF8"):
        Studio.create(tmp_path / "s", database=latin)
    postgres.drop(name_in(latin))
    with pytest.raises(StudioError, match=r"no database 'nothing_here'.*createdb"):
        Studio.create(tmp_path / "t", database=postgres.address("nothing_here"))


@pytest.fixture(scope="module")
def walled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, int, Path]]:
    """A server on the loopback address with TLS and passwords; its port and its certificate."""
    if why := postgres_server.why_not():
        pytest.skip(why)
    place = tmp_path_factory.mktemp("tls")
    with postgres_server.running() as server:
        certificate = _certificate(place, server.folder / "data")
        hba = server.folder / "data" / "pg_hba.conf"
        hba.write_text(
            "local all all trust\nhostssl all all 127.0.0.1/32 scram-sha-256\n", encoding="utf-8"
        )
        server.stop()
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        server.start("ssl=on", "listen_addresses=127.0.0.1", f"port={port}")
        server.port = port
        server.sql("postgres", "CREATE ROLE ada LOGIN PASSWORD 'Larkmoor bench 7'")
        server.sql("postgres", "CREATE DATABASE bench OWNER ada")
        yield server, port, certificate


def _certificate(place: Path, data: Path) -> Path:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
    begin = datetime.datetime(2020, 1, 1)
    made = (
        x509.CertificateBuilder()
        .subject_name(name).issuer_name(name).public_key(key.public_key()).serial_number(7)
        .not_valid_before(begin).not_valid_after(begin + datetime.timedelta(days=36500))
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]),
            critical=False,
        )
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    pem = made.public_bytes(serialization.Encoding.PEM)
    (place / "server.pem").write_bytes(pem)
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    for path, content in ((data / "server.crt", pem), (data / "server.key", private)):
        path.write_bytes(content)
        path.chmod(0o600)
        if os.getuid() == 0:
            shutil.chown(path, "postgres", "postgres")
    return place / "server.pem"


def test_password_and_certificate_are_asked_for(
    tmp_path: Path, walled: tuple[Server, int, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, port, certificate = walled
    base = f"postgresql://ada@127.0.0.1:{port}/bench"
    safe = f"{base}?sslmode=verify-full&sslrootcert={certificate}"
    monkeypatch.setenv("PGPASSFILE", str(tmp_path / "none"))
    for password, address, says in (
        ("Larkmoor bench 7", base, "did not let 'ada' in"),
        ("Larkmoor bench 7", f"{base}?sslmode=verify-full", "could not show that it is the one"),
        ("wrong", safe, "did not let 'ada' in.*PGPASSWORD"),
    ):
        monkeypatch.setenv("PGPASSWORD", password)
        with pytest.raises(StudioError, match=says) as caught:
            Studio.create(tmp_path / "s", database=address)
        assert "Larkmoor bench" not in str(caught.value)
    monkeypatch.setenv("PGPASSWORD", "Larkmoor bench 7")
    with (
        Studio.create(tmp_path / "t", database=safe) as studio,
        studio.engine.begin() as connection,
    ):
        asked = "SELECT ssl FROM pg_stat_ssl WHERE pid = pg_backend_pid()"
        assert connection.execute(text(asked)).scalar() is True
        assert connection.execute(text("SELECT current_user")).scalar() == "ada" != USER
    for path in (tmp_path / "t").rglob("*"):
        assert path.is_dir() or b"Larkmoor bench 7" not in path.read_bytes()
