"""Courses of treatment: read, changed as text, refused in place, editions kept."""

from __future__ import annotations

import pytest

from quirewell.stages.recipe_keep import course_of, shipped


def text_of(key: str = "slow-way") -> str:
    return shipped()[f"{key}@1"].text


def test_the_list_shows_every_course_and_says_it_is_no_advice(bench):
    page = bench.client.get("/recipes")
    assert page.status_code == 200
    for course in shipped().values():
        assert course.name in page.text
    assert "common practice, no source" in page.text and "no advice" in page.text


@pytest.mark.parametrize("key", sorted({course.key for course in shipped().values()}))
def test_a_course_shows_each_step_with_what_must_be_known_before_it(bench, key):
    page = bench.client.get(f"/recipes/{key}")
    assert page.status_code == 200
    for step in shipped()[f"{key}@1"].steps:
        assert step.name in page.text
    assert page.text.count("It can wait:") == len(shipped()[f"{key}@1"].steps)
    for label in ("Purpose", "Can it be taken back", "On whose word", "safe stop"):
        assert label in page.text


def test_a_change_is_kept_as_the_next_edition_and_says_what_changed(bench):
    text = text_of().replace("minutes = 45", "minutes = 50")
    sent = {"text": text, "newest": "1", "note": "the thicker paper"}
    answer = bench.client.post("/recipes/slow-way", data=sent, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/recipes/slow-way")
    page = bench.client.get("/recipes/slow-way").text
    assert "Edition 2, yours" in page and "the thicker paper" in page
    assert "Cold bath, time to plan with: 45 min before, 50 min now." in page
    assert "There is a newer one" in bench.client.get("/recipes/slow-way?edition=1").text
    kept = bench.client.get("/recipes/slow-way/2.toml")
    assert kept.text == text.strip() + "\n" and "attachment" in kept.headers["content-disposition"]


def test_a_fault_is_said_in_place_with_its_line_and_the_text_stays(bench):
    text = text_of().replace('kind = "dry"', 'kind = "bake"', 1)
    answer = bench.client.post("/recipes/slow-way", data={"text": text, "newest": "1"})
    assert answer.status_code == 422
    line = text[: text.index('kind = "bake"')].count("\n") - 1
    assert f"line {line})" in answer.text and "bake" in answer.text and "wrong-text" in answer.text
    assert course_of(bench.studio.bench(), "slow-way").edition == 1


def test_a_text_begun_from_an_older_edition_is_not_laid_over_a_newer_one(bench):
    first = {"text": text_of().replace("minutes = 45", "minutes = 50"), "newest": "1"}
    bench.client.post("/recipes/slow-way", data=first)
    late = {"text": text_of().replace("minutes = 45", "minutes = 40"), "newest": "1"}
    answer = bench.client.post("/recipes/slow-way", data=late)
    assert answer.status_code == 422 and "kept meanwhile" in answer.text
    assert "minutes = 40" in answer.text
    assert course_of(bench.studio.bench(), "slow-way").edition == 2


def test_an_own_edition_is_set_aside_and_stays_readable(bench):
    sent = {"text": text_of().replace("minutes = 45", "minutes = 50"), "newest": "1"}
    bench.client.post("/recipes/slow-way", data=sent)
    bench.client.post("/recipes/slow-way/aside", data={"id": "slow-way@2"})
    held = bench.studio.bench()
    assert course_of(held, "slow-way").edition == 1
    assert course_of(held, "slow-way@2").step("wash").minutes == 50
    assert "set aside" in bench.client.get("/recipes/slow-way").text
    bench.client.post("/recipes/slow-way/aside", data={"id": "slow-way@2", "back": "yes"})
    assert course_of(bench.studio.bench(), "slow-way").edition == 2
    answer = bench.client.post("/recipes/slow-way/aside", data={"id": "slow-way@1"})
    assert answer.status_code == 422 and "came with the tool" in answer.text


def test_a_course_of_ones_own_needs_a_key_of_its_own(bench):
    own = text_of("tear-sealing").replace('key = "tear-sealing"', 'key = "tears-here"')
    answer = bench.client.post("/recipes", data={"text": own}, follow_redirects=False)
    assert answer.headers["location"] == "/recipes/tears-here"
    assert bench.client.get("/recipes/tears-here").status_code == 200
    again = bench.client.post("/recipes", data={"text": own})
    assert again.status_code == 422 and "already" in again.text
    bench.client.post("/recipes/tears-here/aside", data={"id": "tears-here@1"})
    assert "tears-here" not in bench.client.get("/recipes").text
    assert bench.client.get("/recipes/tears-here").status_code == 200


@pytest.mark.parametrize(
    "text",
    ["", "   ", "key = ", "[" * 50_000, "a." * 20_000 + "b = 1", "x" * 100_000, "\x00",
     'key = "<script>alert(1)</script>"', "step = 3", "[[step]]", f"minutes = {'9' * 9000}"],
)  # fmt: skip
def test_ugly_text_is_refused_and_shown_back_as_text(bench, text):
    answer = bench.client.post("/recipes", data={"text": text})
    assert answer.status_code in (413, 422), answer.status_code
    assert "<script>alert" not in answer.text


MISSING = (
    "/recipes/none", "/recipes/slow-way?edition=9", "/recipes/slow-way?edition=%00",
    "/recipes/slow-way/9.toml", f"/recipes/slow-way/{'9' * 5000}.toml", "/recipes/slow-way/01.toml",
    "/recipes/%3Cb%3E", "/recipes/slow-way@1",
)  # fmt: skip


@pytest.mark.parametrize("path", MISSING)
def test_what_is_not_there_is_not_found(bench, path):
    assert bench.client.get(path).status_code == 404


def test_a_step_is_planned_by_a_course_and_says_so(bench):
    sent = {"course_step": "dry-clean@1/clean", "places": "w01"}
    answer = bench.client.post("/item/copperbeck-garden-annual/treat/plan", data=sent)
    assert answer.status_code == 200
    assert "Dry: surface clean only, edition 1, step Surface clean" in answer.text
    wrong = {"course_step": "dry-clean@1/clean", "kind": "mend", "places": "w01"}
    answer = bench.client.post("/item/copperbeck-garden-annual/treat/plan", data=wrong)
    assert answer.status_code == 422 and "Surface cleaned, not Tear mended" in answer.text
    assert 'value="dry-clean@1/clean" selected' in answer.text


def test_a_forged_edition_number_is_refused_in_words(bench):
    text = text_of().replace("minutes = 45", "minutes = 50")
    answer = bench.client.post("/recipes/slow-way", data={"text": text, "newest": "9" * 9000})
    assert answer.status_code == 422 and "kept meanwhile" in answer.text
