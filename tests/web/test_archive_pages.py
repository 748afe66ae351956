"""The pages for archives: what goes in is what was said, and a changed file is named."""

from __future__ import annotations

import html
import re
import time
import zipfile
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

from archive_case import CLIENT_NOTE, OWNER, PRICE, archive_studio
from quirewell.exchange.archive_plan import plan_archive
from quirewell.exchange.look_over import check_archive
from quirewell.record import nouns
from quirewell.studio.studio import Studio
from quirewell.web import archives
from quirewell.web.app import create_app
from report_case import add
from web_client import TestClient

HOME, ITEM = "/backups/archive", "/item/annual/send/archive"


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = tmp_path_factory.mktemp("archived") / "larkmoor"
    archive_studio(folder).close()
    with TestClient(create_app(folder, workers=1), base_url="http://127.0.0.1:8765") as made:
        made.folder = folder  # type: ignore[attr-defined]
        yield made


def studio_of(client: TestClient) -> Studio:
    return Studio.open(client.folder)  # type: ignore[attr-defined]


def settled(client: TestClient) -> str:
    """Wait until nothing is in hand; what was said last."""
    for _ in range(400):
        told = client.get(f"{HOME}/in-hand.json").json()
        if not told["running"]:
            return str(told["says"])
        time.sleep(0.05)
    raise AssertionError("the archive was not made")


def made(client: TestClient, page: str, **form: str) -> str:
    """Make an archive by its page; its name."""
    assert client.post(page, data={"licence": "", **form}).status_code == 200
    settled(client)
    found = re.search(rf"{HOME}/([0-9a-f]{{12}})\.zip", client.get(page).text)
    assert found is not None, client.get(page).text
    return found[1]


