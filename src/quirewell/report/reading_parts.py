"""Which part of the report's content becomes which blocks of the page, in the report's order.

Every key of the content has a row here. A part without one is still shown, under "More", but a
test stops: say here how it reads, :func:`anything` being enough where it has an order already.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from quirewell.record.nouns import ItemState
from quirewell.report.condition_drawing import condition_drawing
from quirewell.report.damage import MOST_NOTE
from quirewell.report.in_short import HOW
from quirewell.report.reading_shape import (
    GENERAL,
    Block,
    Cell,
    Refs,
    anything,
    cell,
    listed_of,
    row,
    table,
    words,
)
from quirewell.report.references import reference_words
from quirewell.stages.damage_schedule import schedule
from quirewell.stages.results import Shown
from quirewell.stages.working import newest
from quirewell.stages.working_rows import WORKINGS

JOURNAL: Refs = ("journal",)
Render = Callable[[Any, ItemState], list[Block]]


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the content by its path, the chapter it stands in, and how it reads."""

    path: str
    chapter: str
    render: Render


CHAPTERS = {
    "short": "In short",
    "item": "The item",
    "before": "Condition before treatment",
    "decided": "What was decided",
    "done": "What was done",
    "rejoin": "Taken apart and put together",
    "finish": "Damp, heat and press",
    "results": "Measured results",
    "plates": "Plates",
    "wrong": "What is still wrong",
    "later": "Afterwards",
    "outlook": "Outlook",
    "keeps": "What it keeps, and where",
    "not": "What was not measured",
    "keeping": "Keeping it",
    "how": "How it was measured",
    "cautions": "Cautions",
    "record": "This record",
    "more": "More",
}
# Told by the page's own head, or only drawn on paper.
HEADING = frozenset(("title", "year", "day", "drawing", "drawing_alt"))


def _short(value: Any, state: ItemState) -> list[Block]:
    """Each sentence of the summary as a list of what it says, every part with its own sources."""
    out: list[Block] = []
    for name, parts in value:
        if parts == [HOW]:  # How paper leads on; the page says at its head how it does.
            continue
        said: list[list[Any]] = [[]]
        for part in parts:
            if part == "; ":
                said.append([])
            else:
                said[-1].append(part)
        rows = tuple((_said(one),) for one in said if one)
        out.append(Block("list", rows, name))
    return out


def _said(parts: list[Any]) -> Cell:
    refs = dict.fromkeys(ref for one in parts if isinstance(one, Shown) for ref in one.refs)
    words = "".join(one.text if isinstance(one, Shown) else one for one in parts)
    return Cell(words, tuple(refs) or JOURNAL)


def _item_rows(value: Any, state: ItemState) -> list[Block]:
    refs = [JOURNAL if name == "Record" else ("item",) for name, _ in value]
    return table(value, refs=refs)


def _made(value: Any, state: ItemState) -> list[Block]:
    refs = ("gathering",) if state.gathering else ("item",)
    return table(value, refs=refs, title="How it is made")


SCHEDULE = ("No.", "Where", "What", "How bad", "Measured", "Extent", "Note", "From")


def _condition(moment: str) -> Render:
    def render(value: Any, state: ItemState) -> list[Block]:
        lines = [one for one in schedule(state) if one.moment == moment]
        ids = {one.number: one.id for one in lines}
        out = table(value["rows"], SCHEDULE, [(one.id,) for one in lines], "Schedule")
        noted = [(one.id,) for one in lines if len(one.note) > MOST_NOTE]
        out += table(value["notes"], ("No.", "Note"), noted)
        out += table(value["sums"], ("What", "How many", "Drawn", "", "Besides"), title="Added up")
        if value["grade"]:
            title = "The estimate by eye"
            out += table([value["grade"]], ("Estimate", "In words", "By"),
                         (f"grade.{moment}",), title)  # fmt: skip
        out += _drawn(value["drawn"], state, moment, ids)
        known = frozenset(("rows", "notes", "sums", "grade", "drawn"))
        return out + anything({k: v for k, v in value.items() if k not in known}, JOURNAL)

    return render


