"""The page to share from: the plan first, then a file; what is private never gets that far."""

from __future__ import annotations

import html
import io
import re
import time
import zipfile
from collections.abc import Iterator

import pytest

from quirewell.web.app import create_app
from share_case import planted, private_words
from web_client import TestClient

BASE = "http://127.0.0.1:8765"
HOME = "/item/annual/send/share"


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = tmp_path_factory.mktemp("share-page") / "s"
    planted(folder, pairs=3).close()
    with TestClient(create_app(folder, workers=1), base_url=BASE) as client:
        yield client


def shown(page: str) -> str:
    return html.unescape(re.sub(r"<[^>]*>", " ", page))


def form_of(page: str) -> dict[str, str]:
    """The form as a browser would send it untouched."""
    form = {"film": "none"}
    for name in re.findall(r'<input type="checkbox" name="(in:[^"]+)" value="yes" checked', page):
        form[html.unescape(name)] = "yes"
    for name, text in re.findall(r'<textarea[^>]* name="(caption:[^"]+)"[^>]*>([^<]*)<', page):
        form[html.unescape(name)] = html.unescape(text)
    form["title"] = html.unescape(re.search(r'name="title" value="([^"]*)"', page)[1])
    return form


def test_the_plan_says_what_is_in_and_what_is_not(client: TestClient) -> None:
    answer = client.get(HOME)
    said = shown(answer.text)
    assert answer.status_code == 200
    for words in ("Front", "Back cover", "What was done and what remains cannot be left out",
                  "The staples were lifted.", "names and addresses are personal data",
                  "hold pixels only", "look at each picture before it goes"):  # fmt: skip
        assert words in said
    assert "/picture/" in answer.text and "Change of size: width" in said
    assert not [one for one in private_words() if one in said]


def test_send_and_prove_lead_there(client: TestClient) -> None:
    for page in ("send", "prove"):
        assert f'href="{HOME}"' in client.get(f"/item/annual/{page}").text


def wait(client: TestClient) -> None:
    until = time.monotonic() + 120
    while client.get("/item/annual/in-hand.json").json()["running"]:
        assert time.monotonic() < until
        time.sleep(0.2)


def test_it_is_made_and_fetched_as_shown(client: TestClient) -> None:
    form = form_of(client.get(HOME).text)
    form |= {"caption:c.outer.left": "The back, in my own words.", "one_file": "yes"}
    answer = client.post(HOME, data=form, follow_redirects=False)
    assert answer.status_code == 303 and answer.headers["location"] == HOME
    wait(client)
    page = client.get(HOME).text
    link = re.search(rf'href="({HOME}/[0-9a-f]+)\.zip"', page)
    assert link, shown(page)
    packed = client.get(f"{link[1]}.zip")
    assert packed.headers["content-disposition"] == 'attachment; filename="share.zip"'
    with zipfile.ZipFile(io.BytesIO(packed.content)) as zip_:
        names = zip_.namelist()
        captions = zip_.read("share/captions.txt").decode()
    assert "share/index.html" in names and "share/listing.txt" in names
    assert not any("plates" in name or "film" in name for name in names)
    assert "The back, in my own words." in captions
    one = client.get(f"{link[1]}.html")
    assert "attachment" in one.headers["content-disposition"] and "data:image/jpeg" in one.text
    assert "The back, in my own words." in page  # the form begins as it was sent last
    assert client.get(f"{HOME}/0123456789ab.zip").status_code == 404
    assert client.get(f"{HOME}/..%2Fasked.json").status_code == 404


def test_a_name_in_a_caption_is_refused_in_place(client: TestClient) -> None:
    form = form_of(client.get(HOME).text)
    form["caption:c.outer.left"] = "Given by Pellomar Dwyne."
    answer = client.post(HOME, data=form, follow_redirects=False)
    said = shown(answer.text)
    assert answer.status_code == 422
    assert "“Pellomar Dwyne” (the buyer) stands in the caption of Back cover" in said
    assert "Given by Pellomar Dwyne." in said


def test_a_picture_that_came_in_just_now_is_shown_before_it_goes(client: TestClient) -> None:
    page = client.get(HOME).text
    form = {key: text for key, text in form_of(page).items() if "w01" not in key}
    more = re.search(r'name="(in:w01[^"]+)"', page)[1]
    answer = client.post(HOME, data={**form, more: "yes"}, follow_redirects=False)
    assert answer.status_code == 422 and "were not shown yet: Wrap 1" in shown(answer.text)
    assert f'name="{more.replace("in:", "caption:")}"' in answer.text


def test_the_plan_is_looked_at_again_without_making_anything(client: TestClient) -> None:
    before = client.get(HOME).text.count(".zip")
    answer = client.post(f"{HOME}/plan", data={"title": "Another <b>title</b>", "film": "gif"})
    assert answer.status_code == 200 and "Another &lt;b&gt;title&lt;/b&gt;" in answer.text
    assert "No picture is chosen" in answer.text
    assert client.get(HOME).text.count(".zip") == before
