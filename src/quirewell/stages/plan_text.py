"""A plan file for the bench (TOML): read into a problem for the solver, and the names behind it.

``[plan]``: ``start`` (day and time, local), ``zone`` (IANA name), ``now`` (nothing new begins
before it), ``grid_min`` (5), ``time_limit_s`` (10), ``by`` (solver, rule), ``days`` (how far ahead
to look), ``mix_items`` (sheets of two items in one tray: false). ``[studio]``: :mod:`.plan_shop`.
``[[item]]``: ``name``, ``id``, ``recipe`` ("key" or "key@edition"), ``wraps`` (a count, or sheets
as "w01 w03" or "1-4"), ``cover``, ``pilot`` (a sheet, or "scrap"), ``minutes`` ({step = 30}),
``trays`` (["w01 w02", ..]), ``drying`` (factor on times of drying). ``[[done]]``: ``work``,
``start``, ``end``. ``[[recipe]]``: ``text``, a recipe's own text.

Times of drying: the recipe's time to plan with is the one by which nine sheets in ten are dry (its
own number; common practice unless the recipe says otherwise); its likely time stands beside.
``drying`` multiplies both, so their ratio stays the recipe's.
"""

from __future__ import annotations

import json
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.nouns import wrap_code
from quirewell.record.plain_data import BadData, toml_data
from quirewell.science.planning.bench_shop import Fixed, Hold, Problem, Shop, Tray, Wait, Work
from quirewell.stages import typed
from quirewell.stages.plan_past import Past, made_whole
from quirewell.stages.plan_shop import ShopText, count, read_shop, rows, text, unknown
from quirewell.stages.plan_time import Frame, frame_of, moment_of, zone_of
from quirewell.stages.recipe_keep import course_of
from quirewell.stages.recipe_text import Course, read_course, write_course
from quirewell.stages.recipe_works import works_of

PLAN = ("start", "zone", "now", "grid_min", "time_limit_s", "by", "days", "mix_items", "name")
ITEM = ("name", "id", "recipe", "wraps", "cover", "pilot", "minutes", "trays", "drying")
DONE = ("work", "start", "end")
RECIPE = ("text", "edition")
BYS = ("solver", "rule")
MOST_BYTES, MOST_ITEMS, MOST_SHEETS, MOST_DONE, MOST_RECIPES = 1_000_000, 12, 120, 10_000, 24
MOST_WORKS, SAID = 2500, 6
MOST_DAYS, GRIDS = 180, (1, 5, 10, 15)
_CODE = re.compile(r"c|w\d{2}")
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
_RANGE = re.compile(r"w?(\d{1,2})\s*(?:-|\u2013|to)\s*w?(\d{1,2})")


@dataclass(frozen=True, slots=True)
class Entry:
    """One item of a plan: its name and id, its course, the sheets treated, its pilot."""

    name: str
    id: str
    course: Course
    sheets: tuple[str, ...]
    pilot: str = ""
    drying: float = 1.0


@dataclass(frozen=True, slots=True)
class PlanText:
    """A plan file as read; ``notes`` are what was taken where the text says nothing.

    ``hurried`` is the problem with what is late already held to be done first, where there is such.
    """

    problem: Problem
    frame: Frame
    start: datetime
    items: tuple[Entry, ...]
    shop: ShopText
    time_limit_s: float
    by: str
    notes: tuple[str, ...]
    hurried: Problem | None = None

    def entry(self, id: str) -> Entry:
        """The item with an id."""
        return next(one for one in self.items if one.id == id)


