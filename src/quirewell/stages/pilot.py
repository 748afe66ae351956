"""The pilot wrap: one sheet, or a scrap of like paper, goes through water before all others.

A sheet's course is read off its steps: washed when its wetting step was done, dried when a later
drying was. It is looked at 24 hours after that or later, measured, and accepted by hand. A pilot
speaks for the kinds of wet step it went through: one that saw plain water only says nothing about
alkali. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from quirewell.record.benchwork import Pilot
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages.ink_gate import colours_of
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.objecting import Objection, begun_on, instant, listed, sheets_of, speaks_for
from quirewell.stages.places import read_places
from quirewell.stages.refusal import no
from quirewell.stages.step_table import STEP_KINDS, StepKind

Form = Mapping[str, str]
RULE = "pilot-first"
DAY = timedelta(hours=24)
WET_KINDS = tuple(kind.key for kind in STEP_KINDS.values() if kind.wets == "whole")


@dataclass(frozen=True, slots=True)
class Course:
    """How far a pilot is: instants as recorded (empty while not), what it went through, from when
    it may be looked at, and where it stands: "not begun", "wet", "dry" or "judged"."""

    through: tuple[str, ...] = ()
    washed_at: str = ""
    dried_at: str = ""
    look_from: datetime | None = None
    stands: str = "not begun"


def choose_pilot(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Choose the pilot: a sheet (``place``), or a ``scrap`` of like paper in words.

    Raises:
        Refusal: neither or both, or a place that is no sheet of this item.
    """
    scrap = " ".join(form.get("scrap", "").split())[:120]
    typed = form.get("place", "").strip()
    if bool(scrap) == bool(typed):
        raise no(form, "place", "Choose one sheet as the pilot, or say which scrap of like paper.")
    place = ""
    if typed:
        places = read_places(state, form, field="place")
        if len(places) != 1 or not sheet_of(places[0]):
            raise no(form, "place", "A pilot is one sheet, as 5 or cover; or name a scrap.")
        place = sheet_of(places[0])
    pilot = Pilot(f"pilot-{state.version + 1}", place, scrap, form.get("why", "").strip()[:500])
    return (Draft(state.id, "pilot.kept", to_body(pilot)),)


