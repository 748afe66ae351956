"""Copies of a report for guests and owners: a PDF without anything private, written once."""

from __future__ import annotations

import html
import re
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from quirewell.report import copies as written
from quirewell.report.copies import Withheld, taken_out
from quirewell.report.typeset import ReportError
from quirewell.web import copies
from quirewell.web.limits import Limits
from quirewell.web.routes import copy as route
from quirewell.web.show_hide import MARK
from report_case import text_of
from share_case import UNIT, private_words
from visitors import ITEM, OTHER, PAGE, Visited, planted_studio, visited
from web_client import TestClient

FORMS = ("short", "full")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visited]:
    folder = tmp_path_factory.mktemp("copied") / "studio"
    planted_studio(folder)
    made = visited(folder)
    with made.machine:
        yield made


def path_of(form: str, item: str = ITEM) -> str:
    return f"/item/{item}/report/copy/{form}.pdf"


def laid_out(pdf: Path) -> str:
    """The text of a PDF as its lines lie on the pages."""
    found = subprocess.run(
        ["pdftotext", "-layout", str(pdf), "-"], capture_output=True, check=True, text=True
    )
    return found.stdout


def unhurried(house: Visited, monkeypatch: pytest.MonkeyPatch) -> None:
    """As if nobody had asked for a copy yet."""
    limits = Limits(house.clock.seconds, copies.ONE, copies.ALL)
    monkeypatch.setattr(house.app.state.copies, "limits", limits)


def words_of(client: TestClient, path: str, folder: Path) -> str:
    """The text of a copy as a reader of PDF takes it out."""
    answer = client.get(path, headers=PAGE)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"].startswith("attachment")
    place = folder / "copy.pdf"
    place.write_bytes(answer.content)
    return text_of(place)


@pytest.mark.parametrize("form", FORMS)
def test_owner_guest_and_show_mode_get_one_file_with_nothing_private_in_it(
    house: Visited, tmp_path: Path, form: str
) -> None:
    owner, guest = house.owner(), house.guest()
    text = words_of(owner, path_of(form), tmp_path)
    again = words_of(guest, path_of(form), tmp_path)
    assert text == again
    answer = house.machine.get(path_of(form), headers={"Cookie": "quirewell-show=yes"})
    assert answer.status_code == 200 and answer.content == (tmp_path / "copy.pdf").read_bytes()
    assert [one for one in private_words() if one in text] == []
    assert re.findall(rf"\d[\d.,\s]*{UNIT}|{UNIT}\s*\d", text) == []
    assert b"Larkmoor," not in answer.content and b"Quillan" not in answer.content
    assert "Names and prices are taken out" in text
    assert guest.get(path_of(form), headers=PAGE).headers["cache-control"] == "no-store"


def test_the_same_words_are_withheld_as_on_the_page(house: Visited, tmp_path: Path) -> None:
    """What the page says with marks, the copy says with marks; and the words around them stay."""
    owner = house.owner()
    page = owner.get(f"/item/{ITEM}/report/read", headers=PAGE).text
    text = words_of(owner, path_of("full"), tmp_path)
    said = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", page)))
    assert f"Owner {MARK}" in said
    assert re.search(rf"Owner +{MARK}", laid_out(tmp_path / "copy.pdf"))
    assert text.count(MARK) >= said.count(MARK) > 3
    for words in ("Surface cleaning", "permanent", "Copperbeck Garden Annual"):
        assert (words in text) is (words in said), words
    assert "leads here" not in text and "Where every number comes from" not in text


def test_the_bare_report_holds_what_is_taken_out(house: Visited, tmp_path: Path) -> None:
    """So that the tests above look for something that could be there."""
    studio = house.app.state.house.studio
    none = Withheld(lambda texts: texts, lambda svg: svg, lambda texts: False)
    place = tmp_path / "bare.pdf"
    place.write_bytes(written.copy_of("full", studio, ITEM, none))
    text = text_of(place)
    assert [one for one in private_words() if one in text] != []


