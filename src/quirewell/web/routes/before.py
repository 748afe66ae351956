"""Before water: checks, ink tests, what is to be kept, the pilot; each entered in place."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from quirewell.record.nouns import ItemState
from quirewell.stages import before_view, checks, keeping, pilot, treat
from quirewell.stages.all_items import materials_used
from quirewell.stages.cautions import LOCAL_CODES, plain, protective
from quirewell.stages.ink_gate import COLOUR_SEEN
from quirewell.stages.places import read_places
from quirewell.stages.refusal import Refusal, refused
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.stock import stock_view
from quirewell.stages.taking_in import Source, take_in
from quirewell.web.choices import places
from quirewell.web.forms import UPLOAD_BYTES, Sent, read_form
from quirewell.web.house import House, house_of
from quirewell.web.page import render_item
from quirewell.web.routes.treat import now_utc
from quirewell.web.saving import ACTOR, Again, Command, Endpoint, save_texts

CAUTIONS = ("ink-first", "wet-weak", "staples-out", "coated", "mould")


def page(request: Request) -> Response:
    """What stands between the sheets and the water."""
    return _page(request, None, "")


def _page(request: Request, refusal: Refusal | None, action: str) -> Response:
    house = house_of(request)
    state = house.item(request.path_params["item"])
    return render_item(
        request, "before.html", state, "treat", refusal=refusal, action=action,
        view=before_view.before(state), begins=before_view.test_begins(state),
        places=places(state), tests=treat.view(state)["spot_tests"], colours=_colours(state),
        wet_kinds=[(key, STEP_KINDS[key].name) for key in pilot.WET_KINDS],
        cautions_first=plain(CAUTIONS), gear=protective("lime-bath"), local_codes=LOCAL_CODES,
        shelf_mind=_shelf(house, state), touched_at=state.touched,
    )  # fmt: skip


def _colours(state: ItemState) -> list[tuple[str, str, tuple[str, ...]]]:
    """Colours that a person added, each with its record and places."""
    return [
        (one.id, one.note, one.places)
        for one in state.checks.values() if one.key == COLOUR_SEEN
    ]  # fmt: skip


def _shelf(house: House, here: ItemState) -> tuple[str, ...]:
    """Lots past their day or nearly used up, over what all items took."""
    bench = house.studio.bench()
    if not bench.stock:
        return ()
    return stock_view(bench, materials_used(house.studio), date.today())[1]


def _again(action: str) -> Again:
    return lambda request, refusal: _page(request, refusal, action)


def _entry(command: Command, name: str) -> Endpoint:
    """A route that keeps one entry, with the picture that came along."""

    async def endpoint(request: Request) -> Response:
        sent = await read_form(request, most=UPLOAD_BYTES, files=1)
        return await run_in_threadpool(_kept, request, sent, command, name)

    return endpoint


def _kept(request: Request, sent: Sent, command: Command, name: str) -> Response:
    house = house_of(request)
    texts = {**sent.texts, "at": now_utc(), "zone": house.studio.settings.zone}
    if not texts.get("places", "").strip() and texts.get("otherwise"):
        texts["places"] = texts["otherwise"]
    back = f"/item/{request.path_params['item']}/treat/before#{name}"
    try:
        if sent.files:
            state = house.item(request.path_params["item"])
            texts["capture"] = _picture(house, state, sent, texts)
    except Refusal as refusal:
        return _page(request, refusal, name)
    finally:
        for entry in sent.files:
            entry.file.close()
    return save_texts(request, texts, command, back, _again(name))


def _picture(house: House, state: ItemState, sent: Sent, texts: Mapping[str, str]) -> str:
    """The picture taken in with its place; its id.

    Raises:
        Refusal: a place that is none, or no picture.
    """
    field = "place" if texts.get("place") else "places"
    place = read_places(state, texts, field=field, otherwise="item")[0]
    entry = sent.files[0]
    report = take_in(
        house.studio, state.id, [Source(_named(entry.filename or ""), entry.file)],
        runner=house.runner, actor=ACTOR, at_bench=place,
    )  # fmt: skip
    taken = [arrival.capture for arrival in report.arrivals if arrival.ok]
    if not taken:
        says = report.stopped or "; ".join(one.says for one in report.refused)
        raise refused(texts, "files", says or "that picture could not be read")
    return taken[0]


def _named(name: str) -> str:
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[:200] or "bench picture"


FORMS: Mapping[str, Command] = {
    "checks": checks.answer_check,
    "colours": checks.add_colour,
    "inks": treat.record_spot_test,
    "keeps": keeping.note_keep,
    "pilot": pilot.choose_pilot,
    "scrap": pilot.tell_scrap,
    "judge": pilot.judge_pilot,
    "aside": treat.set_aside,
}

routes = [
    Route("/item/{item}/treat/before", page),
    *(
        Route(f"/item/{{item}}/treat/before/{name}", _entry(command, name), methods=["POST"])
        for name, command in FORMS.items()
    ),
]
