"""Bench plans in the studio: what the bench has, a plan's text out of the items, plans kept.

The plan's own text is what the run keeps; :func:`ask` gives the parameters for a worker
(:mod:`.plan_job`), :func:`keep` keeps its run.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.benchwork import BenchPlan, Shop
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState, Retract
from quirewell.stages import bench_planning, typed
from quirewell.stages.parcel_items import names_of
from quirewell.stages.parcel_service import STREAM
from quirewell.stages.plan_hours import EVENINGS
from quirewell.stages.plan_shop import PLACES, read_shop
from quirewell.stages.plan_text import toml_text, with_recipes
from quirewell.stages.refusal import Refusal, no, refused
from quirewell.stages.sale_entry import clean
from quirewell.studio.clock import bench_zone

Form = Mapping[str, str]


# --- what the bench has ---------------------------------------------------------------------


def shop_text(bench: BenchState) -> str:
    """What the bench has as text (``[studio]``): the newest kept, or one person's evenings."""
    newest = next(reversed(bench.shops.values()), None)
    return newest.text if newest else _shop({"people": 1, "hours": list(EVENINGS)}, PLACES)


def shop_form(bench: BenchState) -> dict[str, str]:
    """The same as the texts of a form: ``people``, ``hours``, ``off``, ``extra`` (a rule a line)
    and ``place:NAME`` for each equipment."""
    data = tomllib.loads(shop_text(bench))["studio"]
    out = {"people": str(data.get("people", 1))}
    for name in ("hours", "off", "extra"):
        held = data.get(name, [])
        out[name] = "\n".join(map(str, held if isinstance(held, list) else [held]))
    for name, number in {**PLACES, **data.get("places", {})}.items():
        out[f"place:{name}"] = str(number)
    return out