def _drawn(
    value: dict[str, Any], state: ItemState, moment: str, ids: dict[int, str]
) -> list[Block]:
    if not value:
        return []
    drawing = condition_drawing(state, moment)
    small = [
        ([one["name"], one["numbers"]], one["numbers"].refs)
        for one, side in zip(value["small"], drawing.sides, strict=True) if side.numbers
    ]  # fmt: skip
    large = [
        ([one["name"], one["says"], one["beside"]],
         tuple(ids[n] for n in side.numbers if n in ids))
        for one, side in zip(value["large"], drawing.damaged, strict=True)
    ]  # fmt: skip
    out = table([r for r, _ in small], ("Side", "Numbers"), [i for _, i in small],
                "Where the damage lies")  # fmt: skip
    out += table([r for r, _ in large], ("Side", "Drawn", "Beside it"), [i for _, i in large],
                 "Each damaged side")  # fmt: skip
    rows = [[one["name"], *(number for (number,) in one["figures"])] for one in value["large"]]
    out += table(rows, title="Each number in these drawings")
    return out + words(value["elsewhere"])


def _grade(value: Any, state: ItemState) -> list[Block]:
    run = newest(state, WORKINGS["grade"])
    if not value or run is None:
        return []
    refs: Refs = (f"run:{run.id}",)
    heads = {
        "deductions": ("What", "Points off", "90 %"),
        "repairs": ("Repair", "Risk, and what it leaves", "Can it be undone", "Could gain"),
    }
    told = {f"{key}_head": head for key, head in heads.items()}
    return anything({**value, **told}, refs, "An estimate by rules; nobody’s grade")


def _decision(value: Any, state: ItemState) -> list[Block]:
    if not value:
        return []
    known = ("flag", "facts", "options", "money")
    out = listed_of(value["flag"], ("choice",))
    out += table([one for one in value["facts"] if one[1]], refs=("choice",))
    head = ("Option", "Hours (least to most)", "Chance of a mishap", "Lasts, times as long (90 %)")
    out += table(value["options"], head, _each(value["options"], ("choice",)),
                 "What stood beside it")  # fmt: skip
    out += words(value["money"], general=GENERAL)
    return out + anything({k: v for k, v in value.items() if k not in known}, ("choice",))


def _each(rows: Sequence[Sequence[Any]], otherwise: Refs) -> list[Refs]:
    """For each row the refs of its first number, or ``otherwise``."""
    return [
        next((one.refs for one in held if isinstance(one, Shown) and one.refs), otherwise)
        for held in rows
    ]


def _photographs(value: Any, state: ItemState) -> list[Block]:
    if not value:
        return []
    rows = tuple((cell(one["says"], (one["capture"],)),) for one in value)
    shots = tuple((one["sha256"], one["capture"], one["says"]) for one in value)
    note = "As taken, with no adjustment; colours in these photographs are not measured."
    return [Block("photographs", rows, "The whole thing", note=note, shots=shots)]


def _steps(value: Any, state: ItemState) -> list[Block]:
    done = sorted(
        (one for one in state.steps.values() if one.state == "done"),
        key=lambda one: (one.started_at or one.done_at, one.id),
    )
    if not value:
        return words("No treatment step is recorded as done.", JOURNAL)
    out: list[Block] = []
    for told, step in zip(value, done, strict=True):
        refs: Refs = (step.id,)
        facts = [told["day"], told["where"], *told["facts"], told["permanence"]]
        names = [*STEP, *[""] * (len(facts) - len(STEP) - 1), "Permanence"]
        out += table([facts], names, refs, told["name"])
        says = [one for one in (told["does"], told["note"], *told["materials"]) if one]
        if told["evidence"] and told["permanence"] == "permanent":
            says.append(f"Gone with this step: {told['evidence']}.")
        out += listed_of(says, refs)
    return out


def _of(name: str, title: str, head: Sequence[str]) -> Render:
    """Rows that stand one to a record of a collection, in its order."""

    def render(value: Any, state: ItemState) -> list[Block]:
        return table(value, head, [(key,) for key in getattr(state, name)], title)

    return render


