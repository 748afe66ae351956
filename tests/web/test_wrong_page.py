"""When it goes wrong: the page, the note with its time, and the paper."""

from __future__ import annotations

from quirewell.report.went_wrong import went_wrong
from quirewell.report.wrong_card import wrong_card
from quirewell.stages.emergencies import EMERGENCIES, lines
from web.conftest import ITEM, Bench, picture_bytes


def note(bench: Bench, **form: str) -> int:
    files = {"files": ("snap.png", picture_bytes(77), "image/png")} if form.pop("photo", "") else {}
    sent = files or {"files": ("", b"", "application/octet-stream")}
    return bench.client.post("/wrong/note", data={"item": ITEM, **form}, files=sent).status_code


def test_every_first_line_is_one_sentence_or_two_and_stands_on_the_page(bench: Bench) -> None:
    text = bench.client.get("/wrong").text
    for row in EMERGENCIES.values():
        assert row.first in text.replace("&#39;", "'")
        assert len(row.first) <= 110, f"{row.key}: a line to act on, not a paragraph"
        assert row.then and row.never and row.look
        assert not row.never.startswith(("Do not", "No ")), "it follows the word Never"
    wanted = {"ink", "tear", "tideline", "stuck", "rust", "scorch", "mould", "eye"}
    assert wanted <= set(EMERGENCIES)
    assert [row.person for row in EMERGENCIES.values()][:2] == [True, True], "people come first"


def test_where_a_person_is_hurt_the_help_stands_before_the_note(bench: Bench) -> None:
    text = bench.client.get("/wrong").text
    assert "local emergency number" in text
    for key in ("eye", "hurt", "fire", "fumes", "ink"):
        row = EMERGENCIES[key]
        own = text[text.index(f'id="{key}"') :]
        helps, note = own.index("<b>Never:</b>"), own.index("It happened")
        assert (helps < note) is row.person, f"{key}: a person first, then the record"


def test_one_touch_keeps_the_time_and_a_picture_and_words_may_follow(bench: Bench) -> None:
    assert note(bench, kind="ink", place="w01", photo="yes") == 200
    (held,) = bench.state.mishaps.values()
    assert (held.kind, held.place, held.what) == ("ink", "w01", "Ink bleeds")
    assert held.at and held.day == held.at[:10]
    picture = bench.state.captures[held.capture]
    assert (picture.place, picture.view, picture.moment) == ("w01", "bench", None)
    form = {"item": ITEM, "id": held.id, "what": "red of the masthead", "over": "yes",
            "done_about": "blotted six times"}  # fmt: skip
    assert bench.client.post("/wrong/more", data=form).status_code == 200
    (more,) = bench.state.mishaps.values()
    assert (more.what, more.place, more.capture) == ("red of the masthead", "w01", held.capture)
    assert more.over_at >= more.at and not lines(bench.state)[0].open
    (row,) = went_wrong(bench.state)
    assert (row[1], row[2].text) == ("Wrap 1", "red of the masthead")
    assert row[2].refs == (held.id,), "the sentence leads to the note it was taken from"
    assert row[3].startswith("blotted six times; over at")


def test_what_is_not_over_stays_on_the_page_and_says_so_in_the_report(bench: Bench) -> None:
    assert note(bench, kind="tideline") == 200
    page = bench.client.get("/wrong").text
    assert "Not over yet" in page
    assert went_wrong(bench.state)[0][3] == "nothing noted; not said to be over"


def test_ugly_notes_are_refused_in_a_sentence_and_keep_nothing(bench: Bench) -> None:
    assert note(bench) == 422
    assert note(bench, kind="nonsense") == 422
    assert note(bench, kind="ink", place="w77") == 422
    assert note(bench, kind="ink", item="") == 422
    assert note(bench, kind="ink", item="no-such-item") == 404
    torn = {"files": ("snap.png", b"not a picture", "image/png")}
    answer = bench.client.post(
        "/wrong/note", data={"item": ITEM, "kind": "ink"}, files=torn
    )  # fmt: skip
    assert answer.status_code == 422
    assert not bench.state.mishaps
    gone = bench.client.post("/wrong/more", data={"item": ITEM, "id": "mishap-99", "what": "x"})
    assert gone.status_code == 422


def test_the_paper_is_the_same_each_time(bench: Bench) -> None:
    answer = bench.client.get("/wrong.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content == wrong_card()
