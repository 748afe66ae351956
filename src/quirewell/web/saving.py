"""One way to save: run a stage's command, append its events, lead on or show what was wrong."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Correction, ItemState
from quirewell.stages.correcting import form_of
from quirewell.stages.refusal import Refusal
from quirewell.studio.faults import Stale
from quirewell.studio.undoing import record_of
from quirewell.web.forms import read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import own_path, render, see

ACTOR = "the practitioner"
Command = Callable[[ItemState, dict[str, str]], tuple[Draft, ...]]
Again = Callable[[Request, Refusal], Response]


@dataclass(frozen=True, slots=True)
class Row:
    """One field of two versions, side by side."""

    name: str
    saved: str
    yours: str
    differs: bool


async def save(request: Request, command: Command, back: str, again: Again) -> Response:
    """Carry out a form: ``back`` is the page it leads to, ``again`` shows a refusal in place."""
    sent = await read_form(request)
    return await run_in_threadpool(save_texts, request, dict(sent.texts), command, back, again)


def save_texts(
    request: Request, texts: dict[str, str], command: Command, back: str, again: Again
) -> Response:
    """:func:`save` once the form is read."""
    house = house_of(request)
    state = house.item(request.path_params["item"])
    target = own_path(texts.get("back", ""), back)
    if is_stale(state, texts):
        return stale_page(request, state, texts, target)
    try:
        events = _write(house, state, texts, command)
    except Stale:
        return stale_page(request, house.item(state.id), texts, target)
    except Refusal as refusal:
        if not refusal.values:
            refusal = Refusal(refusal.problems, refusal.rule, texts)
        return again(request, refusal)
    return see(target, done=events[-1].seq) if events else see(target)


def _write(
    house: House, state: ItemState, texts: dict[str, str], command: Command
) -> tuple[Event, ...]:
    """Append what a form says; one that edits no record (a button pressed twice, say) is read
    anew on what was saved meanwhile.

    Raises:
        Stale: the record that the form edits was changed meanwhile.
    """
    drafts = command(state, texts)
    try:
        return house.studio.append(
            state.id, state.version, drafts, actor=ACTOR, touched=touched_of(texts)
        )
    except Stale:
        newer = house.item(state.id)
        if texts.get("record") or newer.version == state.version:
            raise
        return _write(house, newer, texts, command)


def touched_of(texts: Mapping[str, str]) -> dict[str, int] | None:
    """The number a form carries for the record it edits."""
    record, touched = texts.get("record", ""), texts.get("touched", "")
    return {record: int(touched)} if record and touched.isdigit() else None


def is_stale(state: ItemState, texts: Mapping[str, str]) -> bool:
    """Whether the record a form edits was changed since the form was shown."""
    record, touched = texts.get("record", ""), texts.get("touched", "")
    return bool(record) and touched != str(state.touched.get(record, 0))


def stale_page(request: Request, state: ItemState, texts: dict[str, str], back: str) -> Response:
    """Both versions side by side, and a choice between them."""
    record = texts["record"]
    rows = tuple(
        Row(name.replace("_", " "), saved, yours, saved != yours)
        for name, yours in texts.items()
        if name not in ("record", "touched", "id", "back")
        for saved in (saved_text(state, record, name),)
    )
    return render(
        request, "stale.html", status=409, rows=rows, values={**texts, "back": back}, back=back,
        action=request.url.path, touched=state.touched.get(record, 0),
        item_id=state.id,
    )  # fmt: skip


def saved_text(state: ItemState, record: str, name: str) -> str:
    """What is saved now in a field of a record, as a form would show it."""
    held = record_of(state, record)
    if isinstance(held, Correction):
        return form_of(held).get(name, "")
    value: Any = getattr(held, name, "")
    if value is True or value is False:
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(str(getattr(entry, "material", entry)) for entry in value)
    return "" if value is None else str(value)


Endpoint = Callable[[Request], Awaitable[Response]]


def saver(
    command: Command, back: Callable[[Request], str], again: Callable[[str], Again], action: str
) -> Endpoint:
    """A route that saves one kind of form."""

    async def endpoint(request: Request) -> Response:
        return await save(request, command, back(request), again(action))

    return endpoint