def read_plan(
    plan: str, *, start: str = "", zone: str = "", now: str = "",
    done: Sequence[Mapping[str, Any]] = (),
) -> PlanText:  # fmt: skip
    """Read a plan file; ``start`` and ``zone`` stand where it says none, ``now`` and ``done`` (rows
    as ``[[done]]``) come on top of it.

    Raises:
        ValueError: with what was given, what is allowed and what to do.
    """
    data = _parsed(plan)
    head = _table(data, "plan")
    unknown(head, PLAN, "[plan]")
    where = zone_of(text(head, "zone", "[plan]") or zone)
    first = moment_of(head.get("start") or start, where, "[plan] start")
    frame = frame_of(first, where)
    grid = head.get("grid_min", 5)
    if isinstance(grid, bool) or grid not in GRIDS:
        raise ValueError(f"[plan]: grid_min is one of {', '.join(map(str, GRIDS))} minutes, "
                         f"got {str(grid)[:40]!r}")  # fmt: skip
    by = text(head, "by", "[plan]") or "solver"
    if by not in BYS:
        raise ValueError(f"[plan]: by is {' or '.join(BYS)}, got {by!r}")
    mix = head.get("mix_items", False)
    if not isinstance(mix, bool):
        raise ValueError("[plan]: mix_items is true or false; sheets of two items share no tray "
                         "unless it is true")  # fmt: skip
    notes: list[str] = []
    shop = read_shop(_table(data, "studio"))
    if "studio" not in data:
        notes.append("Nothing is said of the bench: one person on weekday evenings, two trays, a "
                     "rack of eight, a press and a chamber are assumed.")  # fmt: skip
    courses = _courses(data)
    items = tuple(_items(data, courses))
    works, waits, holds, trays = _all_works(items, data, mix)
    places = dict(shop.places)
    used = {name for work in works for name in work.uses}
    used |= {hold.equipment for hold in holds} | {tray.equipment for tray in trays}
    for name in sorted(used - set(places)):
        places[name] = 1
        notes.append(f"The bench is taken to have one {name}; write it under [studio.places].")
    fixed = _fixed((*_list(data, "done", MOST_DONE), *done), works, frame, where)
    moment = now or head.get("now")
    nothing_before = frame.up(first, grid)
    if moment:
        nothing_before = max(nothing_before, frame.up(moment_of(moment, where, "[plan] now"), grid))
    ahead = _days(head, works, shop, nothing_before)
    hours = shop.hours.minutes(frame, ahead)
    if not any(end > nothing_before for _, end in hours):
        raise ValueError(
            f"there are no working hours in the {ahead} days after the plan's start; write hours, "
            "or more [plan] days"
        )
    past = made_whole(works, waits, fixed, nothing_before, hours)
    notes += _past_said(past, items)
    problem = Problem(
        works, past.waits, Shop(places, hours, shop.people, grid), holds, trays,
        _given(items, data), past.fixed, nothing_before,
    )  # fmt: skip
    limit = head.get("time_limit_s", 10)
    if isinstance(limit, bool) or not isinstance(limit, int | float) or not 0.1 <= limit <= 3600:
        raise ValueError("[plan]: time_limit_s lies between 0.1 and 3600 seconds, got "
                         f"{str(limit)[:40]!r}")  # fmt: skip
    return PlanText(
        problem,
        frame,
        first,
        items,
        shop,
        float(limit),
        by,
        tuple(notes),
        replace(problem, waits=past.first) if past.first else None,
    )


def with_recipes(plan: str, bench: BenchState = EMPTY_BENCH) -> str:
    """The plan's text with the text of every recipe it uses embedded, so that it says the same
    whatever becomes of the recipes.

    Raises:
        ValueError: no plan file, or a recipe that is not known.
    """
    data = _parsed(plan)
    held = _courses(data)
    more = []
    for number, row in enumerate(_list(data, "item", MOST_ITEMS), 1):
        name = text(row, "recipe", f"[[item]] {number}")
        if not name or _course(name, held) is not None:
            continue
        course = course_of(bench, name)
        if course is None:
            raise ValueError(_no_recipe(name, number))
        held[course.id] = course
        more.append(course)
    parts = [plan.rstrip("\n")]
    for course in more:
        written = toml_text(course.text or write_course(course))
        parts.append(f"\n[[recipe]]\nedition = {course.edition}\ntext = {written}")
    return "\n".join(parts) + "\n"


def toml_text(given: str) -> str:
    """Text as a TOML string on one line."""
    return json.dumps(given, ensure_ascii=False).replace("\x7f", "\\u007f")


