"""Rejoin: the holes of all sheets matched, and a guide that lays one sheet after another.

Sheets are laid the cover first, then from the outermost wrap inwards, each with its inner side up
and its head away (common practice, no source): so left and right as a sheet lies are the other
way round than in its own frame, and what the guide says is said as it lies.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.record.rejoining import Joined
from quirewell.science.booklet.holes import HoleAt, Sheet
from quirewell.stages.aligning import METHOD
from quirewell.stages.asking import Asked, ask_all
from quirewell.stages.hole_pictures import expected_holes
from quirewell.stages.hole_table import write_holes
from quirewell.stages.leaves_laid import leaves_laid
from quirewell.stages.methods import run_method
from quirewell.stages.naming import sheet_of, sheet_words
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.sheet_edges import edges_of
from quirewell.stages.taking_apart import NO_GATHERING, printed_pages, staple_words

SUBJECT = "item"
USUAL_WIRE_MM = 0.5
# Moves below twice their own uncertainty, or below what a hand can set by eye (common practice, no
# source), are not asked for.
HAND_MM = 0.2
# A turn is said as what it does here [mm from the fold].
ARM_MM = 180.0
LAY_CARE = (
    "Hands, table and sheet dry: damp paper tears under a finger, and sticks.",
    "Carry it on a board or a larger paper; push it flat with both hands, never by a corner, a "
    "tear or the fold's end.",
    "Nothing through the holes yet: a needle or a leg pushed through holes out of line tears them.",
)
STAPLES_BACK = (
    "See light through every hole first, with all sheets in place; where there is none, take up "
    "the sheet that covers it and lay it again.",
    "Put each staple through the old holes by hand, from the side its crown was on, the fold "
    "supported; bend the legs with a bone folder, no further than they lay. No machine, no hammer.",
)
# What to mind of a hole in a state, in the hand of who lays it (common practice, no source).
_HOLE_CARE = {
    "torn": "torn: it tells little, go by the others; hold the paper beside it",
    "rusted": "rusted: the paper round it is brittle, do not rub or press there",
    "plugged": "plugged: do not push it through, go by the others",
}
# A limit that costs the holes less is not told [mm, rms].
LEAST_COST_MM = 0.02
LEAF = "leaf.width_mm"


@dataclass(frozen=True, slots=True)
class HoleSaid:
    """One hole of a sheet in the guide: its state, how far it stays off the others' once the sheet
    lies, and whether that was set aside as wrong."""

    number: int
    state: str
    says: str
    off_mm: float | None
    y_mm: float | None = None
    aside: bool = False


@dataclass(frozen=True, slots=True)
class Dot:
    """One sheet's hole beside its common place [mm], outer side up; ``mind`` when flagged."""

    name: str
    dx_mm: float
    dy_mm: float
    mind: bool


@dataclass(frozen=True, slots=True)
class HolePanel:
    """One hole of the pattern with every sheet's."""

    number: int
    dots: tuple[Dot, ...]
    farthest_mm: float


@dataclass(frozen=True, slots=True)
class MatchPicture:
    """How the holes of all sheets fall on each other."""

    wire_mm: float
    panels: tuple[HolePanel, ...]


@dataclass(frozen=True, slots=True)
class MatchRow:
    """One sheet of the matching in words."""

    name: str
    dx: str
    dy: str
    turn: str
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Matched:
    """The matching as the page shows it; ``says`` is empty where none was made."""

    says: str
    rows: tuple[MatchRow, ...]
    asked: tuple[Asked, ...]
    warnings: tuple[str, ...]
    picture: MatchPicture | None


