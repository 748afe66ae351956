"""``quirewell serve``: loopback only, a sentence when it cannot, a graceful end."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

from click.testing import CliRunner

from quirewell.cli.serve import bind, serve
from quirewell.studio.studio import Studio


def test_a_port_in_use_is_a_sentence(tmp_path: Path) -> None:
    Studio.create(tmp_path / "studio").close()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(serve, ["--studio", str(tmp_path / "studio"), "--port", port])
    assert result.exit_code == 1
    assert f"port {port} is in use" in result.output and "--port" in result.output


def test_a_folder_without_a_studio_is_a_sentence(tmp_path: Path) -> None:
    result = CliRunner().invoke(serve, ["--studio", str(tmp_path)])
    assert result.exit_code == 1
    assert "there is no studio in" in result.output


def test_it_listens_on_the_loopback_address_only() -> None:
    with bind(0) as listening:
        assert listening.getsockname()[0] == "127.0.0.1"


def test_it_serves_and_ends_when_told(tmp_path: Path) -> None:
    Studio.create(tmp_path / "studio", "Larkmoor paper bench").close()
    run = "from quirewell.cli.serve import serve; serve()"
    server = subprocess.Popen(
        [sys.executable, "-c", run, "--studio", str(tmp_path / "studio"), "--port", "0"],
        stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert server.stderr is not None
        address = re.search(r"http://127\.0\.0\.1:\d+/", server.stderr.readline())
        assert address is not None
        direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        with direct.open(address[0], timeout=20) as page:
            assert "Larkmoor paper bench" in page.read().decode()
        server.send_signal(signal.SIGTERM)
        out, said = server.communicate(timeout=20)
    finally:
        server.kill()
    assert (server.returncode, out) == (0, "")
    assert "The studio is closed." in said