def _open(value: Any, state: ItemState) -> list[Block]:
    return listed_of(value, title="Not finished")


def _permanence(value: Any, state: ItemState) -> list[Block]:
    title = "What the marks of permanence mean"
    return listed_of([f"{name}: {says}" for name, says in value], general=GENERAL, title=title)


def _lost(value: Any, state: ItemState) -> list[Block]:
    title = "Evidence that permanent steps took away"
    return table(value, ("Step", "What is gone"), title=title)


def _before_water(value: Any, state: ItemState) -> list[Block]:
    asked = ("Check", "Answer", "Sheets", "Note")
    out = table(value["checks"], asked, title="Asked before water")
    out += _of("keeps", "Kept on purpose", ("What", "Where", "Why"))(value["keeps"], state)
    head = ("Pilot", "Went through", "When", "Measured", "Verdict")
    return out + _of("pilots", "The pilot", head)(value["pilots"], state)


def _trials(value: Any, state: ItemState) -> list[Block]:
    ids = list(reversed(state.trials))
    out: list[Block] = []
    for told, key in zip(value, ids, strict=True):
        drawn = {name: part for name, part in told.items() if name != "figures"}
        out += anything(drawn, (key,))
        out += table(told["figures"], title="In the drawing of it")
    return out


def _worked(value: Any, state: ItemState) -> list[Block]:
    """Computations told each by its sentence, its table and its notes; all of them numbers."""
    out: list[Block] = []
    for one in value:
        refs = _first_refs(one) or JOURNAL
        out += anything(one, refs)
    return out


def _first_refs(value: Any) -> Refs:
    if isinstance(value, Shown):
        return value.refs if value.text else ()
    held = value.values() if isinstance(value, dict) else value
    if isinstance(held, str) or not hasattr(held, "__iter__"):
        return ()
    return next((refs for one in held if (refs := _first_refs(one))), ())


def _baths(value: Any, state: ItemState) -> list[Block]:
    out: list[Block] = []
    for told in value:
        refs: Refs = (told["name"],)
        heads = {
            "rows_head": ("Computed for a fresh, covered bath", "Value", "90 % band"),
            "wraps_head": ("Wrap", "pH (90 %)", "Alkali, mol/kg (90 %)",
                           "Reserve, % CaCO3 (90 %)"),
            "bench_head": ("This bench, by what the tray read", "Value (90 %)"),
        }  # fmt: skip
        out += anything({**told, **heads, "title": "Lime-water bath"}, refs)
    return out


def _staples(value: Any, state: ItemState) -> list[Block]:
    return listed_of(value, title="Staples")


def _disclosed(value: Any, state: ItemState) -> list[Block]:
    refs = tuple(k for k, one in state.staples.items() if one.care in ("replace", "leave out"))
    return words("Told openly: not every staple in it now is its own.", refs) if value else []


def _rejoin(title: str) -> Render:
    def render(value: Any, state: ItemState) -> list[Block]:
        refs = _first_refs(value) or JOURNAL
        return anything(value, refs, title) if value else []

    return render


def _press(value: Any, state: ItemState) -> list[Block]:
    return anything(value, _first_refs(value) or JOURNAL, "Inside the press") if value else []


def _totals(value: Any, state: ItemState) -> list[Block]:
    if not value:
        says = "No page has been measured both before and after treatment, so no change can be "
        return words(says + "given.", JOURNAL)
    return table(value, ("In short", "Value", "Where"))


def _by_sheet(title: str, head: Sequence[str], note: str) -> Render:
    def render(value: Any, state: ItemState) -> list[Block]:
        out: list[Block] = []
        for sheet in value:
            name = sheet["name"] + (f": {sheet['pages']}" if sheet.get("pages") else "")
            out += table(sheet["rows"], head, title=f"{title}: {name}", note="" if out else note)
        return out

    return render