@dataclass(frozen=True, slots=True)
class LayStep:
    """One sheet of the guide, in words for who lays it; ``halves`` what is to be seen left and
    right; ``slide_mm`` right and down as it lies, ``turn_mrad`` with the clock: 0 where not asked
    for; ``unsure`` what is known too badly to be said; ``held`` where its edges let the holes come
    no nearer; ``flush_with`` the sheet that all are laid by, empty for itself; ``leaves`` the
    single ones that go in before the next sheet."""

    place: str
    name: str
    number: int
    of: int
    sees: str
    halves: tuple[str, str]
    found: str
    flush_with: str
    held: str
    moves: tuple[str, ...]
    unsure: str
    by: str
    holes: tuple[HoleSaid, ...]
    flags: tuple[str, ...]
    laid: Joined | None
    stale: bool
    touched: int
    slide_mm: tuple[float, float]
    turn_mrad: float
    leaves: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Guide:
    """All sheets in the order they are laid, and where the work stands; ``care`` before each sheet,
    ``back`` how the staples go in again."""

    steps: tuple[LayStep, ...]
    laid: int
    next_place: str
    staples: tuple[str, ...]
    run: Run | None
    outdated: bool
    care: tuple[str, ...] = LAY_CARE
    back: tuple[str, ...] = STAPLES_BACK


