"""The condition page: drawing and schedule, what can be taken away, and a file taken in."""

from __future__ import annotations

import csv
import io
import json
from xml.etree import ElementTree

import pytest

from annotated import assert_collection
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Defect
from web.conftest import Bench

PAGE = "/examine/condition"


def note(bench: Bench, *defects: Defect) -> None:
    drafts = [Draft(bench.state.id, "defect.noted", to_body(one)) for one in defects]
    bench.studio.append(bench.state.id, None, drafts)


TEAR = Defect("d1", "w01.outer.left", "tear", "42.0 mm ± 1.5 mm", "severe", note="=1+1",
              region="line 10,20 52,20", u_mm=0.7)  # fmt: skip
RUST = Defect("d2", "staples", "rusted staple", "both")


def test_without_damage_it_says_what_to_do(bench: Bench) -> None:
    page = bench.client.get(bench.url(PAGE))
    assert page.status_code == 200
    assert "No damage is noted yet" in page.text and "Schedule of defects" not in page.text
    made = bench.client.get(bench.url(f"{PAGE}/damage.json")).json()
    assert made["total"] == 0
    assert_collection(made)


def test_damage_is_drawn_listed_and_added_up(bench: Bench) -> None:
    note(bench, TEAR, RUST)
    page = bench.client.get(bench.url(PAGE)).text
    assert "42.0 ± 1.5 mm" in page and "drawn by hand" in page
    assert "On no side by itself: 1 rusted staple (Staples)" in page
    # Two wraps and a cover have six sides; one of them has damage and is drawn large besides.
    assert page.count('class="side"') == 7
    assert "style=" not in page.split("<main")[1]


def test_damage_only_typed_is_not_called_drawn(bench: Bench) -> None:
    note(bench, RUST)
    page = bench.client.get(bench.url(PAGE)).text
    assert "None of it is drawn yet" in page and "Schedule of defects" in page


def test_everything_can_be_taken_away(bench: Bench) -> None:
    note(bench, TEAR, RUST)
    made = bench.client.get(bench.url(f"{PAGE}/damage.json"))
    assert made.headers["content-type"].startswith("application/ld+json")
    assert_collection(made.json())
    rows = list(csv.reader(io.StringIO(bench.client.get(bench.url(f"{PAGE}/damage.csv")).text)))
    assert len(rows) == 3 and "'=1+1" in rows[2]
    picture = bench.client.get(bench.url(f"{PAGE}/damage.svg"))
    assert ElementTree.fromstring(picture.text).tag.endswith("svg")
    pdf = bench.client.get(bench.url(f"{PAGE}/damage.pdf"))
    assert pdf.content.startswith(b"%PDF") and "attachment" in pdf.headers["content-disposition"]


def test_a_file_is_taken_in_once_and_can_be_undone(bench: Bench) -> None:
    note(bench, TEAR)
    made = bench.client.get(bench.url(f"{PAGE}/damage.json")).content
    file = {"file": ("damage.json", made.replace(b":defect:d1", b":defect:d7"))}
    sent = bench.client.post(bench.url(f"{PAGE}/read"), files=file, follow_redirects=False)
    assert sent.status_code == 303
    assert bench.state.defects["d7"].region == TEAR.region
    again = bench.client.post(bench.url(f"{PAGE}/read"), files=file)
    assert again.status_code == 422 and "holds all of it already" in again.text
    assert len(bench.state.defects) == 2


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "Choose a file"),
        (b"no JSON", "no JSON"),
        (json.dumps({"@context": "http://www.w3.org/ns/anno.jsonld", "type": "AnnotationPage",
                     "items": [3]}).encode(), "not of type Annotation"),
    ],
)  # fmt: skip
def test_a_bad_file_is_refused_in_place(bench: Bench, data: bytes, says: str) -> None:
    sent = bench.client.post(bench.url(f"{PAGE}/read"), files={"file": ("damage.json", data)})
    assert sent.status_code == 422 and says in sent.text
    assert not bench.state.defects


def test_a_file_that_is_too_large_is_not_taken_in(bench: Bench) -> None:
    sent = bench.client.post(
        bench.url(f"{PAGE}/read"), files={"file": ("damage.json", b" " * 10_000_000)}
    )
    assert sent.status_code == 413 and not bench.state.defects
