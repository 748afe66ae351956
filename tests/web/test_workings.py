"""Computations asked for on a page: kept with their inputs, refused at their box, nothing lost."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest

from quirewell.record.finding import Run
from quirewell.stages.methods import run_method
from quirewell.stages.working_rows import WORKINGS
from quirewell.studio.check import check
from web.conftest import Bench

LOG = b"time,Temp (C),RH %\n" + b"".join(
    b"2025-%02d-%02d %02d:00,%d.5,%d\n" % (m, d, h, 14 + m % 7, 45 + m % 5)
    for m in range(1, 13) for d in range(1, 29) for h in (0, 6, 12, 18)
)  # fmt: skip

GOOD = {
    "decide/dose": {"temperature_c": "66 F", "litres": "5", "wrap_mass_g": "10,2"},
    "decide/grade": {"defects": "code,location,extent,u,unit,note\ntear,c.outer,about 40 mm,,,\n"},
    "decide/water": {"temperature_c": "20", "gas": "1"},
    "decide/worth": {"ph_before": "surface strip 5 @ 20", "ph_after": "cold extract 8"},
    "treat/paste": {"kind": "methyl cellulose", "by": "w/w", "mends": "12"},
    "prove/reserve": {"ph": "surface strip 7.5 @ 21\nsurface strip above 9"},
    "treat/dry": {"wet_g_g": "2.1", "rh_pct": "55", "fan": "yes"},
    "finish/chamber": {"rh_pct": "95", "start_rh_pct": "50"},
    "finish/press": {"above": "aluminium\ncard", "below": "blotter\nwood 12", "platen_c": "149 F"},
    "finish/iron": {"iron_c": "250 F", "passes": "3"},
    "prove/heat": {"stays": "22 C, 95 %, 24 h: chamber\n68 C, 50 %, 15 min: pressed"},
}

# Form, what is wrong in it, the box that says so, and words of the sentence.
BAD: list[tuple[str, dict[str, str], str]] = [
    ("decide/dose", {"temperature_c": "66", "litres": "4"}, "Fahrenheit"),
    ("decide/dose", {"temperature_c": "20", "litres": "400"}, "400"),
    ("decide/dose", {"temperature_c": "20", "minutes_per_wrap": "-5"}, "-5"),
    ("decide/dose", {"aim": "the whole shelf"}, "There is no choice"),
    ("decide/grade", {"defects": "code,location,extent\nhole in the moon,cover,3 mm"}, "line 2"),
    ("decide/grade", {"defects": "code,location,extent\ntear,cover,-3 mm"}, "line 2"),
    ("decide/grade", {"defects": "none\n", "scale": "value,words\n11,best\n"}, "11"),
    ("decide/worth", {"ph_before": "15", "ph_after": "8"}, "pH"),
    ("decide/worth", {"ph_before": "5", "ph_after": "8", "store_before": "21 C, 0.55"}, "per cent"),
    ("treat/paste", {"kind": "methyl cellulose", "by": ""}, "is the per cent by mass in mass"),
    ("prove/reserve", {"ph": "surface strip 15"}, "pH"),
    ("prove/reserve", {"titre": "20,0.1,12,0.1,1"}, "like paper"),
    ("finish/press", {"above": "cheese"}, "is no layer"),
    ("finish/press", {"platen_c": "250"}, "15 to 95 °C"),
    ("finish/iron", {"iron_c": "121", "rh_pct": "80"}, "steam"),
    ("finish/chamber", {"rh_pct": "50", "start_rh_pct": "60"}, "no drier"),
    ("treat/dry", {"wet_g_g": "0.1"}, "wet sheet"),
    ("prove/heat", {"stays": "52 C, 0.5 %, 15 min: pressed"}, "share of 1"),
    ("prove/heat", {"stays": "warm for a while"}, "a stay is temperature"),
    ("prove/heat", {"stays": ""}, "nothing was warm or damp"),
]


def post(bench: Bench, path: str, form: dict[str, str], **files: Any) -> Any:
    return bench.client.post(bench.url(f"/{path}"), data=form, files=files or None)


def kept(bench: Bench, key: str) -> list[Run]:
    row = WORKINGS[key]
    runs = bench.state.runs.values()
    return [one for one in runs if (one.method, one.subject) == (row.method, row.subject)]


@pytest.mark.parametrize("path", GOOD)
def test_each_is_kept_with_its_inputs_and_worked_again_alike(bench: Bench, path: str) -> None:
    answer = post(bench, path, GOOD[path])
    stage, key = path.split("/")
    assert answer.status_code == 200 and answer.url.path == bench.url(f"/{stage}")
    (run,) = kept(bench, key)
    assert run.findings and all(one.sources or one.standing != "published" for one in run.findings)
    assert run_method(run.method, run.subject, {}, run.inputs, run.params) == run
    assert bench.client.get(bench.url("/prove")).status_code == 200


@pytest.mark.parametrize(("path", "form", "says"), BAD)
def test_each_refusal_is_a_sentence_and_what_was_typed_stays(
    bench: Bench, path: str, form: dict[str, str], says: str
) -> None:
    answer = post(bench, path, form)
    assert answer.status_code == 422 and says in answer.text
    assert answer.text.count('aria-invalid="true"') == 1
    for text in form.values():
        assert text.split("\n")[0] in answer.text
    assert not kept(bench, path.split("/")[1])


def test_asking_the_same_again_makes_it_the_newest_answer(bench: Bench) -> None:
    for litres in ("5", "3", "5"):
        page = post(bench, "decide/dose", {**GOOD["decide/dose"], "litres": litres}).text
        assert f'value="{litres}"' in page
    assert len(kept(bench, "dose")) == 2
    newest = bench.state.newest_run(WORKINGS["dose"].method, "plan")
    assert newest is not None and newest.params["litres"] == "5"


def test_the_numbers_of_an_answer_say_where_they_are_from(bench: Bench) -> None:
    text = post(bench, "treat/paste", GOOD["treat/paste"]).text
    assert "Dry adhesive to weigh" in text and "Work it out again" in text
    assert "Before you begin" in bench.client.get(bench.url("/decide")).text


def test_a_lopsided_band_is_written_as_a_band(bench: Bench) -> None:
    text = post(bench, "prove/heat", GOOD["prove/heat"]).text
    assert " with 90 %) days" in text


def test_the_press_is_seen_from_inside_with_cautions_before_the_button(bench: Bench) -> None:
    text = post(bench, "finish/press", GOOD["finish/press"]).text
    assert text.index("Before you begin") < text.index("Look inside")
    assert "flash" in text or "steam" in text
    assert 'class="stackview"' in text and "one change at a time" in text
    assert "not validated" in text


def test_a_loggers_file_is_kept_byte_for_byte_and_read_again(bench: Bench) -> None:
    answer = post(bench, "prove/store", {}, log=("C:\\cupboard\\store.csv", LOG, "text/csv"))
    assert answer.status_code == 200 and "Ageing, times that at 20 °C" in answer.text
    (run,) = kept(bench, "store")
    (only,) = run.inputs
    assert (only.ref, only.sha256) == ("store.csv", hashlib.sha256(LOG).hexdigest())
    assert bench.studio.blobs.path(only.sha256).read_bytes() == LOG
    file = bench.studio.blobs.path(only.sha256)
    assert run_method(run.method, run.subject, {"log": file}, run.inputs, run.params) == run
    assert check(bench.studio.folder).ok


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (None, "Choose the logger&#39;s file first."),
        (b"", "store.csv"),
        (b"\x00\x01\xff garbage", "store.csv"),
        (b"time,t,h\n2025-01-01,55,20\n2025-01-02,56,21\n", "unit"),
    ],
)
def test_a_file_that_cannot_be_read_keeps_nothing(
    bench: Bench, body: bytes | None, says: str
) -> None:
    files = {} if body is None else {"log": ("store.csv", body, "text/csv")}
    before = set(bench.studio.blobs.all())
    answer = bench.client.post(
        bench.url("/prove/store"), data={"unit": ""}, files=files or {"log": ("", b"")}
    )
    assert answer.status_code == 422 and says in answer.text
    assert str(bench.studio.folder) not in answer.text
    assert not kept(bench, "store")
    assert set(bench.studio.blobs.all()) == before