def match_holes(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Match the holes of all sheets as they are recorded now, and keep the run.

    Raises:
        Refusal: no gathering, fewer than two sheets with holes, or as the method says.
    """
    if state.gathering is None:
        raise Refusal((Problem("wire_mm", NO_GATHERING),), values=dict(form))
    params = match_params(state, form)
    if sum(bool(held.holes) for held in state.holes.values()) < 2:
        says = "Mark the staple holes of at least two sheets first: find them, or type them."
        raise Refusal((Problem("wire_mm", says),), values=dict(form))
    try:
        run = run_method(METHOD, SUBJECT, {}, (), params)
    except ValueError as error:
        raise Refusal((Problem("wire_mm", f"{str(error).rstrip('.')}."),), values=dict(form)) from (
            error
        )
    return (Draft(state.id, "run.recorded", to_body(run)),)


def match_params(state: ItemState, form: Mapping[str, str]) -> dict[str, str]:
    """What the method is given: the table of holes with the edges that scans measured, the wire."""
    params = {"holes": write_holes(sheets_of(state))}
    wire = form.get("wire_mm", "").strip().replace(",", ".") or wire_text(state)
    if wire:
        params["wire_mm"] = wire
    return params


def wire_text(state: ItemState) -> str:
    """The thickest wire recorded of the staples [mm], as typed; empty where none is."""
    known = [one.wire_mm for one in state.staples.values() if one.wire_mm is not None]
    return f"{max(known):f}" if known else ""


def sheets_of(state: ItemState) -> list[Sheet]:
    """Every sheet that has holes recorded, with its edges where scans measured them."""
    assert state.gathering is not None
    out = []
    for place in state.gathering.sheets():
        held = state.holes.get(f"holes.{place}")
        if held is None:
            continue
        holes = tuple(
            HoleAt(one.number, one.x_mm, one.y_mm, one.u_mm, one.size_mm, one.state)
            for one in held.holes
        )
        out.append(Sheet(place, holes, edges_of(state, place)))
    return out


def laid_widths(state: ItemState) -> dict[str, str]:
    """Half widths from the fold as scans measured them, as a table; empty where none did."""
    rows = ["wrap,left_mm,right_mm"]
    for place in state.gathering.sheets() if state.gathering else ():
        edges = edges_of(state, place)
        if edges is not None and edges.left_mm is not None and edges.right_mm is not None:
            rows.append(f"{place},{-edges.left_mm:.2f},{edges.right_mm:.2f}")
    return {"widths": "\n".join(rows)} if len(rows) > 1 else {}


def newest_match(state: ItemState) -> Run | None:
    """The matching that holds."""
    return state.newest_run(METHOD, SUBJECT)


def is_outdated(state: ItemState, run: Run | None) -> bool:
    """Whether holes were marked anew since the run."""
    if run is None or state.gathering is None:
        return False
    return run.params.get("holes", "") != write_holes(sheets_of(state))


def guide(state: ItemState) -> Guide:
    """The guide as it stands; without a matching it still leads through the order."""
    run = newest_match(state)
    sheets = tuple(
        place
        for place in (state.gathering.sheets() if state.gathering else ())
        if not is_gone(state, place)
    )
    steps = tuple(_step(state, run, sheets, number) for number in range(1, len(sheets) + 1))
    waiting = [step.place for step in steps if step.laid is None]
    staples = tuple(
        f"Staple {one.number} from the head: {staple_words(one)}."
        for one in sorted(state.staples.values(), key=lambda one: one.number)
    )
    return Guide(
        steps, len(steps) - len(waiting), waiting[0] if waiting else "", staples, run,
        is_outdated(state, run),
    )  # fmt: skip


def is_gone(state: ItemState, place: str) -> bool:
    """Whether a sheet was said not to be there."""
    found = state.found.get(f"found.{place}")
    return found is not None and found.faced == "not there"


def _step(state: ItemState, run: Run | None, sheets: tuple[str, ...], number: int) -> LayStep:
    place, following = sheets[number - 1], "".join(sheets[number : number + 1])
    found = state.found.get(f"found.{place}")
    mine = (
        {} if run is None else {one.quantity: one for one in run.findings if one.subject == place}
    )
    laid = state.joined.get(f"joined.{place}")
    dx, dy, turn = (_asked(mine, f"rejoin.{name}") for name in ("dx_mm", "dy_mm", "turn_mrad"))
    holes = _holes(state, run, place)
    reference = "" if run is None else run.drawing.get("reference", "")
    return LayStep(
        place, sheet_words(place), number, len(sheets), _sees(state, place), _halves(state, place),
        _found_words(found), _the(reference) if reference not in ("", place) else "",
        _held(run, place, holes), _moves(mine), _unsure(mine), _without_holes(mine), holes,
        _flags(mine), laid,
        laid is not None and run is not None and laid.run not in ("", run.id),
        state.touched.get(f"joined.{place}", 0), (0.0 - dx, dy), 0.0 - turn,
        leaves_laid(state, place, following),
    )  # fmt: skip


def _without_holes(mine: Mapping[str, Finding]) -> str:
    """How a sheet is laid whose holes say nothing; empty where they do."""
    if not mine:
        return "no holes matched: lay it by its fold and its head edge"
    shift = mine.get("rejoin.dx_mm")
    held = shift is not None and shift.value is not None
    return "" if held else "no hole holds it: lay it by its fold and its head edge"


def _the(place: str) -> str:
    return "the cover" if place == "c" else sheet_words(place).lower()


def _asked(mine: Mapping[str, Finding], quantity: str) -> float:
    """A move as it was found; 0 where it is less than a hand can set or than it is sure to."""
    held = mine.get(quantity)
    if held is None or held.value is None or held.u is None:
        return 0.0
    least = 1e3 * HAND_MM / ARM_MM if quantity.endswith("mrad") else HAND_MM
    return float(held.value) if abs(held.value) >= max(least, 2 * held.u) else 0.0


def _halves(state: ItemState, place: str) -> tuple[str, str]:
    """What is to be seen left and right on the sheet as it lies, inner side up."""
    if place == "c":
        return "inside front cover", "inside back cover"
    pages = printed_pages(state, place).split()
    return f"page {pages[2]}", f"page {pages[3]}"


def _sees(state: ItemState, place: str) -> str:
    left, right = _halves(state, place)
    if place == "c":
        return "The inside of the cover looks up; its front is underneath on your left."
    return f"You see {left} on the left and {right} on the right."


def _found_words(found: object) -> str:
    faced = getattr(found, "faced", "")
    note = getattr(found, "note", "")
    words = []
    if faced not in ("", "as made"):
        words.append(f"It was found {faced}; it goes in as made, as said above")
    return ". ".join([*words, *([f"Noted when taken apart: {note.rstrip('.')}"] if note else [])])


def _moves(mine: Mapping[str, Finding]) -> tuple[str, ...]:
    """How the sheet moves from lying flush, as it lies inner side up, each give or take twice its
    standard uncertainty."""
    out = []
    for name, towards in (
        ("dy_mm", ("the tail", "the head")),
        ("dx_mm", ("your left", "your right")),
    ):
        value = _asked(mine, f"rejoin.{name}")
        if value:
            u = mine[f"rejoin.{name}"].u or 0.0
            said = f"{abs(value):.1f} mm towards {towards[value < 0]}"
            out.append(f"{said}, give or take {_up(2 * u):.1f}")
    turn = _asked(mine, "rejoin.turn_mrad")
    if turn:
        way, half = ("against", "away from") if turn > 0 else ("with", "towards")
        out.append(
            f"turned {way} the clock: {ARM_MM:.0f} mm right of the fold it goes "
            f"{abs(turn) * ARM_MM / 1e3:.1f} mm {half} you"
        )
    return tuple(out)


def _unsure(mine: Mapping[str, Finding]) -> str:
    """Which moves are known so badly that neither a move nor none can be said."""
    said = []
    for name, way in (("dy_mm", "towards head or tail"), ("dx_mm", "to the left or right")):
        one = mine.get(f"rejoin.{name}")
        if one is None or one.value is None or _asked(mine, f"rejoin.{name}"):
            continue
        if one.u is None:
            said.append(f"{way} is not known")
        elif 2 * one.u > 2 * HAND_MM:
            said.append(f"{way} is known to {_up(2 * one.u):.1f} mm only")
    return f"How far it goes {', and '.join(said)}: go by light and by its edges" if said else ""


def _up(value: float) -> float:
    """Rounded up to a tenth, so that no uncertainty is told smaller than it is."""
    return math.ceil(value * 10 - 1e-9) / 10


def _held(run: Run | None, place: str, holes: tuple[HoleSaid, ...]) -> str:
    """What is said where the edges keep the holes off the others'; empty where they do not."""
    kept = [] if run is None else [one for one in _costs_mm(run, place) if one[1] >= LEAST_COST_MM]
    off = max((one.off_mm or 0.0 for one in holes if not one.aside), default=0.0)
    if not kept or off < HAND_MM:
        return ""
    what = " and ".join(kind for kind, _ in kept if kind != "all") or "edges"
    return (
        f"Not all the way: the limits for its {what} hold it back, so that the sheets stay in "
        f"line; its holes stay up to {off:.1f} mm off. Do not pull them further"
    )


def _holes(state: ItemState, run: Run | None, place: str) -> tuple[HoleSaid, ...]:
    held = state.holes.get(f"holes.{place}")
    known = {one.number: one for one in held.holes} if held else {}
    off = residuals(run, place)
    wrong = "" if run is None else run.drawing.get(f"wrong.{place}", "")
    out = []
    for number in range(1, max([expected_holes(state), *known]) + 1):
        hole = known.get(number)
        if hole is None:
            out.append(HoleSaid(number, "", "not marked", None))
        elif hole.state == "missing":
            out.append(HoleSaid(number, "missing", "no hole there: pass it by", None))
        else:
            away = math.hypot(*off[number]) if number in off else None
            aside = str(number) == wrong
            says = _HOLE_CARE.get(hole.state, ""), _off_words(away, aside)
            out.append(
                HoleSaid(number, hole.state, "; ".join(filter(None, says)), away, hole.y_mm, aside)
            )
    return tuple(out)


def _off_words(away: float | None, aside: bool) -> str:
    """How near a hole comes to the others' once its sheet lies."""
    if away is None:
        return ""
    if aside:
        return f"pass it by, {away:.1f} mm off as measured"
    return "comes onto the others" if away < HAND_MM else f"stays {away:.1f} mm off"


def residuals(run: Run | None, place: str) -> dict[int, tuple[float, float]]:
    """Where each hole of a laid sheet stays beside its common place [mm], right and down with the
    outer side up, by its number."""
    text = "" if run is None else run.drawing.get(f"off.{place}", "")
    out = {}
    for word in text.split():
        number, _, off = word.partition(":")
        dx, _, dy = off.partition(",")
        out[int(number)] = (float(dx), float(dy))
    return out


def _flags(mine: Mapping[str, Finding]) -> tuple[str, ...]:
    held = mine.get("rejoin.flags")
    return tuple(line for line in (held.text if held else "").split("\n") if line)


def _costs_mm(run: Run, place: str) -> list[tuple[str, float]]:
    """What each limit costs a sheet [mm], "all" for all together."""
    words = (word.partition(":") for word in run.drawing.get(f"costs.{place}", "").split())
    return [(kind.replace("_", " "), float(value)) for kind, _, value in words]


def _costs(run: Run, place: str) -> tuple[str, ...]:
    """What each limit costs a sheet: how much nearer its holes would lie without it."""
    return tuple(
        f"{'all limits together' if kind == 'all' else f'its {kind}'} kept: costs {cost:.2f} mm at "
        "the holes"
        for kind, cost in _costs_mm(run, place)
        if cost >= LEAST_COST_MM
    )


def lay(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """A sheet is laid in its place again.

    Raises:
        Refusal: no such sheet.
    """
    place = form.get("place", "")
    if state.gathering is None or place not in state.gathering.sheets() or sheet_of(place) != place:
        raise Refusal((Problem("place", f"This item has no sheet {place!r}."),), values=dict(form))
    run = newest_match(state)
    made = Joined(place, form.get("at", ""), run.id if run else "", form.get("note", "").strip())
    held = state.joined.get(f"joined.{place}")
    if held is not None and (held.run, held.note) == (made.run, made.note):
        return ()
    return (Draft(state.id, "wrap.joined", to_body(made)),)


def take_up(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """A sheet is taken up again: it counts as not laid.

    Raises:
        Refusal: it is not laid.
    """
    place = form.get("place", "")
    if f"joined.{place}" not in state.joined:
        raise Refusal((Problem("place", "That sheet is not laid."),), values=dict(form))
    body = {"id": f"joined.{place}", "reason": "taken up again"}
    return (Draft(state.id, "record.retracted", body),)


def matched(state: ItemState) -> Matched:
    """The newest matching in words, numbers and what its picture needs."""
    run = newest_match(state)
    if run is None:
        return Matched("", (), (), (), None)
    by_sheet: dict[str, dict[str, Finding]] = {}
    for one in run.findings:
        by_sheet.setdefault(one.subject, {})[one.quantity] = one
    rows = tuple(
        MatchRow(
            sheet_words(place),
            _with_u(mine, "rejoin.dx_mm"),
            _with_u(mine, "rejoin.dy_mm"),
            _with_u(mine, "rejoin.turn_mrad"),
            (*_flags(mine), *_costs(run, place)),
        )
        for place, mine in by_sheet.items()
        if place != SUBJECT
    )
    says = next((one.text for one in run.findings if one.quantity == "rejoin.says"), "")
    places = [place for place in by_sheet if place != SUBJECT]
    return Matched(says, rows, ask_all([run], state), run.warnings, _picture(run, places))


def _with_u(mine: Mapping[str, Finding], quantity: str) -> str:
    held = mine.get(quantity)
    if held is None or held.value is None:
        return "not known"
    digits = 1 if quantity.endswith("mrad") else 2
    said = f"{round(held.value, digits) + 0.0:+.{digits}f}"
    return said if held.u is None else f"{said} \u00b1 {2 * held.u:.{digits}f}"


def _picture(run: Run, places: list[str]) -> MatchPicture | None:
    dots: dict[int, list[Dot]] = {}
    for place in places:
        flags = any(one.subject == place and one.quantity == "rejoin.flags" for one in run.findings)
        for number, (dx, dy) in residuals(run, place).items():
            dots.setdefault(number, []).append(Dot(sheet_words(place), dx, dy, flags))
    if not dots:
        return None
    panels = tuple(
        HolePanel(number, tuple(mine), max(math.hypot(one.dx_mm, one.dy_mm) for one in mine))
        for number, mine in sorted(dots.items())
    )
    return MatchPicture(float(run.params.get("wire_mm", USUAL_WIRE_MM)), panels)


@dataclass(frozen=True, slots=True)
class FoldChoice:
    """One way to split the overhang, in words."""

    name: str
    chosen: bool
    possible: bool
    front: str
    back: str
    shift: str
    looks: str


def _twice(value: float, u: float) -> str:
    return f"{round(value, 1) + 0.0:.1f} \u00b1 {2 * u:.1f}"


def fold_choices(run: Run | None) -> tuple[FoldChoice, ...]:
    """The ways to fold the cover that a plan weighed; empty where it weighed none."""
    text = "" if run is None else run.drawing.get("choices", "")
    out = []
    for line in text.split("\n"):
        parts = line.split("|", 4)
        if len(parts) != 5:
            continue
        name, chosen, possible, said, looks = parts
        n = [float(one) for one in said.split()]
        out.append(
            FoldChoice(
                name,
                chosen == "1",
                possible == "1",
                _twice(n[0], n[1]),
                _twice(n[2], n[3]),
                _twice(n[4], n[5]),
                looks,
            )
        )
    return tuple(out)
