"""The table of decisions of a whole studio, and what must be told after which step."""

from __future__ import annotations

from quirewell.stages.overview import open_item
from web.conftest import Bench
from web.test_weigh_page import DAMAGE, weigh


def test_every_item_has_its_row_and_can_be_sorted(bench: Bench) -> None:
    bench.studio.append("companion", 0, open_item("companion", {"title": "Bell Lane Almanac"}))
    page = bench.client.get("/decisions").text
    assert page.count("not weighed") == 2
    weigh(bench, defects=DAMAGE, hour="2", currency="crowns")
    bench.client.post(
        bench.url("/decide/choose"),
        data={"option": "Leave alone", "reason": "my reading copy"},
    )
    page = bench.client.get("/decisions").text
    first, second = page.index("Copperbeck Garden Annual"), page.index("Bell Lane Almanac")
    assert first < second  # what is weighed stands first
    assert "Taken because: my reading copy" in page
    assert "crowns</td>" in page
    by_title = bench.client.get("/decisions?by=title").text
    assert by_title.index("Bell Lane Almanac") < by_title.index("Copperbeck Garden Annual")
    still_open = bench.client.get("/decisions?by=open").text
    assert still_open.index("Bell Lane Almanac") < still_open.index("Copperbeck Garden Annual")
    assert bench.client.get("/decisions?by=nonsense").status_code == 200


def test_own_rows_of_what_must_be_told_are_kept_and_reach_a_weighing(bench: Bench) -> None:
    rows = "step,buyer,service\npress,Pressed cold at the bench.,Pressed cold; the form has a box."
    form = {"rows": rows, "checked_on": "2026-03-31"}
    page = bench.client.post("/decisions/told", data=form).text
    assert "Pressed cold; the form has a box." in page
    assert "on 2026-03-31" in page and "current rules before sending" in page
    box = bench.client.get(bench.url("/decide")).text.split('id="weigh-disclosures"')[1]
    text = box.split("</textarea>")[0]
    assert "Pressed cold at the bench." in text
    weighed = weigh(bench, defects=DAMAGE, disclosures=rows).text
    assert "Pressed cold; the form has a box." in weighed


def test_a_row_that_cannot_be_read_loses_nothing(bench: Bench) -> None:
    form = {"rows": "step,buyer\n,nobody", "checked_on": "31.3."}
    answer = bench.client.post("/decisions/told", data=form)
    assert answer.status_code == 422
    assert "names no step" in answer.text and "31.3." in answer.text
    answer = bench.client.post("/decisions/told", data={"rows": "", "checked_on": "31.3."})
    assert answer.status_code == 422 and "written as 2026-03-31" in answer.text
    assert bench.studio.bench().disclosure() is None