def tell_scrap(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Tell the course of a scrap (``id``): ``washed_at``, ``dried_at`` (2026-03-08T14:00, by the
    clock of ``zone``, else UTC), and what it went ``through`` (kinds of wet step; water unless
    said).

    Raises:
        Refusal: a sheet (its steps say it), no instant, or dried before it was washed.
    """
    pilot = _open(state, form)
    if pilot.place:
        raise no(form, "washed_at", "A sheet's course is read off its steps: record those.")
    through = tuple(form.get("through", "").replace(",", " ").split()) or ("wash",)
    for kind in through:
        if kind not in WET_KINDS:
            raise no(form, "through", f"It goes through {', '.join(WET_KINDS)}; got {kind[:40]!r}.")
    told = {}
    for name in ("washed_at", "dried_at"):
        text, now = form.get(name, "").strip(), instant(form.get("at", ""))
        found = _by_the_clock(text, form.get("zone", ""))
        if text and found is None:
            raise no(form, name, f"Write the moment as 2026-03-08 14:00, got {text[:40]!r}.")
        if found is not None and now is not None and found > now:
            raise no(form, name, "That moment is still to come.")
        told[name] = found
    washed, dried = told["washed_at"], told["dried_at"]
    if dried is not None and (washed is None or dried < washed):
        raise no(form, "dried_at", "It dries after it is washed: say both moments in their order.")
    now_told = replace(
        pilot, through=through, washed_at=_text(washed), dried_at=_text(dried)
    )  # fmt: skip
    return (Draft(state.id, "pilot.kept", to_body(now_told)),)


def _by_the_clock(text: str, zone: str) -> datetime | None:
    """A typed moment as an instant: one without a zone is by the bench's clock."""
    found = instant(text)
    if found is None or not zone or datetime.fromisoformat(text.replace("Z", "+00:00")).tzinfo:
        return found
    return found.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def _text(moment: datetime | None) -> str:
    if moment is None:
        return ""
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def judge_pilot(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Accept the pilot (``id``; the one that waits, unless said) by hand, or not: ``accepted``
    yes or no, ``note``; for a yes it is dry for 24 hours by the instants, and measured: readings
    or a comparison made since, or ``measured`` in words.

    Raises:
        Refusal: in place, with what is still missing.
    """
    pilot = _open(state, form)
    verdict = form.get("accepted", "").strip()
    if verdict not in ("yes", "no"):
        raise no(form, "accepted", "Say yes or no: would you do the same to all the others?")
    now = instant(form.get("at", ""))
    if now is None:
        raise no(
            form, "accepted", "The moment it is looked at is not known; send it with the form."
        )
    course = course_of(state, pilot)
    measured = " ".join(form.get("measured", "").split())[:300] or measured_words(state, pilot)
    note = form.get("note", "").strip()[:500]
    if verdict == "yes":
        _ripe(form, course, now)
        if not measured:
            raise no(
                form, "measured",
                "Measure it before you accept it: its size by rule, its shade, its pH; or scan it "
                "again. Write here what you found.",
            )  # fmt: skip
    elif not note:
        raise no(
            form, "note", "Say in a few words what was wrong with it; the others depend on it."
        )
    capture = form.get("capture", "")
    if capture and capture not in state.captures:
        raise no(form, "capture", "That picture is not in this item; choose another or none.")
    judged = replace(
        pilot, washed_at=course.washed_at, dried_at=course.dried_at, through=course.through,
        looked_at=form["at"], measured=measured, accepted=verdict,  # type: ignore[arg-type]
        note=note, capture=capture,
    )  # fmt: skip
    return (Draft(state.id, "pilot.kept", to_body(judged)),)


def _ripe(form: Form, course: Course, now: datetime) -> None:
    if course.look_from is None:
        says = {
            "not begun": "It has not been washed yet, by the record.",
            "wet": "It is not dry yet by the record: finish its drying first.",
        }.get(course.stands, "The moment it was dry is not recorded: correct its drying step.")
        raise no(form, "accepted", says)
    if now < course.look_from:
        left = (course.look_from - now).total_seconds() / 3600
        raise no(
            form, "accepted",
            f"It has been dry for less than a day: tidelines, cockling and colour settle as it "
            f"lies. Look again in {left:.0f} h, from {course.look_from:%d %b %H:%M} UTC."
            if left >= 1 else f"Look again from {course.look_from:%d %b %H:%M} UTC.",
        )  # fmt: skip


def _open(state: ItemState, form: Form) -> Pilot:
    waiting = [one for one in state.pilots.values() if not one.accepted]
    known = form.get("id", "") or (waiting[0].id if len(waiting) == 1 else "")
    found = state.pilots.get(known)
    if found is None:
        raise no(form, "id", "There is no such pilot; it may have been set aside meanwhile.")
    return found


def course_of(state: ItemState, pilot: Pilot) -> Course:
    """How far a pilot is, from its steps; a judged one as it was then."""
    if pilot.accepted or not pilot.place:
        through, washed, dried = pilot.through, pilot.washed_at, pilot.dried_at
        through = through if washed else ()
    else:
        through, washed, dried = _steps_of(state, pilot)
    at = instant(dried) if dried else None
    stands = "judged" if pilot.accepted else "dry" if dried else "wet" if through else "not begun"
    later = None
    if at is not None:
        with suppress(OverflowError):  # a moment at the end of the calendar is no moment
            later = at + DAY
    return Course(through, washed, dried, later, stands)


def _steps_of(state: ItemState, pilot: Pilot) -> tuple[tuple[str, ...], str, str]:
    """Wet kinds begun since it was chosen or before, the last one's end, and the drying after."""
    through: dict[str, None] = {}
    washed = dried = ""
    for step, kind in begun_on(state, pilot.place):
        if kind is not None and kind.wets == "whole":
            through[step.kind] = None
            washed, dried = step.done_at, ""
        elif step.kind == "dry" and step.state == "done" and through:
            dried = step.done_at
    return tuple(through), washed, dried


def measured_words(state: ItemState, pilot: Pilot) -> str:
    """What the record measured on the pilot since it was dried, in words; empty where nothing."""
    if not pilot.place:
        return ""
    since = max(
        (state.touched.get(step.id, 0) for step, _ in begun_on(state, pilot.place)
         if step.kind == "dry"), default=0,
    )  # fmt: skip
    read = [
        f"{reading.quantity.replace('_', ' ')} {reading.value} "
        f"{'' if reading.unit == 'step' else reading.unit}".strip()
        for reading in state.readings.values()
        if reading.place != "item" and speaks_for(reading.place, pilot.place)
        and state.touched.get(reading.id, 0) > since
    ]  # fmt: skip
    compared = [
        run.id for run in state.runs.values()
        if run.method == "pair.compare" and speaks_for(run.subject, pilot.place)
        and run.subject != "item" and state.touched.get(run.id, 0) > since
    ]  # fmt: skip
    read += [f"{len(compared)} pages compared with before"] if compared else []
    return "; ".join(read)


def speaks(pilot: Pilot, kind: StepKind) -> bool:
    """Whether a judged pilot went through what this step does."""
    if kind.alkaline:
        return any(STEP_KINDS[one].alkaline for one in pilot.through if one in STEP_KINDS)
    return bool(pilot.through)


def pilot_objections(
    state: ItemState, kind: StepKind, places: Sequence[str]
) -> tuple[Objection, ...]:
    """Why other sheets wait: no pilot yet, not judged yet, or judged and not accepted."""
    if kind.wets != "whole":
        return ()
    newest_first = sorted(
        state.pilots.values(), key=lambda one: state.touched.get(one.id, 0), reverse=True
    )
    judged = next((one for one in newest_first if one.accepted and speaks(one, kind)), None)
    if judged is not None and judged.accepted == "yes":
        return ()
    waiting = next((one for one in newest_first if not one.accepted), None)
    sheets = sheets_of(state, places)
    others = [sheet for sheet in sheets if waiting is None or sheet != waiting.place]
    if not others:
        return ()
    return (Objection(RULE, _why(state, kind, others, judged, waiting)),)


def _why(
    state: ItemState, kind: StepKind, others: Sequence[str], no_one: Pilot | None,
    waiting: Pilot | None,
) -> str:  # fmt: skip
    what = "alkaline water" if kind.alkaline else "water"
    if no_one is not None and waiting is None:
        return (
            f"The pilot ({pilot_name(no_one)}) was not accepted: {no_one.note} Change the way "
            "(colder, shorter, without surfactant, or no water at all) and put another pilot "
            f"through it before {listed(others)}."
        )
    if waiting is None:
        return (
            f"No pilot has been through {what} and accepted. Choose one sheet, the least "
            "important, or a scrap of like paper; wash and dry it, look at it a day later, measure "
            f"it and say yes, before {listed(others)}."
        )
    course = course_of(state, waiting)
    where = {
        "not begun": "has not been in water yet",
        "wet": "is not dry yet",
        "dry": "is dry and waits to be looked at a day later, measured and accepted",
    }[course.stands]
    return (
        f"The pilot ({pilot_name(waiting)}) {where}: no other sheet goes through {what} before it "
        f"is accepted. {listed(others).capitalize()} can wait dry."
    )


def pilot_name(pilot: Pilot) -> str:
    """The pilot in words: "wrap 5", or "scrap: a blank margin of like paper"."""
    return place_words(pilot.place) if pilot.place else f"scrap: {pilot.scrap}"


def suggested(state: ItemState) -> tuple[str, str]:
    """The least important sheet that is still dry, and why: a wrap from the middle without keeps,
    damage or colour of its own; ("", why not) where there is none."""
    if state.gathering is None:
        return "", "Say first how the item is made, or use a scrap of like paper."
    wraps = [sheet for sheet in state.gathering.sheets() if sheet != "c"]
    middle = (len(wraps) + 1) / 2
    best: list[tuple[int, float, str, str]] = []
    for number, sheet in enumerate(wraps, start=1):
        if any(kind is None or kind.wets == "whole" for _, kind in begun_on(state, sheet)):
            continue
        against = _against(state, sheet)
        best.append((len(against), abs(number - middle), sheet, ", ".join(against)))
    if not best:
        return "", "Every wrap has been in water by the record; use a scrap of like paper."
    _, _, sheet, spoken = min(best)
    clean = "nothing to keep, no damage and no colour of its own"
    return sheet, f"{place_words(sheet)}: from the middle, with {spoken or clean}"


def _against(state: ItemState, sheet: str) -> list[str]:
    keeps = [one.what for one in state.keeps.values()
             if one.place != "item" and speaks_for(one.place, sheet)]  # fmt: skip
    damage = [one.term for one in state.defects.values()
              if one.place != "item" and speaks_for(one.place, sheet)]  # fmt: skip
    colours = [name for name, place in colours_of(state, sheet)
               if place != "item" and "black" not in name.lower()]  # fmt: skip
    return list(dict.fromkeys((*keeps, *damage, *colours)))
