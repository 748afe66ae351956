"""studio.toml: one table a part, whole or not at all, private to its owner."""

from __future__ import annotations

from pathlib import Path

import pytest

from quirewell.studio import where
from quirewell.studio.faults import StudioError


def test_a_table_is_written_beside_the_others_and_read_back(tmp_path: Path) -> None:
    assert where.table(tmp_path, "originals") == {} and where.mark(tmp_path) == (0, 0, 0)
    odd = 'a "quoted" \\ path\nand é'
    where.set_table(tmp_path, "database", {"at": odd, "port": 5, "on": True})
    before = where.mark(tmp_path)
    where.set_table(tmp_path, "originals", {"at": "/mnt/share", "cache_gb": 2.5})
    assert where.mark(tmp_path) != before
    assert where.table(tmp_path, "database") == {"at": odd, "port": 5, "on": True}
    assert where.table(tmp_path, "originals") == {"at": "/mnt/share", "cache_gb": 2.5}
    assert (tmp_path / where.WHERE).stat().st_mode & 0o777 == 0o600
    where.set_table(tmp_path, "originals", {})
    assert where.table(tmp_path, "originals") == {}
    assert where.table(tmp_path, "database")["at"] == odd


@pytest.mark.parametrize("text", ["[originals\n", "originals = 3\n", "\xff"])
def test_a_damaged_file_is_said_and_left_as_it_is(tmp_path: Path, text: str) -> None:
    place = tmp_path / where.WHERE
    place.write_bytes(text.encode("latin-1"))
    with pytest.raises(StudioError, match="set it right with an editor"):
        where.table(tmp_path, "originals")
    assert place.read_bytes() == text.encode("latin-1")
