"""New studios in PostgreSQL, a database each, without a test saying so."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from postgres_server import Server, name_in
from quirewell.studio import postgres
from quirewell.studio.address import address_of, is_studio, read_address, write_address
from quirewell.studio.clock import Clock, now
from quirewell.studio.studio import Studio


class PostgresStudios:
    """Within :meth:`applied`, ``Studio.create`` takes a new database unless one is named.

    A folder that was copied as a whole gets a copy of its database when it is opened, as a copied
    ``studio.db`` would be one.
    """

    def __init__(self, server: Server) -> None:
        self.server = server
        self._folder_of: dict[str, Path] = {}

    @contextmanager
    def applied(self) -> Iterator[PostgresStudios]:
        """Until it is left, new studios lie in PostgreSQL; then their databases are dropped."""
        real_create, real_open = Studio.create, Studio.open

        def create(
            folder: Path | str, name: str = "", clock: Clock = now, zone: str = "",
            database: str = "",
        ) -> Studio:  # fmt: skip
            place = Path(folder).absolute()
            if not database and not is_studio(place):
                database = self.new_database(place)
            return real_create(folder, name, clock, zone, database)

        def opened(folder: Path | str, *words: Any, **named: Any) -> Studio:
            self._own(Path(folder).absolute())
            return real_open(folder, *words, **named)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Studio, "create", staticmethod(create))
            patch.setattr(Studio, "open", staticmethod(opened))
            # The server of the tests keeps nothing through a power cut, and need not.
            patch.setattr(postgres, "_DURABLE", ("synchronous_commit",))
            try:
                yield self
            finally:
                for name in self._folder_of:
                    self.server.drop(name)
                self._folder_of.clear()

    def new_database(self, place: Path) -> str:
        """The address of a fresh database for a folder."""
        address = self.server.new_database()
        self._folder_of[name_in(address)] = place
        return address

    def sql(self, folder: Path, command: str) -> list[list[Any]]:
        """What the server answers to one command about a studio's database."""
        address = address_of(folder)
        assert address is not None
        return self.server.sql(address.database, command)

    def _own(self, place: Path) -> None:
        address = address_of(place) if place.is_dir() else None
        owner = self._folder_of.get(address.database) if address else None
        if address is None or owner is None or owner == place:
            return
        if owner.exists():
            self.server.let_go(address.database)
            copy = self.server.new_database(template=address.database)
            write_address(place, read_address(copy))
            address = read_address(copy)
        self._folder_of[address.database] = place