def set_shop(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Say what the bench has; a form as :func:`shop_form` gives it, ``more`` naming further
    equipment a line each ("light table 1"). Boxes left out stay as they were.

    Raises:
        Refusal: hours that cannot be read, or a count that cannot be.
    """
    held = {**shop_form(bench), **{k: v for k, v in form.items() if not k.startswith("place:")}}
    places = {
        name.removeprefix("place:"): _whole(form, name, text)
        for name, text in {**shop_form(bench), **form}.items()
        if name.startswith("place:") and text.strip()
    }
    for line in form.get("more", "").splitlines():
        name, _, number = line.strip().rpartition(" ")
        if line.strip():
            places[name.strip().lower()] = _whole(form, "more", number)
    data: dict[str, Any] = {"people": _whole(form, "people", held["people"] or "1")}
    for name in ("hours", "off", "extra"):
        data[name] = [line.strip() for line in held.get(name, "").splitlines() if line.strip()]
    for name, tried in (
        ("people", {"people": data["people"]}),
        ("hours", {"hours": data["hours"]}),
        ("off", {"off": data["off"]}),
        ("extra", {"extra": data["extra"]}),
        ("more", {"places": places}),
    ):
        try:
            read_shop(tried)
        except ValueError as error:
            says = re.sub(r"^\[studio[^\]]*\]:? ", "", f"{error}")
            raise refused(form, name, says) from error
    noun = Shop(f"shop-{bench.version + 1}", _shop(data, places))
    return (Draft(STREAM, "shop.set", to_body(noun)),)


def _whole(form: Form, field: str, text: str) -> int:
    if not text.strip().isdigit() or len(text.strip()) > 4:
        raise no(form, field, f"Write a whole number here, got {text.strip()[:40] or 'nothing'!r}.")
    return int(text)


def _shop(data: Mapping[str, Any], places: Mapping[str, int]) -> str:
    lines = ["[studio]", f"people = {data['people']}"]
    for name in ("hours", "off", "extra"):
        if data.get(name):
            lines.append(f"{name} = [{', '.join(map(toml_text, data[name]))}]")
    lines += ["", "[studio.places]"]
    lines += [f"{toml_text(name)} = {number}" for name, number in places.items()]
    return "\n".join(lines) + "\n"


# --- a plan out of the items ----------------------------------------------------------------


def text_of(bench: BenchState, states: Iterable[ItemState], form: Form) -> str:
    """A plan file out of the studio: ``items`` (ids with spaces between), ``recipe`` for all or
    ``recipe:ID``, ``start`` (local; else ``at``, the moment of asking), ``zone``; optional
    ``sheets:ID``, ``pilot:ID``, ``drying:ID``, ``trays:ID`` (a tray a line), ``minutes:ID`` (a step
    a line: "wash 30"), ``by``, ``time_limit_s``, ``mix_items`` (yes).

    Raises:
        Refusal: nothing chosen, an item without recipe or without its count of wraps.
    """
    by_id = {state.id: state for state in states}
    chosen = list(dict.fromkeys(form.get("items", "").split()))
    if not chosen:
        raise no(form, "items", "Choose at least one item to plan.")
    zone = form.get("zone", "").strip() or bench_zone()
    start = form.get("start", "").strip() or form.get("at", "").strip()
    if not start:
        raise no(form, "start", "Say when the work begins: a day and a time.")
    head = ["[plan]", f"start = {toml_text(start)}", f"zone = {toml_text(zone)}"]
    if form.get("by", "").strip():
        head.append(f"by = {toml_text(form['by'].strip())}")
    if form.get("mix_items") == "yes":
        head.append("mix_items = true")
    parts = ["\n".join(head), shop_text(bench).rstrip()]
    names = names_of(by_id.values())
    for id in chosen:
        if id not in by_id:
            raise no(form, "items", f"There is no item {id!r} in this studio.")
        parts.append(_item(by_id[id], names[id], form))
    try:
        return with_recipes("\n\n".join(parts) + "\n", bench)
    except ValueError as error:
        raise refused(form, "recipe", f"{error}") from error


def _item(state: ItemState, name: str, form: Form) -> str:
    id = state.id

    def of(key: str) -> str:
        return form.get(f"{key}:{id}", "").strip()

    recipe = of("recipe") or form.get("recipe", "").strip()
    if not recipe:
        raise no(form, f"recipe:{id}", f"Choose a recipe for {name}.")
    sheets = of("sheets")
    if not sheets:
        if state.gathering is None:
            raise no(
                form,
                f"sheets:{id}",
                f"Say how many wraps {name} has, on its first page, or name its sheets here.",
            )
        sheets = " ".join(state.gathering.sheets())
    lines = [
        "[[item]]", f"name = {toml_text(clean(name, 200))}", f"id = {toml_text(id)}",
        f"recipe = {toml_text(recipe)}", f"wraps = [{toml_text(sheets)}]",
    ]  # fmt: skip
    pilot = of("pilot") or pilot_of(state)
    if pilot and pilot != "none":
        lines.append(f"pilot = {toml_text(pilot)}")
    if of("drying"):
        lines.append(f"drying = {_decimal(form, f'drying:{id}')}")
    if of("trays"):
        rows = [line.strip() for line in of("trays").splitlines() if line.strip()]
        lines.append(f"trays = [{', '.join(map(toml_text, rows))}]")
    if of("minutes"):
        pairs = [
            line.strip().replace("=", " ").partition(" ") for line in of("minutes").splitlines()
        ]
        held = [f"{toml_text(a)} = {toml_text(b.strip())}" for a, _, b in pairs if a]
        lines.append(f"minutes = {{{', '.join(held)}}}")
    return "\n".join(lines)


def pilot_of(state: ItemState) -> str:
    """The sheet (or "scrap") that goes first by the record; nothing where a pilot was accepted or
    none is named."""
    held = list(state.pilots.values())
    if not held or any(one.accepted == "yes" for one in held):
        return ""
    waiting = [one for one in held if not one.accepted]
    if not waiting:
        return ""
    return waiting[-1].place.partition(".")[0] or ("scrap" if waiting[-1].scrap else "")


def _decimal(form: Form, field: str) -> str:
    try:
        return f"{float(typed.number(form[field]))}"
    except ValueError as error:
        raise refused(form, field, f"{error}") from error


def ask(bench: BenchState, states: Iterable[ItemState], form: Form) -> dict[str, str]:
    """Parameters of a plan for a worker, tried before.

    Raises:
        Refusal: with a sentence, at the box it concerns where that is known.
    """
    known = list(states)
    params = {"plan": text_of(bench, known, form)}
    if form.get("time_limit_s", "").strip():
        params["seconds"] = _decimal(form, "time_limit_s")
    try:
        bench_planning.check(params, bench)
    except ValueError as error:
        raise _refused(form, f"{error}", names_of(known)) from error
    return params


def _refused(form: Form, says: str, names: Mapping[str, str]) -> Refusal:
    """A fault of the plan's text at the box it came from, the item called by its name."""
    chosen = list(dict.fromkeys(form.get("items", "").split()))
    field = next((name for sign, name in _BOXES if sign in says), "plan")
    found = re.match(r"\[\[item\]\] (\d+)(?: \([^)]*\))?:? ?", says)
    if found is not None:
        id = chosen[int(found[1]) - 1]
        rest = says[found.end() :]
        key = next((one for one in (*_ITEM_BOXES, "minutes") if rest.startswith(one)), "minutes")
        return refused(form, f"{key}:{id}".replace("wraps:", "sheets:"), f"{names[id]}: {rest}")
    return refused(form, field, says.replace("[plan]: ", "").replace("[plan] ", "the "))


_BOXES = (("[plan] start", "start"), ("time zone", "zone"), ("seconds", "time_limit_s"),
          ("working hours", "hours"))  # fmt: skip
_ITEM_BOXES = ("wraps", "trays", "pilot", "drying", "recipe")


# --- plans kept -----------------------------------------------------------------------------


def keep(
    bench: BenchState, run: Run, items: Mapping[str, str], at: str, note: str = ""
) -> tuple[Draft, ...]:
    """Keep a plan as it was worked out; ``items`` are the ids behind its names (empty: the
    plan's own)."""
    held = dict(items) or bench_planning.as_json(run)["items"]
    plan = BenchPlan(f"bench-plan-{bench.version + 1}", run, at, note, held)
    return (Draft(STREAM, "bench_plan.kept", to_body(plan)),)


def aside(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set a plan aside; it stays in the journal.

    Raises:
        Refusal: there is none of that id.
    """
    id = form.get("id", "")
    if id not in bench.bench_plans:
        raise no(form, "id", "There is no such plan; it may have been set aside meanwhile.")
    return (Draft(STREAM, "record.retracted", to_body(Retract(id))),)


def newest(bench: BenchState) -> BenchPlan | None:
    """The plan kept last that was not set aside."""
    return next(reversed(bench.bench_plans.values()), None)


def told_of(plan: BenchPlan) -> dict[str, Any]:
    """A plan as plain data (``bench_planning.as_json``), with its id and when it was kept."""
    return {**bench_planning.as_json(plan.run), "id": plan.id, "at": plan.at, "note": plan.note}
