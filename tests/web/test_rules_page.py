"""The page of grading rules: read, download, own rows laid over, and a grade worked out by them."""

from __future__ import annotations

from quirewell.stages.rule_table import built_in, read_rules
from web.conftest import Bench


def test_the_built_in_table_is_read_and_comes_back_as_csv(bench: Bench) -> None:
    page = bench.client.get("/rules").text
    assert "tear-cover" in page and "common practice, no source" in page
    assert "not checked against the text" in page
    for name in ("built-in", "in-force"):
        file = bench.client.get(f"/rules/{name}.csv")
        assert file.headers["content-type"].startswith("text/csv")
        assert read_rules(file.text) == built_in().rows
    assert bench.client.get("/rules/scale.csv").text.startswith("value,words")
    assert bench.client.get("/rules/other.csv").status_code == 404


def test_own_rows_are_used_by_the_next_grade_and_told_with_it(bench: Bench) -> None:
    done = bench.client.post("/rules", data={"rules": "rule,value\ntear-cover,0.01\n"})
    assert done.status_code == 200 and "(yours)" in done.text and "In force." in done.text
    page = bench.client.get(bench.url("/decide")).text
    assert "tear-cover,0.01" in page
    own = bench.studio.bench().grading()
    assert own is not None
    bench.client.post(
        bench.url("/decide/grade"),
        data={"defects": "code,location,extent,unit\ntear,cover,40,mm", "rules": own.rules},
    )
    run = bench.state.newest_run("condition.grade", "plan")
    assert run is not None and run.findings[0].value == 9.6
    assert "with own rows" in bench.client.get(bench.url("/decide")).text


def test_a_grade_by_earlier_rules_is_begun_anew_and_one_by_rows_of_its_own_is_left(
    bench: Bench,
) -> None:
    damage = "code,location,extent,unit\ntear,cover,40,mm"
    bench.client.post(bench.url("/decide/grade"), data={"defects": damage})
    assert "set anew since" not in bench.client.get(bench.url("/decide")).text
    bench.client.post("/rules", data={"rules": "rule,value\ntear-cover,0.01\n"})
    page = bench.client.get(bench.url("/decide")).text
    assert "set anew since" in page and "tear-cover,0.01" in page
    own = "rule,value\ntear-cover,0.07"
    bench.client.post(bench.url("/decide/grade"), data={"defects": damage, "rules": own})
    page = bench.client.get(bench.url("/decide")).text
    assert "set anew since" not in page and "tear-cover,0.07" in page


def test_a_wrong_table_stays_beside_its_sentence(bench: Bench) -> None:
    page = bench.client.post("/rules", data={"rules": "rule,value\ntear-cover,heaps", "note": "x"})
    assert page.status_code == 422
    assert "tear-cover,heaps" in page.text and 'id="wrong-rules"' in page.text
    assert "Line 2" in page.text
    assert bench.client.post("/rules/aside", data={"id": "none"}).status_code == 422
    ugly = bench.client.post("/rules", data={"rules": "<script>alert(1)</script>"})
    assert ugly.status_code == 422 and "<script>alert" not in ugly.text
