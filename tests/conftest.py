"""Fixtures that any test may ask for: a PostgreSQL server, and a studio's tables on either engine.

``QUIREWELL_TEST_DATABASE=postgresql`` lets every new studio of a test run lie in PostgreSQL.
Hypothesis draws the same examples in every run, and judges none by its time;
``--hypothesis-profile=anew`` draws others.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator

import pytest
from hypothesis import settings

import postgres_server
from postgres_studios import PostgresStudios

settings.register_profile("same", derandomize=True, deadline=None, database=None)
settings.register_profile("anew", derandomize=False, deadline=None, database=None)
settings.load_profile("same")
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A run begun in the background ignores Ctrl-C, and so would every process that a test starts.
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session")
def postgres() -> Iterator[postgres_server.Server]:
    """A throw-away PostgreSQL server; the test is skipped where none can be started."""
    if why := postgres_server.why_not():
        pytest.skip(why)
    with postgres_server.running() as server:
        yield server


@pytest.fixture
def on_postgres(postgres: postgres_server.Server) -> Iterator[PostgresStudios]:
    """Every studio made in this test lies in a PostgreSQL database of its own."""
    with PostgresStudios(postgres).applied() as studios:
        yield studios


@pytest.fixture(params=["sqlite", "postgresql"])
def either_engine(request: pytest.FixtureRequest) -> str:
    """The test runs twice: with every new studio's tables in SQLite, and in PostgreSQL."""
    if request.param == "postgresql":
        request.getfixturevalue("on_postgres")
    return str(request.param)


@pytest.fixture(scope="session", autouse=True)
def chosen_engine(request: pytest.FixtureRequest) -> Iterator[None]:
    """The engine that ``QUIREWELL_TEST_DATABASE`` names, for the whole run."""
    if os.environ.get("QUIREWELL_TEST_DATABASE", "sqlite") == "sqlite":
        yield
        return
    with PostgresStudios(request.getfixturevalue("postgres")).applied():
        yield