def slug(name: str) -> str:
    """A name as an id: letters, figures and hyphens.

    >>> slug("Copperbeck Garden Annual, 1936")
    'copperbeck-garden-annual-1936'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60]


def sheet_codes(given: object, where: str) -> tuple[str, ...]:
    """Sheets as people write them: "w01 w03", "1-4", 3, "c"; each once.

    Raises:
        ValueError: for what names no sheet.

    >>> sheet_codes(["c", "1-3", 5], "wraps")
    ('c', 'w01', 'w02', 'w03', 'w05')
    """
    out: dict[str, None] = {}
    for one in given if isinstance(given, list) else [given]:
        if isinstance(one, bool) or not isinstance(one, int | str):
            raise ValueError(f"{where}: a sheet is written as w03, 3 or c, got {one!r}")
        for word in re.split(r"[\s,;+]+", re.sub(r"\s*-\s*", "-", str(one).strip().lower())):
            span = _RANGE.fullmatch(word)
            if span:
                low, high = int(span[1]), int(span[2])
                if not 1 <= low <= high:
                    raise ValueError(f"{where}: {word!r} runs backwards or begins below 1")
                out.update(dict.fromkeys(map(wrap_code, range(low, high + 1))))
            elif word in ("c", "cover"):
                out["c"] = None
            elif re.fullmatch(r"w?\d{1,2}", word) and int(word.removeprefix("w")) >= 1:
                out[wrap_code(int(word.removeprefix("w")))] = None
            elif word:
                raise ValueError(f"{where}: {word[:40]!r} names no sheet; write w03, 3, 1-4 or c")
    return tuple(out)


# --- parts of the file ----------------------------------------------------------------------


def _parsed(plan: str) -> dict[str, Any]:
    if len(plan) > MOST_BYTES:
        raise ValueError(f"a plan file has at most {MOST_BYTES} signs, got {len(plan)}")
    try:
        data = toml_data(plan)
    except BadData as error:
        raise ValueError(f"this is no plan file (TOML): {str(error)[:200]}") from error
    unknown(data, ("plan", "studio", "item", "done", "recipe"), "a plan")
    return data


def _table(data: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    held = data.get(name, {})
    if not isinstance(held, dict):
        raise ValueError(f"write [{name}] as a heading, with its lines below")
    return held


def _list(data: Mapping[str, Any], name: str, most: int) -> list[dict[str, Any]]:
    held = data.get(name, [])
    if not isinstance(held, list) or not all(isinstance(row, dict) for row in held):
        raise ValueError(f"write each {name} under its own heading [[{name}]]")
    if len(held) > most:
        raise ValueError(f"a plan holds at most {most} of [[{name}]], got {len(held)}")
    return held


def _courses(data: Mapping[str, Any]) -> dict[str, Course]:
    held = {}
    for number, row in enumerate(_list(data, "recipe", MOST_RECIPES), 1):
        where = f"[[recipe]] {number}"
        unknown(row, RECIPE, where)
        given = row.get("text")
        if not isinstance(given, str) or not given.strip():
            raise ValueError(f"{where} holds the recipe's own text: text = '''...'''")
        try:
            course = read_course(given, count(row, "edition", where, 1, 0, 1_000_000))
        except ValueError as error:
            raise ValueError(f"{where}: {error}") from error
        held[course.id] = course
    return held


def _course(name: str, held: Mapping[str, Course]) -> Course | None:
    """A recipe of the text: by key and edition, or the newest edition of a key."""
    key, _, edition = name.partition("@")
    mine = [one for one in held.values() if one.key == key and edition in ("", str(one.edition))]
    return max(mine, key=lambda one: one.edition, default=None)


def _no_recipe(name: str, number: int) -> str:
    return (
        f"[[item]] {number}: there is no recipe {name[:60]!r}; name one of the recipes here, or "
        "put its text under [[recipe]]"
    )


def _items(data: Mapping[str, Any], courses: Mapping[str, Course]) -> Iterable[Entry]:
    given = _list(data, "item", MOST_ITEMS)
    if not given:
        raise ValueError("a plan needs at least one [[item]], with its name, recipe and wraps")
    ids: set[str] = set()
    names: set[str] = set()
    sheets = 0
    for number, row in enumerate(given, 1):
        where = f"[[item]] {number}"
        unknown(row, ITEM, where)
        name = text(row, "name", where)
        if not name:
            raise ValueError(f"{where} has no name: give one")
        if name in names:
            raise ValueError(f"{where}: two items are called {name!r}: give each its own name")
        id = text(row, "id", where, 80) or _free(slug(name) or f"item-{number}", ids)
        if not _ID.fullmatch(id) or id in ids:
            raise ValueError(
                f"{where}: an id is letters, figures, points and hyphens, each its own, got {id!r}"
            )
        ids.add(id)
        names.add(name)
        key = text(row, "recipe", where)
        if not key:
            raise ValueError(f'{where} ({name}) names no recipe: write recipe = "key"')
        course = _course(key, courses) or course_of(EMPTY_BENCH, key)
        if course is None:
            raise ValueError(_no_recipe(key, number))
        mine = _sheets(row, where)
        sheets += len(mine)
        if sheets > MOST_SHEETS:
            raise ValueError(f"a plan holds at most {MOST_SHEETS} sheets; {where} passes it")
        pilot = text(row, "pilot", where).lower()
        if pilot and pilot != "scrap":
            pilot = sheet_codes(pilot, f"{where} pilot")[0]
            if pilot not in mine:
                raise ValueError(f"{where}: pilot {pilot} is not among its sheets: "
                                 f"{' '.join(mine)}; or write scrap")  # fmt: skip
        drying = row.get("drying", 1)
        if (
            isinstance(drying, bool)
            or not isinstance(drying, int | float)
            or not (0.25 <= drying <= 4)
        ):
            raise ValueError(f"{where}: drying is a factor from 0.25 to 4, got "
                             f"{str(drying)[:40]!r}")  # fmt: skip
        yield Entry(name, id, course, mine, pilot, float(drying))


def _free(name: str, taken: set[str]) -> str:
    tries = (f"{name}-{n}" for n in range(2, len(taken) + 3))
    return next(one for one in (name, *tries) if one not in taken)


def _sheets(row: Mapping[str, Any], where: str) -> tuple[str, ...]:
    wraps = row.get("wraps", 0)
    cover = row.get("cover", isinstance(wraps, int))
    if not isinstance(cover, bool):
        raise ValueError(f"{where}: cover is true or false")
    if isinstance(wraps, int) and not isinstance(wraps, bool):
        if not 1 <= wraps <= 99:
            raise ValueError(f"{where}: wraps is a count from 1 to 99 or a list of sheets, "
                             f"got {str(wraps)[:40]}")  # fmt: skip
        codes = tuple(wrap_code(number) for number in range(1, wraps + 1))
    else:
        codes = sheet_codes(wraps, f"{where} wraps")
        if not codes:
            raise ValueError(f"{where}: name at least one sheet under wraps")
    if cover and "c" not in codes:
        codes = ("c", *codes)
    return codes


def _all_works(
    items: Sequence[Entry], data: Mapping[str, Any], mix: bool
) -> tuple[tuple[Work, ...], tuple[Wait, ...], tuple[Hold, ...], tuple[Tray, ...]]:
    works: list[Work] = []
    waits: list[Wait] = []
    holds: list[Hold] = []
    trays: dict[tuple[tuple[str, ...], str], Tray] = {}
    for number, (entry, row) in enumerate(zip(items, data["item"], strict=True), 1):
        where = f"[[item]] {number} ({entry.name})"
        minutes = _minutes(row, entry.course, where)
        try:
            made = works_of(
                entry.course, entry.id, entry.sheets, minutes=minutes, pilot=entry.pilot,
                mix_items=mix,
            )  # fmt: skip
        except ValueError as error:
            raise ValueError(f"{where}: {error}") from error
        # Trays are told apart by the steps they name: each item's own, or each recipe's where
        # sheets of two items may lie together.
        own = f"@{entry.course.id if mix else entry.id}" if len(items) > 1 else ""
        works += [replace(_dried(work, entry), step=work.step + own) for work in made.works]
        waits += made.waits
        holds += made.holds
        for tray in made.trays:
            tray = replace(tray, steps=tuple(key + own for key in tray.steps))
            known = trays.get((tray.steps, tray.equipment))
            if known is not None:
                tray = replace(tray, alone=tuple(dict.fromkeys((*known.alone, *tray.alone))))
            trays[tray.steps, tray.equipment] = tray
    if len(works) > MOST_WORKS:
        raise ValueError(f"this plan has {len(works)} works, and at most {MOST_WORKS} can be "
                         "planned at once: plan fewer items")  # fmt: skip
    return tuple(works), tuple(waits), tuple(holds), tuple(trays.values())


def _dried(work: Work, entry: Entry) -> Work:
    """A work of drying with the item's own factor on both of its times."""
    step = entry.course.step(work.step)
    if entry.drying == 1 or step is None or step.kind != "dry" or work.hands:
        return work
    likely = work.likely_minutes
    return replace(
        work, minutes=math.ceil(work.minutes * entry.drying),
        likely_minutes=None if likely is None else math.ceil(likely * entry.drying),
    )  # fmt: skip