def test_nothing_is_recorded_and_a_second_asking_writes_nothing(
    house: Visited, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio, owner = house.app.state.house.studio, house.owner()
    head, reports = studio.head(), studio.state(ITEM).reports
    assert owner.get(path_of("short"), headers=PAGE).status_code == 200
    monkeypatch.setattr(copies, "copy_of", lambda *_, **__: 1 / 0)
    assert owner.get(path_of("short"), headers=PAGE).status_code == 200
    assert studio.head() == head and studio.state(ITEM).reports == reports


def test_what_could_not_be_taken_out_for_sure_is_refused(
    house: Visited, monkeypatch: pytest.MonkeyPatch
) -> None:
    never = Withheld(lambda texts: texts, lambda svg: svg, lambda texts: True)
    with pytest.raises(ReportError, match="for sure"):
        taken_out({"a": "x"}, never, ())
    monkeypatch.setattr(copies, "withheld_by", lambda hidden: never)
    unhurried(house, monkeypatch)
    answer = house.owner(OTHER).get(path_of("short", OTHER), headers=PAGE)
    assert answer.status_code == 409 and "nothing is given out" in answer.text
    answer = house.machine.get(path_of("short", OTHER))
    assert answer.status_code == 409 and "could not be taken out of it for sure" in answer.text


def test_a_visitor_holds_one_piece_of_work_and_no_more(
    house: Visited, monkeypatch: pytest.MonkeyPatch
) -> None:
    go, begun = threading.Event(), []

    def slow(form: str, studio: object, item: str, *_: object, **__: object) -> bytes:
        begun.append((item, form))
        go.wait(20)
        return b"%PDF-1.7 slow"

    monkeypatch.setattr(copies, "copy_of", slow)
    monkeypatch.setattr(route, "WAITED_S", 0.3)
    monkeypatch.setattr(copies, "__version__", "another")
    owner, guest = house.owner(), house.guest()
    for _ in range(3):
        answer = owner.get(path_of("short"), headers=PAGE)
        assert answer.status_code == 202 and "The copy is being written" in answer.text
    for client, path in ((owner, path_of("full")), (guest, path_of("short", OTHER))):
        answer = client.get(path, headers=PAGE)
        assert answer.status_code == 429 and "Come again in a minute" in answer.text
        assert answer.headers["retry-after"] == "60"
    assert begun == [(ITEM, "short")]
    go.set()
    held = house.app.state.house.desk.held(copies.DESK)
    held.end(10)
    assert owner.get(path_of("short"), headers=PAGE).content == b"%PDF-1.7 slow"


def test_how_often_one_is_begun_is_counted_for_visitors_and_not_for_the_machine(
    house: Visited, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(copies, "copy_of", lambda *_, **__: b"%PDF-1.7 quick")
    unhurried(house, monkeypatch)
    owner = house.owner()
    codes = []
    for n in range(copies.ONE.free + 2):
        monkeypatch.setattr(copies, "__version__", f"moved {n}")
        codes.append(owner.get(path_of("short"), headers=PAGE).status_code)
    assert codes == [200] * copies.ONE.free + [429] * 2
    answer = owner.get(path_of("short"), headers=PAGE)
    assert "too often" in answer.text and 0 < int(answer.headers["retry-after"]) <= 30
    assert house.machine.get(path_of("short")).status_code == 200
    assert owner.get(path_of("short"), headers=PAGE).status_code == 200  # it is written now


def test_no_other_file_and_no_other_item_is_opened_by_it(house: Visited) -> None:
    owner = house.owner()
    for path in (
        path_of("short", OTHER), path_of("buyer"), path_of("service"), path_of("x"),
        f"/item/{ITEM}/report/copy.pdf", f"/item/{ITEM}/report/copy/full.json",
        f"/item/{ITEM}/report/copy/../x.pdf", path_of("short", "nothing"),
    ):  # fmt: skip
        assert owner.get(path, headers=PAGE).status_code == 404, path
    assert owner.post(path_of("short"), data={"a": "b"}, headers=PAGE).status_code == 404
    stranger = house.stranger().get(path_of("short"), headers=PAGE)
    assert stranger.status_code == 303 and "/in?" in stranger.headers["location"]


def test_only_the_newest_copies_are_kept(house: Visited, tmp_path: Path) -> None:
    for n in range(copies.MOST_KEPT + 3):
        (tmp_path / f"{n:024x}.pdf").write_bytes(b"x")
        time.sleep(0.002)
    copies._tidy(tmp_path)
    left = {path.stem for path in tmp_path.glob("*.pdf")}
    assert len(left) == copies.MOST_KEPT and f"{0:024x}" not in left