def _sizes(value: Any, state: ItemState) -> list[Block]:
    out: list[Block] = []
    for sheet in value:
        rows = []
        for name, *held in sheet["rows"]:
            for moment, found in (("before", held[0::2]), ("after", held[1::2])):
                if any(found):
                    rows.append([name, moment, *found])
        note = "" if out else "Paper as scanned; L* is lightness, b* yellowness of unprinted paper."
        title = f"Size and paper tone: {sheet['name']}"
        out += table(rows, ("Page", "When", "Width", "Height", "L*", "b*"), title=title, note=note)
    return out


def _inks(value: Any, state: ItemState) -> list[Block]:
    head = ("Found changed on", "Ink", "Change", "Paper round it", "Verdict")
    none = ("No change found in", "Pages", "Looks", "Surely seen from")
    note = "Each ink by itself, the paper’s change taken out (CIEDE2000)."
    out = table(value["found"], head, title="Inks", note=note)
    out += table(value["none"], none, title="Inks in which no change was found")
    known = ("found", "none")
    return out + anything({k: v for k, v in value.items() if k not in known}, JOURNAL)


def _outlook(value: Any, state: ItemState) -> list[Block]:
    return anything(value, _first_refs(value) or JOURNAL)


def _margins(value: Any, state: ItemState) -> list[Block]:
    return table(value, ("Change of", "Still called none"),
                 title="Limits set before measuring and not moved since")  # fmt: skip


def _evidence(value: Any, state: ItemState) -> list[Block]:
    heads = ("Over all leaves", "Mean change (90 %)", "Margin", "Surely seen from", "Verdict")
    title = "Whether it changed, over all leaves"
    return anything({**value, "rows_head": heads}, _first_refs(value) or JOURNAL, title)


def _shades(value: Any, state: ItemState) -> list[Block]:
    out: list[Block] = []
    for one in value:
        head = ("Mean of its pages", "Front leaf", "Back leaf")
        out += words(one["says"], title=one["name"]) + table(one["figures"], head)
    return out


def _plates(value: Any, state: ItemState) -> list[Block]:
    return [
        Block(
            "plate", tuple(row(fact) for fact in one["facts"] if fact[1]), one["name"],
            place=one["place"], shots=one["shots"],
        )
        for one in value
    ]  # fmt: skip


def _not_measured(value: Any, state: ItemState) -> list[Block]:
    return listed_of(value, JOURNAL)


def _remaining(value: Any, state: ItemState) -> list[Block]:
    if not value:
        return words("Nothing is noted as still wrong after treatment.", JOURNAL)
    return _of("remaining", "", ("Where", "What"))(value, state)


def _methods(value: Any, state: ItemState) -> list[Block]:
    if not value:
        return words("No measuring method was used.", JOURNAL)
    return table(value, ("Method", "What it does", "Runs", "On whose word", "Sources"))


def _sources(value: Any, state: ItemState) -> list[Block]:
    keys = [one["source"] for one in value]
    rows = [(key, reference_words(key)) for key in keys]
    return table(rows, ("Key", "Source"), [(f"source:{key}",) for key in keys], "Sources")


def _cautions(title: str) -> Render:
    def render(value: Any, state: ItemState) -> list[Block]:
        rows = []
        for says, standing, source in value:
            basis = f"{GENERAL}; {standing}"
            refs: Refs = (f"source:{source}",) if source else ()
            rows.append((cell(says, refs) if refs else cell(says, general=basis),))
        return [Block("list", tuple(rows), title)] if rows else []

    return render


def _general(value: Any, state: ItemState) -> list[Block]:
    held = [value] if isinstance(value, (str, Shown)) else value
    return listed_of(held, general=f"{GENERAL}; common practice, no source")


def _explained(value: Any, state: ItemState) -> list[Block]:
    return words(value, general="how to read the numbers")


def _record(name: str) -> Render:
    def render(value: Any, state: ItemState) -> list[Block]:
        return table([[name, value]], refs=JOURNAL)

    return render


