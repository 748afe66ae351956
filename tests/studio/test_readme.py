"""What a studio says of itself holds: it is read as told, with Python's own library alone."""

from __future__ import annotations

import re
import shutil
import sqlite3
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from quirewell.studio.check import check
from quirewell.studio.readme import README, readme
from quirewell.studio.studio import Studio
from report_case import report_studio


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("readme") / "studio"
    report_studio(folder, pairs=1).close()
    return folder


def told(folder: Path) -> subprocess.CompletedProcess[str]:
    """Do what README.txt says: its indented lines, by a Python that sees no package."""
    text = (folder / README).read_text(encoding="utf-8")
    (script,) = re.findall(r"^    import hashlib.*?(?=^\S)", text, re.M | re.S)
    return subprocess.run(
        [sys.executable, "-I", "-S", "-c", textwrap.dedent(script)], cwd=folder,
        capture_output=True, text=True,
    )  # fmt: skip


def test_its_lines_read_the_chain_and_name_every_picture(made: Path) -> None:
    done = told(made)
    assert done.returncode == 0, done.stderr
    *pictures, last = done.stdout.splitlines()
    with Studio.open(made) as studio:
        assert last == f"as it was written, ends with {studio.head()}"
        captures = studio.state("annual").captures.values()
        held = {f"{one.sha256} annual {one.place} {one.moment} {one.filename}" for one in captures}
    assert set(pictures) == held and len(pictures) == len(captures) > 0
    for one in captures:
        place = made / "originals" / one.sha256[:2] / one.sha256
        assert place.is_file(), "it lies where it is said to"


def test_its_lines_find_a_changed_entry(made: Path, tmp_path: Path) -> None:
    shutil.copytree(made, tmp_path / "s")
    with sqlite3.connect(tmp_path / "s" / "studio.db") as database:
        database.execute("DROP TRIGGER journal_no_UPDATE")
        database.execute("UPDATE journal SET body = replace(body, '1936', '1937') WHERE seq = 2")
    database.close()
    done = told(tmp_path / "s")
    assert done.returncode != 0 and "AssertionError: 2" in done.stderr


def test_it_is_put_back_when_lost_or_old_and_never_stands_in_the_way(tmp_path: Path) -> None:
    folder = tmp_path / "s"
    Studio.create(folder, "Larkmoor paper bench").close()
    place = folder / README
    place.write_text("old", encoding="utf-8")
    Studio.open(folder).close()
    assert place.read_text(encoding="utf-8") == readme()
    place.unlink()
    Studio.open(folder).close()
    assert place.is_file() and not check(folder).notes
    place.unlink()
    place.mkdir()
    Studio.open(folder).close()
    assert place.is_dir()


def test_it_says_where_the_rest_is_when_it_is_not_here() -> None:
    assert "PostgreSQL" in readme(here=False) and "PostgreSQL" not in readme()
    assert "studio.toml says where" in readme(originals_here=False)
    for text in (readme(), readme(here=False, originals_here=False)):
        assert max(map(len, text.splitlines())) <= 100
