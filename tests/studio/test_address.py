"""Addresses of databases, and where the password comes from."""

from __future__ import annotations

from pathlib import Path

import pytest

from quirewell.studio.address import (
    PASSWORD,
    Address,
    address_of,
    is_studio,
    keep_password,
    password_for,
    read_address,
    spoken,
    write_address,
)
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import KEYS
from quirewell.studio.where import WHERE, set_table

FULL = "postgresql://ada@bench.local:5433/larkmoor?sslmode=require"


@pytest.fixture(autouse=True)
def no_passwords(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("PGPASSWORD", raising=False)
    monkeypatch.setenv("PGPASSFILE", str(tmp_path / "pgpass"))


@pytest.mark.parametrize(
    "text",
    [
        FULL,
        "postgresql://ada@bench.local/larkmoor",
        "postgresql://ada@[fd00::7]/larkmoor",
        "postgresql://ada@/larkmoor?host=/var/run/postgresql",
        "postgresql://a%40b@bench.local/lark%2Fmoor?sslrootcert=/etc/our%20own.pem",
    ],
)
def test_address_is_written_as_it_is_read(text: str) -> None:
    address = read_address(text)
    assert address.text == text and read_address(address.text) == address


def test_what_is_left_out_is_filled_in() -> None:
    assert read_address("postgresql:///larkmoor").host == "/var/run/postgresql"
    assert read_address("postgresql://ada@127.0.0.1/x").port == 5432
    assert read_address("postgresql:///x").user
    assert spoken("postgresql://ada@127.0.0.1/x") == "'x' on this machine"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("larkmoor", "no address"),
        ("mysql://ada@bench.local/x", "no address of a PostgreSQL"),
        ("postgresql://bench.local", "names no database"),
        ("postgresql://ada@bench.local/x?options=-c", "options.*not known"),
        ("postgresql://ada@bench.local/x?sslmode=maybe", "may be disable, require, verify-full"),
        ("postgresql://ada@/x?port=none", "no number from 1 to 65535"),
        ("postgresql://ada@bench.local/x?host=a&host=b", "twice"),
    ],
)
def test_what_is_no_address_is_said(text: str, says: str) -> None:
    with pytest.raises(StudioError, match=says):
        read_address(text)


@pytest.mark.parametrize("scheme", ["postgresql", "other"])
def test_password_in_an_address_is_refused_and_not_repeated(scheme: str) -> None:
    with pytest.raises(StudioError) as caught:
        read_address(f"{scheme}://ada:0pen-Sesame@bench.local/x")
    assert "0pen-Sesame" not in str(caught.value)


def test_folder_says_where_its_tables_are(tmp_path: Path) -> None:
    assert not is_studio(tmp_path) and address_of(tmp_path) is None
    write_address(tmp_path, read_address(FULL))
    assert is_studio(tmp_path) and address_of(tmp_path) == read_address(FULL)
    assert (tmp_path / WHERE).stat().st_mode & 0o777 == 0o600
    write_address(tmp_path, None)
    assert address_of(tmp_path) is None and not is_studio(tmp_path)
    set_table(tmp_path, "database", {"at": 7})
    with pytest.raises(StudioError, match="it must hold a line such as"):
        address_of(tmp_path)


def test_password_is_looked_for_in_its_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = read_address(FULL)
    assert password_for(address, tmp_path) is None
    passes = tmp_path / "pgpass"
    passes.write_text(
        "# ours\nelsewhere:*:*:ada:no\nbench.local:5432:*:ada:no\nshort:line\n"
        "bench.local:*:larkmoor:ada:with\\:colon\\\\\n*:*:*:*:no\n"
    )
    passes.chmod(0o600)
    assert password_for(address, tmp_path) == "with:colon\\"
    keep_password(tmp_path, "kept")
    assert password_for(address, tmp_path) == "kept"
    assert (tmp_path / KEYS / PASSWORD).stat().st_mode & 0o777 == 0o600
    monkeypatch.setenv("PGPASSWORD", "from outside")
    assert password_for(address, tmp_path) == "from outside"


def test_password_that_others_can_read_is_refused(tmp_path: Path) -> None:
    passes = tmp_path / "pgpass"
    passes.write_text("*:*:*:*:secret\n")
    passes.chmod(0o644)
    with pytest.raises(StudioError, match="chmod 600") as caught:
        password_for(read_address(FULL), None)
    assert "secret" not in str(caught.value)
    keep_password(tmp_path, "kept")
    (tmp_path / KEYS / PASSWORD).chmod(0o640)
    with pytest.raises(StudioError, match="can be read by others"):
        password_for(read_address(FULL), tmp_path)


def test_off_this_machine_the_server_must_show_who_it_is() -> None:
    def tls(text: str) -> object:
        context = read_address(text).tls()
        return context if context is False else (context.check_hostname, context.verify_mode.name)  # type: ignore[union-attr]

    assert tls("postgresql://ada@127.0.0.1/x") is False
    assert tls("postgresql://ada@/x") is False
    assert tls("postgresql://ada@bench.local/x") == (True, "CERT_REQUIRED")
    assert tls("postgresql://ada@127.0.0.1/x?sslmode=verify-full") == (True, "CERT_REQUIRED")
    assert tls("postgresql://ada@bench.local/x?sslmode=require") == (False, "CERT_NONE")
    assert tls("postgresql://ada@bench.local/x?sslmode=disable") is False
    with pytest.raises(StudioError, match="cannot be read"):
        Address("ada", "bench.local", 5432, "x", "", "/nowhere.pem").tls()
