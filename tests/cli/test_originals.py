"""``quirewell studio originals`` as it is typed."""

from __future__ import annotations

import io
import json
from pathlib import Path

from click.testing import CliRunner

from quirewell.cli.main import main
from quirewell.studio.studio import Studio
from studio_help import new_studio


def run(*arguments: object) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["studio", "originals", *map(str, arguments)])
    return done.exit_code, done.output


def test_where_they_lie_is_said_moved_looked_over_and_tidied(tmp_path: Path) -> None:
    home, share = tmp_path / "larkmoor", tmp_path / "share"
    with new_studio(home) as studio:
        for number in range(3):
            studio.blobs.put(io.BytesIO(bytes([number]) * 1000))
    assert run(home) == (0, "The originals lie in the studio's own folder: 3, 0.0 MB.\n")
    code, said = run(home, "--to", share)
    assert code == 0 and f"The originals lie in {share} now: 3 originals" in said
    assert "copied and compared 3 of 3" in said and f"--remove-old {home}" not in said
    assert f"quirewell studio originals {home} --remove-old" in said
    code, said = run(home)
    assert f"The originals lie in {share}: 3" in said and "own folder: 3, 0.0 MB (--remove" in said
    assert run(home, "--to", share)[1].startswith("The originals lie there already")
    code, said = run(home, "--remove-old", "--json")
    assert code == 0 and json.loads(said[said.index("{") :]) == {"removed": 3, "bytes": 3000}
    assert CliRunner().invoke(main, ["studio", "check", str(home)]).exit_code == 0
    code, said = run(home, "--to", "here")
    assert code == 0 and f"The old copies are still in {share}" in said
    with Studio.open(home) as studio:
        assert len(list(studio.blobs.own.all())) == 3


def test_each_wrong_wish_is_refused_in_a_sentence(tmp_path: Path) -> None:
    home = tmp_path / "larkmoor"
    new_studio(home).close()
    for wrong, says in (
        ("http://127.0.0.1/x", "give a folder (also one of a mounted network share), s3://"),
        ("memory://a/b", "originals cannot lie at"),
        ("filecache::s3://a-bucket/x", "originals cannot lie at"),
        (home / "x", "lies in the studio's own folder"),
    ):
        code, said = run(home, "--to", wrong)
        assert code != 0 and says in said and "Traceback" not in said
    assert run(home, "--to", "here", "--remove-old")[0] != 0
    assert run(tmp_path / "none")[0] != 0
