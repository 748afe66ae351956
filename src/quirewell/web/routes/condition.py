"""Condition: the drawing of every side, the schedule of defects, and both to take away."""

from __future__ import annotations

import json
from dataclasses import dataclass

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.report.annotations import damage_annotations
from quirewell.report.condition_drawing import (
    Drawing,
    Side,
    condition_drawing,
    drawing_svg,
    numbers_words,
    scale_of,
    side_svg,
)
from quirewell.report.drawing_sheet import drawing_sheet
from quirewell.report.hatches import key_svg
from quirewell.report.treatment import head_of
from quirewell.stages.annotation_table import MOST_BYTES, keep_annotations
from quirewell.stages.damage_schedule import extent_words, schedule, schedule_csv, sums
from quirewell.stages.naming import sheet_of
from quirewell.stages.refusal import Problem, Refusal
from quirewell.web.forms import read_form
from quirewell.web.house import house_of
from quirewell.web.page import render_item
from quirewell.web.saving import Again, save_texts

_BASE = "/item/{item}/examine/condition"
SMALL_PER = 8.0


@dataclass(frozen=True, slots=True)
class SideView:
    """A side as the page shows it."""

    place: str
    sheet: str
    name: str
    numbers: str
    small: Markup
    large: Markup
    says: str
    beside: str


def page(request: Request) -> Response:
    """The drawing and the schedule."""
    return _page(request, None)


def _page(request: Request, refusal: Refusal | None) -> Response:
    state = house_of(request).item(request.path_params["item"])
    lines = schedule(state)
    drawings = {
        moment: condition_drawing(state, moment, lines) for moment in ("before", "after")
    }  # fmt: skip
    return render_item(
        request, "condition.html", state, "examine", refusal=refusal, action="read",
        lines=lines, sums=[
            (one, "; ".join(extent_words(extent) for extent, _ in one.drawn))
            for one in sums(lines)
        ],
        drawings=[
            (moment, [_view(side, moment, at) for at, side in enumerate(made.sides)], made,
             Markup(key_svg(made.families, f"key-{moment}-")))
            for moment, made in drawings.items() if made.damaged
        ],
        elsewhere={moment: _named(made) for moment, made in drawings.items()},
        here=f"/item/{state.id}/examine/condition",
    )  # fmt: skip


def _view(side: Side, moment: str, at: int) -> SideView:
    large = Markup("")
    says = ""
    if side.damage:
        large = Markup(side_svg(side, scale_of(side), True, f"{moment}-l{at}-"))
        says = f"Size {side.by}." if side.by else (
            "Its size is not known, so the outline is a guess: measure a scan of it, or say how "
            "large a page is."
        )  # fmt: skip
        if side.beyond:
            many = numbers_words(side.beyond)
            says += f" Drawn beyond the outline: {many}; the size or the place is off."
    return SideView(
        side.place, sheet_of(side.place), side.name, numbers_words(side.numbers),
        Markup(side_svg(side, SMALL_PER, False, f"{moment}-s{at}-")), large, says,
        "; ".join(f"{one.number} {one.term}" for one in side.beside),
    )  # fmt: skip


def _named(made: Drawing) -> str:
    return "; ".join(f"{one.number} {one.term} ({one.where})" for one in made.elsewhere)


async def read(request: Request) -> Response:
    """Note the damage of a file of annotations."""
    sent = await read_form(request, most=MOST_BYTES + 64 * 1024, files=1)
    data = await sent.files[0].read(MOST_BYTES + 1) if sent.files else b""
    for entry in sent.files:
        await entry.close()

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        if not data:
            raise Refusal((Problem("file", "Choose a file of annotations first."),), values=form)
        taken = keep_annotations(state, data)
        if not taken.drafts:
            why = "; ".join(taken.told[:3]) or "the record holds all of it already"
            raise Refusal((Problem("file", f"Nothing new was noted: {why}."),), values=form)
        return taken.drafts

    back = f"/item/{request.path_params['item']}/examine/condition"
    return await run_in_threadpool(save_texts, request, {}, command, back, _again("read"))


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal)


def _file(request: Request, body: str | bytes, media: str, end: str) -> Response:
    name = f"{request.path_params['item']}-{end}"
    return Response(
        body, media_type=media, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


def open_annotations(request: Request) -> Response:
    """The damage as Web Annotations."""
    state = house_of(request).item(request.path_params["item"])
    text = json.dumps(damage_annotations(state), indent=2, ensure_ascii=False) + "\n"
    return _file(request, text, "application/ld+json", "damage.json")


def table(request: Request) -> Response:
    """The schedule as CSV."""
    state = house_of(request).item(request.path_params["item"])
    return _file(request, schedule_csv(schedule(state)), "text/csv", "damage.csv")


def picture(request: Request) -> Response:
    """The drawing as SVG."""
    state = house_of(request).item(request.path_params["item"])
    return _file(request, drawing_svg(state), "image/svg+xml", "damage.svg")


def sheet(request: Request) -> Response:
    """Schedule and drawing as PDF."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    made = drawing_sheet(state, head_of(house.studio, state.id).at)
    return _file(request, made, "application/pdf", "damage.pdf")


routes = [
    Route(_BASE, page),
    Route(f"{_BASE}/read", read, methods=["POST"]),
    Route(f"{_BASE}/damage.json", open_annotations),
    Route(f"{_BASE}/damage.csv", table),
    Route(f"{_BASE}/damage.svg", picture),
    Route(f"{_BASE}/damage.pdf", sheet),
]
