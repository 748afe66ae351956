"""Engines answer alike; a cluster is closed to others; a death costs the culprit only."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from quirewell.jobs import cluster
from quirewell.jobs.cluster import Keys, NoCluster, check_address, local_cluster
from quirewell.jobs.engine import Engine, PoolEngine, SerialEngine

TESTS = Path(__file__).parents[1]


def answers(engine: Engine, calls: list[tuple[str, tuple[object, ...]]]) -> list[tuple[str, str]]:
    for number, (task, arguments) in enumerate(calls):
        engine.submit(f"{number:02d}", task, arguments)
    found = []
    while len(found) < len(calls):
        taken = engine.take(60)
        assert taken is not None
        key, answer = taken
        found.append((key, str(answer.result) if answer.ok else answer.error))
    return sorted(found)


CALLS: list[tuple[str, tuple[object, ...]]] = [
    ("job_tasks.double", (4,)), ("job_tasks.refuse", (3,)), ("job_tasks.blunder", ()),
    ("no.such", ()), ("job_tasks.double", (4,)),
]  # fmt: skip


def test_all_engines_answer_alike() -> None:
    with SerialEngine() as serial, PoolEngine(2) as pool:
        said = answers(serial, CALLS)
        assert answers(pool, CALLS) == said
        assert serial.take(0.01) is None and pool.take(0.01) is None
    assert said[0] == ("00", "8") and "cut short" in said[1][1]
    script = "print(json.dumps(test_cluster.answers(engine, test_cluster.CALLS)))"
    assert [tuple(one) for one in on_cluster(script)] == said


def on_cluster(script: str, workers: int = 2) -> list[list[str]]:
    """What a script prints that works with a local cluster, in a process of its own."""
    made = subprocess.run(
        [sys.executable, "-W", "error::ResourceWarning", "-c", f"""
import json, sys
sys.path.insert(0, {str(TESTS / "jobs")!r})
import test_cluster
from quirewell.jobs.cluster import local_cluster
if __name__ == "__main__":
    with local_cluster({workers}) as engine:
        {script}
"""],
        capture_output=True, text=True, timeout=300, check=False,
        env=os.environ | {"PYTHONPATH": str(TESTS)},
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    assert made.stderr == ""
    return json.loads(made.stdout)  # type: ignore[no-any-return]


@pytest.mark.slow
def test_who_kills_a_worker_twice_fails_alone_and_in_words(tmp_path: Path) -> None:
    calls = [("job_tasks.double", (n,)) for n in range(6)]
    calls[2:2] = [("job_tasks.die", ()), ("job_tasks.die_once", (str(tmp_path / "mark"),))]
    found = on_cluster(f"print(json.dumps(test_cluster.answers(engine, {calls!r})))")
    said = [text for _, text in found]
    assert "died twice" in said[2] and said[3] == "alive"
    assert [said[i] for i in (0, 1, 4, 5, 6, 7)] == ["0", "2", "4", "6", "8", "10"]


@pytest.mark.slow
def test_a_cluster_listens_on_loopback_only_and_lets_nobody_in_without_its_keys() -> None:
    script = """
        import psutil, distributed
        me = psutil.Process()
        ports = [c.laddr.ip for p in (me, *me.children(recursive=True))
                 for c in p.net_connections() if c.status == "LISTEN"]
        address = engine._cluster.scheduler_address
        try:
            distributed.Client(address.replace("tls", "tcp"), timeout=3, set_as_default=False)
            came_in = "yes"
        except Exception as error:
            came_in = "no"
        engine.submit("a", "quirewell.jobs.cluster.is_limited", ())
        engine.submit("b", "resource.getrlimit", (9,))
        limits = dict(engine.take(30) for _ in range(2))
        print(json.dumps([sorted(set(ports)), address[:16], came_in, limits["a"].result,
                          limits["b"].result[0] > 0]))"""
    ports, address, came_in, limited, capped = on_cluster(script)
    assert ports == ["127.0.0.1"] and address == "tls://127.0.0.1:"  # type: ignore[comparison-overlap]
    assert came_in == "no" and limited is True and capped is True  # type: ignore[comparison-overlap]


@pytest.mark.parametrize(
    ("address", "word"),
    [
        ("tcp://bench-two:8786", "not encrypted"),
        ("tcp://192.168.1.7:8786", "--trust-network"),
        ("tcp://0.0.0.0:8786", "not encrypted"),
        ("tcp://127.0.0.1.example:8786", "not encrypted"),
        ("tls://bench-two:8786", "needs certificates"),
        ("bench-two:8786", "looks like tcp://"),
        ("inproc://1/2", "looks like tcp://"),
        ("tcp://127.0.0.1", "looks like tcp://"),
        ("tcp://127.0.0.1:99999", "looks like tcp://"),
        ("", "looks like tcp://"),
    ],
)
def test_an_address_that_is_open_to_others_is_refused(address: str, word: str) -> None:
    with pytest.raises(NoCluster, match=word):
        check_address(address, None)


def test_loopback_and_a_trusted_network_are_taken(tmp_path: Path) -> None:
    for address in ("tcp://127.0.0.1:8786", "tcp://localhost:8786", "tcp://[::1]:8786"):
        check_address(address, None)
    check_address("tcp://bench-two:8786", None, trusted=True)
    keys = Keys(*(tmp_path / name for name in ("ca.pem", "cert.pem", "key.pem")))
    with pytest.raises(NoCluster, match="there is no file"):
        check_address("tls://bench-two:8786", keys)
    for path in (keys.ca, keys.cert, keys.key):
        path.touch()
    check_address("tls://bench-two:8786", keys)
    with pytest.raises(NoCluster, match="not encrypted; give the scheduler's tls"):
        check_address("tcp://127.0.0.1:8786", keys)


def test_workers_that_do_not_start_are_told_with_what_was_first_amiss(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """dask itself says only that a process of its own failed to start."""

    def fails(**_: object) -> None:
        try:
            raise OSError("no more processes are allowed")
        except OSError as error:
            raise RuntimeError("Nanny failed to start.") from error

    made = cluster._distributed()
    monkeypatch.setattr(made, "LocalCluster", fails)
    with pytest.raises(NoCluster, match="no more processes are allowed; give the command again"):
        local_cluster(1)
