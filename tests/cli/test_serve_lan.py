"""``quirewell serve --lan`` as started from the command line: two doors, one by TLS only."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner

from lan_studio import CHEAP, WORDS
from quirewell.cli.main import main
from quirewell.cli.serve import serve
from quirewell.studio.keys import KEYS, keys_folder
from quirewell.studio.studio import Studio
from quirewell.web.addresses import BadAddress, check_address, check_name, own_addresses
from quirewell.web.passphrase import kept_passphrase, matches, set_passphrase

OWN = own_addresses()
needs_network = pytest.mark.skipif(not OWN, reason="this machine has no address on a network")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    Studio.create(tmp_path / "studio", "Larkmoor paper bench").close()
    return tmp_path / "studio"


@dataclass
class Running:
    lines: list[str]
    port: int
    process: subprocess.Popen[str]

    def stop(self) -> str:
        self.process.send_signal(signal.SIGTERM)
        return self.process.communicate(timeout=30)[1]

    def end(self) -> None:
        """Whatever became of it, nothing is left running."""
        if self.process.poll() is None:
            self.process.kill()
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()
        self.process.wait()


def start(folder: Path, *options: str) -> Running:
    run = "from quirewell.cli.serve import serve; serve()"
    process = subprocess.Popen(
        [sys.executable, "-c", run, "--studio", str(folder), "--port", "0", "--lan", *options],
        stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert process.stderr is not None
    lines = []
    for line in process.stderr:
        lines.append(line.rstrip("\n"))
        if "kitchen timer" in line:
            break
    found = re.search(r"http://127\.0\.0\.1:(\d+)/", lines[0])
    assert found is not None, lines
    return Running(lines, int(found[1]), process)


@pytest.fixture
def running(folder: Path) -> Iterator[Running]:
    set_passphrase(folder, WORDS, n=CHEAP)
    made = start(folder)
    yield made
    made.end()


def status(url: str, context: ssl.SSLContext | None = None, **headers: str) -> int:
    asked = urllib.request.Request(
        url, headers={k.replace("_", "-"): v for k, v in headers.items()}
    )
    handlers = [urllib.request.ProxyHandler({}), urllib.request.HTTPSHandler(context=context)]
    try:
        with urllib.request.build_opener(*handlers).open(asked, timeout=30) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code


@needs_network
def test_two_doors_and_the_network_has_no_plain_one(folder: Path, running: Running) -> None:
    plain, tablets = f"http://127.0.0.1:{running.port}/", f"https://{OWN[0]}:{running.port}/"
    text = "\n".join(running.lines)
    assert tablets in text and f"{tablets}trust" in text and "certificate is new" in text
    with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(
        f"{plain}trust/certificate.crt", timeout=30
    ) as answer:
        der = answer.read()
    trusted = ssl.create_default_context(cadata=der)
    import hashlib

    shown = " ".join(re.findall(r"^  ((?:[0-9A-F]{2} ?){8})$", text, re.M))
    assert bytes.fromhex(shown) == hashlib.sha256(der).digest()
    script = {"Accept": "application/json"}
    assert status(plain) == 200
    assert status(tablets, trusted, **script) == 401
    assert status(f"{tablets}trust", trusted) == 200
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        status(tablets, ssl.create_default_context())
    # The machine's own door is on the loopback address alone, and believes no forwarded header.
    with pytest.raises((urllib.error.URLError, ConnectionError)):
        status(f"http://{OWN[0]}:{running.port}/")
    with pytest.raises((urllib.error.URLError, ConnectionError)):
        status(f"https://127.0.0.1:{running.port}/", trusted)
    forwarded = {"X_Forwarded_Proto": "https", "X_Forwarded_For": OWN[0]}
    assert status(plain, **forwarded) == 200
    assert status(tablets, trusted, X_Forwarded_For="127.0.0.1", **script) == 401
    said = running.stop()
    assert running.process.returncode == 0 and said.endswith("The studio is closed.\n")
    assert "Traceback" not in said


@needs_network
def test_a_tablet_stays_signed_in_when_the_studio_starts_again(
    folder: Path, running: Running
) -> None:
    der = urllib.request.build_opener(urllib.request.ProxyHandler({})).open(
        f"http://127.0.0.1:{running.port}/trust/certificate.crt", timeout=30
    )
    with der:
        trusted = ssl.create_default_context(cadata=der.read())
    tablets = f"https://{OWN[0]}:{running.port}/"
    jar = urllib.request.HTTPCookieProcessor()
    opener = urllib.request.build_opener(
        urllib.request.ProxyHandler({}), urllib.request.HTTPSHandler(context=trusted), jar
    )
    form = f"passphrase={WORDS.replace(' ', '+')}".encode()
    with opener.open(f"{tablets}in", form, timeout=60) as page:
        assert page.status == 200
    (cookie,) = jar.cookiejar
    running.stop()
    again = start(folder)
    try:
        assert not any("is new" in line for line in again.lines)
        held = {"Accept": "application/json", "Cookie": f"{cookie.name}={cookie.value}"}
        url = f"https://{OWN[0]}:{again.port}/"
        assert status(url, trusted, **held) == 200
    finally:
        again.end()


def test_without_a_passphrase_nothing_is_opened(folder: Path) -> None:
    result = CliRunner().invoke(serve, ["--studio", str(folder), "--port", "0", "--lan"])
    assert result.exit_code == 1
    wanted = "quirewell studio passphrase" if OWN else "no address on a house network"
    assert wanted in result.output
    assert not (folder / KEYS / "authority.pem").exists()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--name", "bench.local"], "belong to --lan"),
        (["--address", "192.168.1.20"], "belong to --lan"),
        (["--lan", "--address", "0.0.0.0"], "not one machine"),
        (["--lan", "--address", "127.0.0.1"], "not one machine"),
        (["--lan", "--address", "8.8.8.8"], "open internet"),
        (["--lan", "--address", "192.168.1"], "is no address"),
        (["--lan", "--address", "10.254.253.252"], "not an address of this machine"),
        (["--lan", "--address", "10.0.0.1", "--name", "bench local"], "no name"),
        (["--alarm-command", "no-such-program-here"], "no program"),
    ],
)
def test_what_cannot_be_is_a_sentence(folder: Path, options: list[str], says: str) -> None:
    result = CliRunner().invoke(serve, ["--studio", str(folder), "--port", "0", *options])
    assert result.exit_code != 0 and says in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    "text", ["", "8.8.8.8", "::1", "::", "0.0.0.0", "127.9.9.9", "224.0.0.1", "2606:4700::1", "a.b"]
)
def test_addresses_that_are_never_served(text: str) -> None:
    with pytest.raises(BadAddress):
        check_address(text)


@pytest.mark.parametrize(
    "text", ["192.168.1.20", "10.1.2.3", "172.31.0.9", "fd00::2", "100.64.0.9"]
)
def test_addresses_of_a_house(text: str) -> None:
    assert check_address(f" {text} ") == text


@pytest.mark.parametrize(
    "text", ["", "a b", "-a.local", "localhost", "x.localhost", "10.0.0.1", "a..b", "ä.local",
             "a/b", "evil.example:80", "x" * 64, "*.local"],
)  # fmt: skip
def test_names_that_no_browser_could_ask_for(text: str) -> None:
    with pytest.raises(BadAddress):
        check_name(text)


def test_names_are_made_plain() -> None:
    assert check_name("Bench.Local.") == "bench.local"


def test_a_script_sets_the_passphrase(folder: Path) -> None:
    command = ["studio", "passphrase", str(folder), "--stdin", "--json"]
    result = CliRunner().invoke(main, command, input=f"{WORDS}\nsecond line\n")
    assert result.exit_code == 0 and json.loads(result.stdout)["set"] is True
    assert WORDS not in result.output
    kept = kept_passphrase(folder)
    assert kept is not None and matches(kept, WORDS)
    assert kept.n >= 1 << 17
    refused = CliRunner().invoke(main, command, input="short\n")
    assert refused.exit_code == 2 and "at least 12" in json.loads(refused.stdout)["error"]
    assert kept_passphrase(folder) == kept


def test_guests_get_a_passphrase_of_their_own_and_lose_it(folder: Path) -> None:
    set_passphrase(folder, WORDS, n=CHEAP)
    command = ["studio", "passphrase", str(folder), "--guest", "--json"]
    refused = CliRunner().invoke(main, [*command, "--stdin"], input=f"{WORDS}\n")
    assert refused.exit_code == 2 and "of their own" in json.loads(refused.stdout)["error"]
    assert kept_passphrase(folder, guest=True) is None
    result = CliRunner().invoke(main, [*command, "--stdin"], input="willow brick candle moss\n")
    assert result.exit_code == 0 and "Every guest is to sign in" in result.stdout
    assert kept_passphrase(folder, guest=True) is not None
    for says in ("let in no more", "nothing is changed"):
        gone = CliRunner().invoke(main, [*command, "--none"])
        assert gone.exit_code == 0 and says in json.loads(gone.stdout)["says"]
    kept = kept_passphrase(folder)
    assert kept is not None and matches(kept, WORDS)
    alone = CliRunner().invoke(main, ["studio", "passphrase", str(folder), "--none"])
    assert alone.exit_code == 2 and "belongs to --guest" in alone.output
    assert kept_passphrase(folder) == kept


def test_asks_twice_and_shows_nothing(folder: Path) -> None:
    typed = f"short\n{WORDS}\nnot the same words\n{WORDS}\n{WORDS}\n"
    result = CliRunner().invoke(main, ["studio", "passphrase", str(folder)], input=typed)
    assert result.exit_code == 0, result.output
    assert "at least 12" in result.output and "The two differ" in result.output
    assert WORDS not in result.output and "The passphrase is set" in result.output


def test_no_passphrase_for_a_folder_that_is_no_studio(tmp_path: Path) -> None:
    result = CliRunner().invoke(
        main, ["studio", "passphrase", str(tmp_path), "--stdin"], input=f"{WORDS}\n"
    )
    assert result.exit_code == 2 and "there is no studio" in result.output
    assert not (tmp_path / KEYS).exists()


def test_keys_are_made_for_their_owner_whatever_the_mask(folder: Path) -> None:
    before = os.umask(0)
    try:
        set_passphrase(folder, WORDS, n=CHEAP)
    finally:
        os.umask(before)
    assert keys_folder(folder).stat().st_mode & 0o077 == 0
    assert all(one.stat().st_mode & 0o077 == 0 for one in keys_folder(folder).iterdir())


@needs_network
def test_a_taken_port_on_the_network_is_a_sentence(folder: Path) -> None:
    set_passphrase(folder, WORDS, n=CHEAP)
    with socket.socket() as taken:
        taken.bind((OWN[0], 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(serve, ["--studio", str(folder), "--port", port, "--lan"])
    assert result.exit_code == 1 and f"port {port} is in use" in result.output