def plain(page: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", page)))


def test_the_whole_studio_is_said_made_fetched_and_checked(
    client: TestClient, tmp_path: Path
) -> None:
    with studio_of(client) as studio:
        plan, head = plan_archive(studio), studio.head()
    page = plain(client.get(HOME).text)
    assert f"Journal entries {plan.entries}, all of them" in page
    assert "Everything private goes along" in page
    name = made(client, HOME)
    answer = client.get(f"{HOME}/{name}.zip")
    assert answer.headers["content-type"] == "application/zip"
    assert answer.headers["content-disposition"].startswith('attachment; filename="larkmoor-20')
    (tmp_path / "got.zip").write_bytes(answer.content)
    looked = check_archive(tmp_path / "got.zip")
    assert looked.ok and looked.said.head == head and looked.entries == plan.entries
    with zipfile.ZipFile(tmp_path / "got.zip") as held:
        kept = [one for one in held.infolist() if "/data/originals/" in one.filename]
    assert (len(kept), sum(one.file_size for one in kept)) == (
        plan.originals.count, plan.originals.bytes,
    )  # fmt: skip
    page = plain(client.get(HOME).text)
    assert head in page and "where the journal stands now" in page
    client.post(f"{HOME}/{name}/check", data={"back": HOME})
    settled(client)
    assert archives.WELL in plain(client.get(HOME).text)
    client.post(f"{HOME}/{name}/away", data={"back": HOME})
    assert client.get(f"{HOME}/{name}.zip").status_code == 404


def test_an_archive_of_one_item_withholds_what_is_private_unless_asked(client: TestClient) -> None:
    with studio_of(client) as studio:
        open_plan = plan_archive(studio, "annual")
        whole_plan = plan_archive(studio, "annual", with_private=True)
    assert open_plan.withheld > 0 and whole_plan.withheld == 0 and whole_plan.private > 0
    page = plain(client.get(ITEM).text)
    assert f"{open_plan.withheld} withheld, in part or whole" in page
    assert "the PDFs of reports, since they name the owner" in page
    for private, plan in (("", open_plan), ("yes", whole_plan)):
        name = made(client, ITEM, private=private)
        with studio_of(client) as studio:
            path = archives.path_of(studio, name)
        assert path is not None
        with zipfile.ZipFile(path) as held:
            text = b"".join(held.read(one) for one in held.namelist() if "originals" not in one)
            kept = [one for one in held.infolist() if "/data/originals/" in one.filename]
        for word in (OWNER, CLIENT_NOTE, PRICE):
            assert (word.encode() in text) is bool(private), word
        assert len(kept) == plan.originals.count
        assert sum(one.file_size for one in kept) == plan.originals.bytes
    assert {one.item for one in archives.waiting(studio, "annual")} == {"annual"}


def test_a_changed_file_is_named(client: TestClient) -> None:
    name = made(client, HOME)
    with studio_of(client) as studio:
        path = archives.path_of(studio, name)
    assert path is not None
    with zipfile.ZipFile(path) as held:
        one = next(one for one in held.infolist() if one.filename.endswith("data/README.txt"))
        begins = held.read(one)[:40]
    data = bytearray(path.read_bytes())
    at = bytes(data).index(begins, one.header_offset)
    data[at + 3] ^= 1
    path.write_bytes(data)
    client.post(f"{HOME}/{name}/check", data={"back": HOME})
    settled(client)
    page = plain(client.get(HOME).text)
    assert (
        "Not well" in page
        and "data/README.txt cannot be read (its check sum does not fit: changed)." in page
    )
    assert "do not rely on this one" in page
    path.write_bytes(b"no zip file")
    client.post(f"{HOME}/{name}/check", data={"back": HOME})
    settled(client)
    assert "is no zip file, or is cut short" in plain(client.get(HOME).text)
    client.post(f"{HOME}/seen", data={"back": HOME})
    archives.throw_away(studio, name)


def test_a_name_in_free_words_is_told_before(client: TestClient) -> None:
    with studio_of(client) as studio:
        note = nouns.Reading(
            "named", "w01", "pH", Decimal("5.1"), "pH", note=f"{OWNER} was here", as_typed="5.1"
        )
        add(studio, "annual", ("reading.taken", note))
        last = studio.events("annual")[-1].seq
        plan = plan_archive(studio, "annual")
    assert plan.names == (f"entry {last}, reading.taken, note: the owner",)
    page = plain(client.get(ITEM).text)
    assert "Free words hold a name" in page and plan.names[0] in page


def test_only_the_newest_few_wait_and_a_half_made_one_goes(client: TestClient) -> None:
    names = [made(client, HOME) for _ in range(archives.MOST_KEPT + 1)]
    with studio_of(client) as studio:
        kept = [one.name for one in archives.waiting(studio)]
        half = archives.home(studio) / "0123456789ab"
        half.mkdir()
        (half / ".x.part").write_bytes(b"half")
        assert len(kept) == archives.MOST_KEPT and names[0] not in kept and names[-1] in kept
        assert half.name not in [one.name for one in archives.waiting(studio)]
    made(client, HOME)
    assert not half.exists()


def test_no_room_and_nonsense_are_sentences(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = client.post(HOME, data={"licence": "x" * 201})
    assert answer.status_code == 422 and "200 signs at the most" in answer.text
    monkeypatch.setattr(archives, "free_bytes", lambda folder: 10)
    for page in (HOME, ITEM):
        answer = client.post(page, data={"licence": ""})
        assert answer.status_code == 422 and "10 bytes free" in answer.text
        assert "by the command below" in answer.text
    for name in ("0" * 12, "..", "made.json", "0123456789AB"):
        assert client.get(f"{HOME}/{name}.zip").status_code == 404
        answer = client.post(f"{HOME}/{name}/check", data={"back": HOME})
        assert answer.status_code in (404, 405)
    assert client.get("/item/nothing/send/archive").status_code == 404


def test_show_mode_gives_none_out(client: TestClient) -> None:
    name = made(client, HOME)
    for path in (HOME, f"{HOME}/{name}.zip", f"{HOME}/in-hand.json"):
        answer = client.get(path, headers={"Cookie": "quirewell-show=yes"})
        assert answer.status_code == 403 and len(answer.content) < 20_000