def _minutes(row: Mapping[str, Any], course: Course, where: str) -> dict[str, int]:
    given = row.get("minutes", {})
    if not isinstance(given, dict):
        raise ValueError(f"{where}: minutes is a table such as {{wash = 30}}")
    out = {}
    for key, value in given.items():
        if course.step(key) is None:
            known = ", ".join(one.key for one in course.steps)
            raise ValueError(f"{where}: its recipe has no step {key[:60]!r}; it has {known}")
        if isinstance(value, str):
            value = math.ceil(typed.minutes(value))
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 20160:
            raise ValueError(f"{where}: minutes of {key} lie between 1 and 20160 (two weeks), "
                             f"got {str(value)[:40]!r}")  # fmt: skip
        out[key] = value
    return out


def _given(
    items: Sequence[Entry], data: Mapping[str, Any]
) -> tuple[tuple[tuple[str, str], ...], ...] | None:
    """Which sheets share a tray where the text says so; of an item that says nothing each sheet by
    itself only where another item says it."""
    said = [rows(row, "trays", "[[item]]") for row in data["item"]]
    if not any(said):
        return None
    out: list[tuple[tuple[str, str], ...]] = []
    for number, (entry, given) in enumerate(zip(items, said, strict=True), 1):
        left = dict.fromkeys(entry.sheets)
        for line in given:
            group = sheet_codes(line, f"[[item]] {number} trays")
            for code in group:
                if code not in left:
                    raise ValueError(f"[[item]] {number} trays: {code} is named twice, or is not "
                                     "among its sheets")  # fmt: skip
                del left[code]
            out.append(tuple((entry.id, code) for code in group))
        out += [((entry.id, code),) for code in left]
    return tuple(out)


