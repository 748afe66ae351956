"""An S3-compatible server on the loopback address for a test, and its credentials (made up)."""

from __future__ import annotations

import os
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[1]
SERVER = ROOT / ".venv-peers/bin/moto_server"
BUCKET = "larkmoor"
START_S = 60.0


def free_port() -> int:
    """A port of the loopback address that nobody listens on just now."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def credentials(port: int) -> dict[str, str]:
    """The environment in which a client finds the server, and nothing of this machine's own."""
    nowhere = "/nonexistent"
    return {
        "AWS_ACCESS_KEY_ID": "made-up", "AWS_SECRET_ACCESS_KEY": "made-up",
        "AWS_DEFAULT_REGION": "us-east-1", "AWS_ENDPOINT_URL": f"http://127.0.0.1:{port}",
        "AWS_CONFIG_FILE": nowhere, "AWS_SHARED_CREDENTIALS_FILE": nowhere,
        "AWS_EC2_METADATA_DISABLED": "true",
    }  # fmt: skip


@contextmanager
def s3_server(log: Path, port: int = 0) -> Iterator[int]:
    """The server, ready; its port. Ended by its own process id."""
    port = port or free_port()
    with log.open("wb") as out:
        process = subprocess.Popen(
            [str(SERVER), "-H", "127.0.0.1", "-p", str(port)], stdout=out, stderr=out,
            env={**os.environ, **credentials(port)},
        )  # fmt: skip
    try:
        _wait(process, port)
        yield port
    finally:
        process.kill()
        process.wait()


def _wait(process: subprocess.Popen[bytes], port: int) -> None:
    until = time.monotonic() + START_S
    while time.monotonic() < until:
        if process.poll() is not None:
            raise AssertionError(f"the server ended with {process.returncode}")
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/moto-api/", timeout=2).close()
            return
        except OSError:
            time.sleep(0.2)
    raise AssertionError("the server did not answer")