STEP = ("When", "Where", "For", "At", "Way", "Course", "By")
READINGS = ("Where", "What", "Reading", "Warmth", "With", "When")
TESTS = ("Where", "Colour", "Liquid", "Time", "Warmth", "Result", "Note")
CHANGES = ("Page", "Width", "Height", "Surely seen from", "Paper colour", "Size")
DAMAGE = ("Page", "When", "Open tears", "Longest", "Stained", "Stains")
CHANGES_SAY = (
    "Width and height in per cent of the size before. A change as large as “surely seen from” is "
    "called in 95 of 100 cases; a smaller one may be called or missed."
)
DAMAGE_SAY = (
    "“Proposed” was found by measuring, “confirmed” by a person as well, “set aside” is what a "
    "person said is no tear. “None from” says what would have shown."
)
PARTS: tuple[Part, ...] = (
    Part("short", "short", _short),
    Part("item.rows", "item", _item_rows),
    Part("item.made", "item", _made),
    Part("item.notes", "item", lambda value, state: words(value, ("item",))),
    Part("drawing_says", "item", lambda value, state: words(value, title="On its first page")),
    Part("before", "before", _condition("before")),
    Part("photographs", "before", _photographs),
    Part("estimate", "before", _grade),
    Part("decision", "decided", _decision),
    Part("treatment.permanence", "done", _permanence),
    Part("treatment.steps", "done", _steps),
    Part("treatment.open", "done", _open),
    Part("treatment.lost", "done", _lost),
    Part("treatment.before", "done", _before_water),
    Part("treatment.tests", "done", _of("spot_tests", "Ink and solubility tests", TESTS)),
    Part("treatment.overrides", "done",
         _of("overrides", "Cautions passed over on purpose", ("Caution", "Reason given"))),
    Part("treatment.wrong", "done",
         _of("mishaps", "What went wrong", ("When", "Where", "What", "What was done about it"))),
    Part("treatment.trials", "done", _trials),
    Part("treatment.workings", "done", _worked),
    Part("treatment.baths", "done", _baths),
    Part("treatment.readings", "done", _of("readings", "Readings taken by hand", READINGS)),
    Part("rejoin.order", "rejoin", _rejoin("Order")),
    Part("rejoin.staples", "rejoin", _staples),
    Part("rejoin.disclosed", "rejoin", _disclosed),
    Part("rejoin.creep", "rejoin", _rejoin("")),
    Part("rejoin.match", "rejoin", _rejoin("Staple holes on each other")),
    Part("rejoin.laid", "rejoin", _rejoin("")),
    Part("rejoin.fold", "rejoin", _rejoin("")),
    Part("finish.press", "finish", _press),
    Part("finish.numbers", "finish", _worked),
    Part("finish.works", "finish", _worked),
    Part("results.plus_minus", "results", _explained),
    Part("results.totals", "results", _totals),
    Part("results.margins", "results", _margins),
    Part("results.evidence", "results", _evidence),
    Part("shades", "results", _shades),
    Part("results.changes", "results", _by_sheet("Change", CHANGES, CHANGES_SAY)),
    Part("results.inks", "results", _inks),
    Part("results.sizes", "results", _sizes),
    Part("results.damage", "results", _by_sheet("Tears and stains", DAMAGE, DAMAGE_SAY)),
    Part("large", "plates", _plates),
    Part("small", "plates", _plates),
    Part("remaining", "wrong", _remaining),
    Part("after", "wrong", _condition("after")),
    Part("afterwards", "wrong", _photographs),
    Part("later", "later", lambda value, state: anything(value, JOURNAL)),
    Part("results.outlook", "outlook", _outlook),
    Part("results.workings", "keeps", _worked),
    Part("results.not_measured", "not", _not_measured),
    Part("cautions.storage", "keeping", _general),
    Part("methods.rows", "how", _methods),
    Part("methods.warnings", "how",
         lambda value, state: listed_of(value, title="What the methods warned of")),
    Part("methods.sources", "how", _sources),
    Part("cautions.codes", "cautions", _general),
    Part("cautions.object", "cautions", _cautions("To the object")),
    Part("cautions.person", "cautions", _cautions("To the person")),
    Part("head", "record", _record("Journal head")),
    Part("version", "record", _record("Program")),
    Part("template", "record", _record("Template")),
)  # fmt: skip
# Parts whose keys each have a row of their own.
OPENED = frozenset(("item", "treatment", "rejoin", "finish", "results", "methods", "cautions"))