def _fixed(
    given: Iterable[Mapping[str, Any]], works: Sequence[Work], frame: Frame, zone: Any
) -> tuple[Fixed, ...]:
    known = {work.id for work in works}
    out: dict[str, Fixed] = {}
    for number, row in enumerate(given, 1):
        where = f"[[done]] {number}"
        unknown(row, DONE, where)
        id = text(row, "work", where)
        if id not in known:
            raise ValueError(f"{where}: the plan has no work {id!r}; a work is named "
                             "item/sheet/step, as in annual/w01/wash")  # fmt: skip
        begun = frame.minute(moment_of(row.get("start"), zone, f"{where} start"))
        end = None
        if row.get("end"):
            end = frame.minute(moment_of(row["end"], zone, f"{where} end"))
            if end < begun:
                raise ValueError(f"{where}: {id} ends before it begins")
        out[id] = Fixed(id, begun, end)
    return tuple(out.values())


def _past_said(past: Past, items: Sequence[Entry]) -> Iterable[str]:
    """What was taken of the past without a note of it, in words."""
    by_id = {one.id: one for one in items}

    def words(ids: Sequence[str]) -> str:
        said = []
        for id in ids[:SAID]:
            item, sheet, key = id.split("/")
            step = by_id[item].course.step(key)
            said.append(f"{step.name if step else key} ({sheet.replace('-', 'the item')})")
        return "; ".join(said) + (f"; {len(ids) - SAID} more" if len(ids) > SAID else "")

    for ids, start in (
        (past.late, "Too late already, do it first"),
        (past.soaking, "Over its time and not noted as ended, so taken to go on until now"),
        (past.over, "Taken as over, since what comes after has begun"),
        (past.begun, "Taken as begun by itself, since what comes before is over"),
    ):
        if ids:
            yield f"{start}: {words(ids)}."


def _days(head: Mapping[str, Any], works: Sequence[Work], shop: ShopText, begin: int) -> int:
    """How many days ahead hours are laid out: as written, or three times what the work of hands
    needs and what lies unattended, one after another; counted from the moment before which
    nothing begins, so that a plan left lying for months can be taken up again."""
    gone = begin // 1440
    if "days" in head:
        return gone + count(head, "days", "[plan]", 30, 1, MOST_DAYS)
    attended = sum(work.minutes for work in works if work.hands)
    alone = sum(work.minutes for work in works if not work.hands)
    a_day = max(shop.hours.a_week / 7, 30.0)
    need = 3 * attended / a_day + alone / 1440 + 15
    return gone + min(MOST_DAYS, math.ceil(need))
