"""``quirewell survey`` as a person runs it: end to end, killed, on a scheduler at an address."""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest
from click.testing import CliRunner

from quirewell.cli.main import main
from survey_case import command, finish, folder_of, rows

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def scans(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten leaves and a file that is none."""
    folder = folder_of(tmp_path_factory.mktemp("survey") / "scans", 10)
    (folder / "notes.txt").write_text("no picture")
    return folder


@pytest.fixture(scope="module")
def whole(scans: Path) -> Path:
    """Results of a survey that nothing disturbed."""
    out = scans.parent / "whole"
    said = json.loads(finish(command(scans, "--out", out, "--json")))
    assert said["files"] == 11 and said["could_not_be_measured"] == 1
    return out


def kept(out: Path) -> int:
    """Rows that are on the disk by now."""
    open_rows = out / "parts/open.jsonl"
    return len(open_rows.read_bytes().splitlines()) if open_rows.exists() else 0


def wait_for(true: Callable[[], bool], process: subprocess.Popen[str]) -> None:
    for _ in range(12_000):
        if true():
            return
        assert process.poll() is None, process.communicate()
        time.sleep(0.01)
    raise TimeoutError


def test_results_are_whole_and_told(scans: Path, whole: Path) -> None:
    names = {path.name for path in whole.iterdir()}
    assert {"survey.parquet", "survey.csv", "survey.html", "parts"} <= names
    found = rows(whole)
    assert len(found) == 11 and sum(row["width_mm"] is not None for row in found) == 10
    page = (whole / "survey.html").read_text()
    assert "What needs treatment first: scans" in page
    listed = page.count('<p class="file">')
    assert listed and page.count("<img src=") == page.count("data:image/webp;base64,") == listed
    text = finish(command(scans, "--out", whole))
    assert "11 files, 10 measured, 1 could not be measured" in text and "Brittleness" in text


def test_killed_three_times_and_resumed_gives_the_same_rows(
    scans: Path, whole: Path, tmp_path: Path
) -> None:
    """kill -9 of the command at moments drawn by lot; what was answered is never lost."""
    out, chance, before = tmp_path / "out", random.Random(11), 0
    for _ in range(3):
        process = command(scans, "--out", out)
        target = before + chance.randint(0, 2)
        wait_for(lambda least=target: kept_in_all(out) >= least, process)  # type: ignore[misc]
        time.sleep(chance.uniform(0.0, 0.6))
        process.kill()
        process.communicate()
        assert kept_in_all(out) >= before
        before = kept_in_all(out)
    finish(command(scans, "--out", out))
    assert rows(out) == rows(whole)


def kept_in_all(out: Path) -> int:
    import pyarrow.parquet as pq

    parts = sum(pq.read_metadata(path).num_rows for path in (out / "parts").glob("part-*.parquet"))
    return parts + kept(out)


def workers_of(process: subprocess.Popen[str]) -> list[psutil.Process]:
    try:
        below = psutil.Process(process.pid).children(recursive=True)
        return [one for one in below if "spawn_main" in " ".join(one.cmdline())]
    except psutil.NoSuchProcess:
        return []


def test_a_worker_killed_in_mid_run_costs_nothing_but_time(
    scans: Path, whole: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    process = command(scans, "--out", out)
    wait_for(lambda: kept(out) >= 2, process)
    victims = workers_of(process)
    assert victims
    os.kill(victims[0].pid, signal.SIGKILL)
    finish(process)
    assert rows(out) == rows(whole)


def test_ctrl_c_ends_kindly_and_says_how_to_go_on(scans: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    process = command(scans, "--out", out)
    wait_for(lambda: kept(out) >= 2, process)
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "What is measured is kept. To go on: quirewell" in err and "Traceback" not in err
    assert kept_in_all(out) >= 2 and not (out / "survey.parquet").exists()


SCHEDULER = """
import importlib, sys
def main():
    distributed = importlib.import_module("distributed")
    security, folder = None, sys.argv[1]
    if folder:
        security = distributed.Security.temporary()
        for name, text in (("ca", security.tls_ca_file), ("cert", security.tls_client_cert),
                           ("key", security.tls_client_key)):
            with open(f"{folder}/{name}.pem", "w") as stream:
                stream.write(text)
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None,
        scheduler_kwargs={"dashboard": False, "dashboard_address": "127.0.0.1:0"},
        preload=["quirewell.jobs.cluster"], security=security,
    ) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.readline()
if __name__ == "__main__":
    main()
"""


@contextlib.contextmanager
def scheduler(folder: Path, keys: str = "") -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A scheduler with two workers in a process of its own, and its address."""
    script = folder / "scheduler.py"
    script.write_text(SCHEDULER)
    with subprocess.Popen(
        [sys.executable, script, keys], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True,
    ) as cluster:  # fmt: skip
        assert cluster.stdout is not None
        yield cluster, cluster.stdout.readline().strip()
        if cluster.poll() is None:
            cluster.communicate("\n", timeout=90)


def test_a_scheduler_at_an_address_measures_the_same(
    scans: Path, whole: Path, tmp_path: Path
) -> None:
    with scheduler(tmp_path) as (_, address):
        assert address.startswith("tcp://127.0.0.1:")
        finish(command(scans, "--out", tmp_path / "out", "--scheduler", address))
    assert rows(tmp_path / "out") == rows(whole)


def test_certificates_open_a_scheduler_that_wants_them(
    scans: Path, whole: Path, tmp_path: Path
) -> None:
    """And its going away in mid-run is said, with what to do; nothing is lost."""
    out = tmp_path / "out"
    with scheduler(tmp_path, str(tmp_path)) as (cluster, address):
        assert address.startswith("tls://127.0.0.1:")
        keys = [f"--tls-{name}={tmp_path / name}.pem" for name in ("ca", "cert", "key")]
        process = command(scans, "--out", out, "--scheduler", address, *keys)
        wait_for(lambda: kept(out) >= 3, process)
        cluster.kill()
        _, err = process.communicate(timeout=200)
    assert process.returncode == 2 and "Traceback" not in err
    assert "the scheduler went away" in err and "To go on: quirewell" in err
    assert 3 <= kept_in_all(out) < 11
    finish(command(scans, "--out", out))
    assert rows(out) == rows(whole)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--scheduler", "tcp://10.0.0.9:8786"], "not encrypted"),
        (["--scheduler", "tls://10.0.0.9:8786"], "needs certificates"),
        (["--tls-ca", "ca.pem"], "certificates go together"),
        (["--dpi", "7"], "dpi must be between"),
        (["--out", "."], "another --out"),
    ],
)
def test_what_cannot_be_used_is_a_sentence(
    words: list[str], says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "scans").mkdir()
    monkeypatch.chdir(tmp_path / "scans")
    result = CliRunner().invoke(main, ["survey", ".", *words, "--json"])
    assert result.exit_code == 2
    assert says in json.loads(result.stdout)["error"] and says in result.stderr
