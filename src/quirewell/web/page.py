"""Pages: the templates, what every page is given, and where a saved form leads."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from quirewell.record.nouns import Gathering, ItemState
from quirewell.record.signs import visible
from quirewell.report.drawings import LimbMark, gathering_svg, gathering_words
from quirewell.report.references import reference_short, reference_words
from quirewell.stages.asking import beside, quantity_name
from quirewell.stages.gates import rule_words
from quirewell.stages.naming import place_words, places_words, sheet_of, sheet_words
from quirewell.stages.next_step import next_step
from quirewell.stages.overview import progress
from quirewell.stages.refusal import Refusal
from quirewell.stages.shades import Shade
from quirewell.web.house import house_of
from quirewell.web.lan import served
from quirewell.web.said import said_of

TEMPLATES = Path(__file__).parent / "templates"
PANELS = {"left": "Left half", "right": "Right half", "whole": "Whole"}


class Answers(dict[str, str]):
    """What was typed into a form; a field that was not sent is empty."""

    def __getattr__(self, name: str) -> str:
        return self.get(name, "")


def shown(value: Any) -> Any:
    """A value as a template puts it out: signs that cannot be seen are named."""
    if isinstance(value, Markup):
        return Markup(visible(str(value)))
    return visible(value) if isinstance(value, str) else value


def environment() -> Environment:
    """The template environment: everything is escaped, a missing name is an error."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=select_autoescape(["html"], default=True),
        undefined=StrictUndefined,
        finalize=shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["place"] = place_words
    made.filters["places"] = places_words
    made.filters["sheet"] = sheet_words
    made.filters["panel"] = lambda panel: PANELS.get(panel, panel)
    made.filters["when"] = when
    made.filters["quantity"] = quantity_name
    made.filters["beside"] = beside
    made.filters["rule"] = rule_words
    made.filters["source"] = reference_words
    made.filters["source_short"] = reference_short
    return made


def when(value: Any) -> str:
    """An instant in plain words ("2026-11-25 14:03 UTC"); anything else as it is."""
    text = str(value)
    found = _INSTANT.fullmatch(text)
    return f"{found[1]} {found[2]} UTC" if found else text


_INSTANT = re.compile(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d)(?::[\d.]+)?Z")
ENVIRONMENT = environment()


def render(
    request: Request,
    template: str,
    *,
    status: int = 200,
    refusal: Refusal | None = None,
    **context: Any,
) -> Response:
    """A page of the studio. ``refusal`` puts what was typed and what was wrong back in place."""
    house = house_of(request)
    given: dict[str, Any] = {
        **served(request),
        "islands": house.islands,
        "here": request.url.path,
        "item_id": "",
        "stage": "",
        "action": "",
        "done": said_of(request, house),
        "work": None,
        "problems": refusal.problems if refusal else (),
        "rule": refusal.rule if refusal else "",
        "values": Answers(refusal.values if refusal else {}),
    }
    given.update(context)
    text = ENVIRONMENT.get_template(template).render(given)
    return HTMLResponse(text, status_code=422 if refusal else status)


def render_item(
    request: Request,
    template: str,
    state: ItemState,
    stage: str,
    *,
    refusal: Refusal | None = None,
    status: int = 200,
    **context: Any,
) -> Response:
    """A page of one item, with the job's course and the work in hand."""
    house = house_of(request)
    return render(
        request, template, refusal=refusal, status=status,
        item_id=state.id, title=state.item.title, year=state.item.year, stage=stage,
        course=progress(state, house.studio.bench()), work=house.desk.view(state.id),
        next_step=next_step(state, house.studio.bench()), **context,
    )  # fmt: skip


def see(path: str, **query: str | int) -> Response:
    """Send the browser on to a page after a saved form."""
    asked = f"?{urlencode(query)}" if query else ""
    plain, _, part = path.partition("#")
    at = f"#{part}" if part else ""
    return RedirectResponse(f"{plain}{asked}{at}", status_code=303)


def own_path(text: str, otherwise: str) -> str:
    """A path of ours out of a form; anything that could lead elsewhere is replaced."""
    parts = urlsplit(text)
    fine = text.startswith("/") and not text.startswith(("//", "/\\")) and "\\" not in text
    if not fine or parts.scheme or parts.netloc or any(ord(sign) < 33 for sign in text):
        return otherwise
    return parts.path


def drawing(
    gathering: Gathering | None, item_id: str, shade: Shade | None = None, highlight: str = ""
) -> Markup:
    """The gathering drawing as the page's navigation, in its wide and its narrow shape."""
    if gathering is None:
        return Markup("")
    marks = {
        mark.place: LimbMark(mark.level, mark.short, mark.said)
        for mark in (shade.marks if shade else ())
    }

    def href(place: str) -> str:
        return f"/item/{item_id}/examine/{sheet_of(place)}"

    caption = gathering_words(gathering, marks, shade.name if shade else "")
    both = "".join(
        f'<div class="only-{shape}">'
        + gathering_svg(gathering, marks, href, shape=shape, highlight=highlight, caption=caption)
        + "</div>"
        for shape in ("wide", "narrow")
    )
    return Markup(both)
