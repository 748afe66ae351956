"""``quirewell studio links``: what it makes opens at once, and what it takes back does not."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from lan_studio import HandClock
from quirewell.cli.main import main
from quirewell.studio.clock import now
from quirewell.web.links import Links
from visitors import ITEM, OTHER, PAGE, Visited, planted_studio, visited

LAN = ("--port", "8765", "--address", "192.168.1.20")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visited]:
    folder = tmp_path_factory.mktemp("linked") / "studio"
    planted_studio(folder)
    made = visited(folder)
    made.clock.at = now()  # a command goes by the machine's own clock
    with made.machine:
        yield made


def run(folder: Path, *words: str, fails: bool = False) -> Any:
    result = CliRunner().invoke(main, ["studio", "links", str(folder), *words, "--json"])
    assert (result.exit_code != 0) is fails, result.output
    return json.loads(result.stdout)


def opens(house: Visited, address: str) -> int:
    """What somebody who follows an address gets at the end."""
    client = house.stranger("192.168.1.91")
    answer = client.get("/seen/" + address.partition("/seen/")[2], headers=PAGE)
    if answer.status_code != 303 or "/report/read" not in answer.headers["location"]:
        return answer.status_code
    return client.get(answer.headers["location"], headers=PAGE).status_code


def test_a_link_is_made_listed_opened_and_taken_back_while_the_studio_is_served(
    house: Visited,
) -> None:
    folder = house.lan.studio
    told = run(folder, "--make", ITEM, "--days", "30", "--for", "Q. L.", *LAN)
    assert told["address"].startswith("https://192.168.1.20:8765/seen/")
    made = told["made"]
    assert (made["item"], made["name"], made["stands"], made["used"]) == (ITEM, "Q. L.", True, "")
    assert opens(house, told["address"]) == 200
    listed = {one["id"]: one for one in run(folder)["links"]}
    assert listed[made["id"]]["used"] and "token" not in listed[made["id"]]
    assert told["address"].partition("/seen/")[2] not in json.dumps(run(folder))
    assert made["id"] in house.machine.get(f"/item/{ITEM}/send/link").text
    assert run(folder, "--take-back", made["id"])["taken_back"] == made["id"]
    assert opens(house, told["address"]) in (303, 404)
    house.lan.links.settle()  # what the server held does not bring it back
    assert made["id"] not in [one["id"] for one in run(folder)["links"]]
    assert opens(house, told["address"]) in (303, 404)


def test_what_the_server_made_is_listed_and_taken_back_by_the_command(house: Visited) -> None:
    token, made = house.lan.links.make(OTHER, "3", "by the page")
    found = next(one for one in run(house.lan.studio)["links"] if one["id"] == made.id)
    assert (found["item"], found["name"]) == (OTHER, "by the page")
    assert opens(house, f"/seen/{token}") == 200
    run(house.lan.studio, "--take-back", made.id)
    assert opens(house, f"/seen/{token}") in (303, 404)


def test_a_link_may_be_made_while_the_studio_is_not_served(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    planted_studio(folder)
    told = run(folder, "--make", "Thrushfield Show Book", "--name", "bench.local", *LAN[2:])
    assert told["address"].startswith("https://bench.local:8765/seen/")
    assert (told["made"]["item"], told["made"]["stands"]) == (OTHER, True)
    house = visited(folder)
    house.clock.at = now()
    with house.machine:
        assert opens(house, told["address"]) == 200
    plain = CliRunner().invoke(main, ["studio", "links", str(folder)])
    assert "Thrushfield Show Book: made 20" in plain.stdout and "last used 20" in plain.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--make", "nothing"), "there is no item 'nothing'"),
        (("--make", ITEM, "--days", "91", *LAN), "no number of days from 1 to 90"),
        (("--make", ITEM, "--address", "8.8.8.8"), "open internet"),
        (("--make", ITEM, "--take-back", "x"), "one after the other"),
        (("--days", "3"), "belong to --make"),
        (("--take-back", "nothing"), "there is no link 'nothing'"),
    ],
)
def test_what_does_not_go_is_a_sentence_and_changes_nothing(
    house: Visited, words: tuple[str, ...], says: str
) -> None:
    before = run(house.lan.studio)
    result = CliRunner().invoke(main, ["studio", "links", str(house.lan.studio), *words])
    assert result.exit_code != 0 and says in result.stderr
    assert run(house.lan.studio) == before


def test_two_who_make_links_at_once_lose_none(tmp_path: Path) -> None:
    holders = [Links(tmp_path, HandClock()) for _ in range(3)]

    def make(held: Links) -> None:
        for _ in range(12):
            held.make("annual", "3")

    threads = [threading.Thread(target=make, args=(held,)) for held in holders]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(Links(tmp_path, HandClock()).all()) == 36
    assert [len(held.all()) for held in holders] == [36] * 3


def test_a_file_that_is_damaged_or_gone_opens_nothing(tmp_path: Path) -> None:
    held = Links(tmp_path, HandClock())
    token, _ = held.make("annual", "3")
    assert held.find(token) is not None
    (tmp_path / "keys" / "links.json").write_text("[{")
    assert held.find(token) is None
    token, _ = held.make("annual", "3")
    assert held.find(token) is not None
    (tmp_path / "keys" / "links.json").unlink()
    assert held.find(token) is None
