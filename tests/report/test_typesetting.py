"""The typesetter apart: a long report is set in turns, and nothing in it differs."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from quirewell.report import treatment, typesetting
from quirewell.report.origins import with_origins
from quirewell.report.treatment import write_report
from report_case import report_studio, text_of

Link = tuple[int, tuple[float, ...], int, float, float]


def links_of(pdf: Path) -> list[Link]:
    """Every link inside a PDF: its page and box, then the page and place it leads to [pt]."""
    with pikepdf.open(pdf) as opened:
        number = {page.objgen: at for at, page in enumerate(opened.pages)}
        named: dict[str, Any] = {}

        def walk(node: Any) -> None:
            for kid in node.get("/Kids", []):
                walk(kid)
            rows = list(node.get("/Names", []))
            named.update(zip(map(str, rows[::2]), rows[1::2], strict=True))

        if "/Names" in opened.Root and "/Dests" in opened.Root.Names:
            walk(opened.Root.Names.Dests)
        out = []
        for at, page in enumerate(opened.pages):
            for link in page.get("/Annots", []):
                to = link.get("/Dest", link.get("/A", {}).get("/D"))
                if isinstance(to, pikepdf.String):
                    to = named[str(to)]
                if isinstance(to, pikepdf.Dictionary):
                    to = to["/D"]
                if to is not None:
                    box = tuple(round(float(edge), 1) for edge in link.Rect)
                    out.append((at, box, number[to[0].objgen], *_place(to)))
        return out


def _place(to: Any) -> tuple[float, float]:
    return round(float(to[2]), 1), round(float(to[3]), 1)


def with_one_never_printed(*args: Any) -> dict[str, Any]:
    """The content, and in its last chapter a number that stands on no page before it."""
    content = with_origins(*args)
    content["origins"][0]["numbers"].append({"at": "99999", "says": "width: 3 mm, never printed"})
    return content


def test_a_report_set_in_turns_has_the_same_words_and_the_same_links(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    turns: list[str] = []
    alone = typesetting._apart

    def apart(request: dict[str, Any]) -> bytes:
        turns.append(request.get("gather", "pages"))
        return alone(request)

    monkeypatch.setattr(typesetting, "_apart", apart)
    monkeypatch.setattr(treatment, "with_origins", with_one_never_printed)
    with report_studio(tmp_path / "studio", pairs=2) as studio:
        write_report(studio, "annual", tmp_path / "once.pdf")
        assert turns == ["pages"]
        monkeypatch.setattr(typesetting, "LONG_FROM", 1)
        write_report(studio, "annual", tmp_path / "turns.pdf")
    assert turns[-1] == "pages" and turns[1:-1] == ["yes"] * (len(turns) - 2) != []
    assert text_of(tmp_path / "turns.pdf") == text_of(tmp_path / "once.pdf")
    assert "p. 00" not in text_of(tmp_path / "turns.pdf")
    once, again = links_of(tmp_path / "once.pdf"), links_of(tmp_path / "turns.pdf")
    assert len(once) > 50
    # One more decimal of a place may be rounded the other way.
    for mine, theirs in zip(again, once, strict=True):
        assert mine[:3] == theirs[:3]
        assert mine[3:] == pytest.approx(theirs[3:], abs=0.11)


@pytest.mark.parametrize("settles_at", [2, None])
def test_it_goes_on_until_the_places_hold_and_else_sets_all_at_once(
    monkeypatch: pytest.MonkeyPatch, settles_at: int | None
) -> None:
    asked: list[tuple[str, str]] = []

    def apart(request: dict[str, Any]) -> bytes:
        if "gather" not in request:
            return b"%PDF " + request.get("places", "all at once").encode()
        asked.append((request["gather"], request["places"]))
        turn = len(asked) if settles_at is None else min(len(asked), settles_at)
        return json.dumps({"turn": turn}).encode()

    monkeypatch.setattr(typesetting, "_apart", apart)
    request = {"data": typesetting.MARK * typesetting.LONG_FROM}
    made = typesetting.set_pages_apart(request)
    if settles_at is None:
        assert made == b"%PDF all at once" and len(asked) == typesetting.MOST_TURNS
    else:
        assert made == b'%PDF {"turn": 2}' and len(asked) == settles_at + 1


def test_the_mark_counted_is_the_one_written() -> None:
    from quirewell.report.origins import OPEN

    assert json.dumps(f"a {OPEN}n1 b").count(typesetting.MARK) == 1


def test_a_refusal_and_each_end_of_the_process_are_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "x.typ").write_text("#nothing", encoding="utf-8")
    request = {"template": str(tmp_path / "x.typ"), "root": str(tmp_path), "data": "{}",
               "standards": [], "timestamp": 0}  # fmt: skip
    with pytest.raises(typesetting.Refused, match="unknown variable: nothing"):
        typesetting.set_pages_apart(request)
    for code, told, says in (
        (-9, b"", r"ended by the system \(9\), most likely for want of memory; close other"),
        (1, b"Traceback\nOSError: no", r"ended with 1 \(OSError: no\)"),
        (0, b"", r"ended with 0 \(without a word\)"),
    ):
        ended = subprocess.CompletedProcess([], code, b"", told)
        monkeypatch.setattr(subprocess, "run", lambda *_, was=ended, **__: was)
        with pytest.raises(typesetting.Refused, match=says):
            typesetting.set_pages_apart(request)
