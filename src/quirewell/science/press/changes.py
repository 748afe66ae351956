"""What else could be done: one change to a pressing at a time, each followed and set beside it.

The one that helps most comes first: no hot and damp minutes, then the driest dampest sheet, then
the most water out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from quirewell.science.paper.sorption import CURVES
from quirewell.science.press.course import ALARM_S, Course, Pressing, Rules, answers, follow
from quirewell.science.press.known import Known
from quirewell.science.press.materials import MATERIALS
from quirewell.science.press.stack import Knobs, Layer, Stack

# A pamphlet let come to 50 % before pressing; presets by dampness [C] (from memory).
_RESTED_RH, DAMP_RH, DAMP_C, DRY_C = 0.5, 0.65, 65.0, 80.0
# A board shows its worth only beyond this [g/m2].
_WORTH_G_M2 = 3.0


@dataclass(frozen=True, slots=True)
class Changed:
    """A pressing with one thing changed, and what both curves of sorption say of it, midway;
    ``took_g_m2``: what each layer took up while hot, by the first of them."""

    name: str
    why: str
    pressing: Pressing
    red_s: float
    amber_s: float
    rh_max: float
    cool_u: float
    lost_g_m2: float
    centre_c: float
    cool_s: float | None
    end_g_m2: float
    took_g_m2: dict[int, float]


def open_side(stack: Stack, lower: bool) -> tuple[bool, str, float]:
    """Whether vapour finds its way out of a side of the pamphlet: yes or no, the layer that ends
    it ("" where the air does), and what the layers before it can take up [g/m2] up to 80 % RH."""
    layers = stack.below if lower else tuple(reversed(stack.above))
    room = 0.0
    for layer in layers:
        if not layer.material.open_to_vapour:
            return room > 20.0, layer.material.name, room
        # Paper between 50 and 80 % takes up some 6 % of its mass.
        room += 0.06 * 1000 * layer.material.rho * layer.mm / 1000
    return True, "", room


def side_by_side(
    pressing: Pressing, rules: Rules | None = None, known: Known | None = None
) -> tuple[Changed, ...]:
    """The pressing as it is, then each change, the most helpful first; by a calibrated press's own
    middle where there is one."""
    as_is = _followed("as it is", "", pressing, rules, known)
    others = [_followed(*change, rules, known) for change in _changes(pressing)]
    others.sort(key=_rank)
    return as_is, *others


def helps(before: Changed, after: Changed, seconds: float = ALARM_S) -> bool:
    """Whether a change is a gain beyond what the model can tell apart; alarms wait ``seconds``."""
    if before.red_s > seconds >= after.red_s:
        return True
    if after.red_s > max(seconds, before.red_s):
        return False
    drier = before.cool_u - after.cool_u > 0.01 or before.rh_max - after.rh_max > 0.02
    return drier and after.amber_s <= before.amber_s + 60


def _rank(one: Changed) -> tuple[float, float, float]:
    return (round(max(0.0, one.red_s - 60) / 60), round(one.rh_max, 2), -one.lost_g_m2)


def _followed(
    name: str, why: str, pressing: Pressing, rules: Rules | None, known: Known | None
) -> Changed:
    courses = _both(pressing, known)
    both = [answers(course, rules) for course in courses]

    def mean(key: str) -> float:
        return sum(float(getattr(one, key)) for one in both) / len(both)

    cool = [one.cool_s for one in both if one.cool_s is not None]
    return Changed(
        name, why, pressing, mean("red_s"), mean("amber_s"), mean("rh_max"), mean("cool_u"),
        mean("lost_g_m2"), mean("centre_c"), sum(cool) / len(cool) if cool else None,
        _end(courses), courses[0].gained_g_m2,
    )  # fmt: skip


def _both(pressing: Pressing, known: Known | None) -> list[Course]:
    return [
        follow(pressing, Knobs(curve=curve) if known is None else known.middle(curve))
        for curve in CURVES
    ]


def _end(courses: list[Course]) -> float:
    return sum(float(course.pamphlet_g_m2[-1]) for course in courses) / len(courses)


def _changes(pressing: Pressing) -> Iterator[tuple[str, str, Pressing]]:
    stack, pamphlet = pressing.stack, pressing.stack.pamphlet

    def with_stack(**parts: object) -> Pressing:
        return replace(pressing, stack=replace(stack, **parts), swaps=())  # type: ignore[arg-type]

    blotter = Layer(MATERIALS["blotter"], MATERIALS["blotter"].usual_mm)
    lower = pressing.heat != "below"
    cool = stack.below if lower else tuple(reversed(stack.above))
    if cool and not cool[0].material.open_to_vapour:
        tight = cool[0].material.name
        swapped = (blotter, blotter, *cool[1:])
        yield (
            f"two blotters in place of the {tight} on the cool side",
            "vapour needs a way out on the cool side",
            with_stack(**_side(swapped, lower)),
        )
        hot = tuple(reversed(stack.above)) if lower else stack.below
        if pressing.heat in ("above", "below") and hot and hot[0].material.open_to_vapour:
            yield (
                f"the {tight} on the hot side instead",
                "it keeps from sticking there too, and leaves the cool side open",
                with_stack(**_side(cool[1:], lower), **_side((cool[0], *hot), not lower)),
            )
    else:
        yield (
            "two dry blotters against the cool cover",
            "they take up what moves to the cool side",
            with_stack(**_side((blotter, blotter, *cool), lower)),
        )
    if pamphlet.centre is None or not pamphlet.centre.material.open_to_vapour:
        board = Layer(MATERIALS["thin-board"], 0.5)
        yield (
            "a thin board in the centrefold",
            "it takes up water and keeps the halves from printing into each other",
            with_stack(pamphlet=replace(pamphlet, centre=board)),
        )
    if pamphlet.start_rh > _RESTED_RH + 0.1:
        yield (
            "the pamphlet let come to 50 % before",
            "less water inside is less to move",
            with_stack(pamphlet=replace(pamphlet, start_rh=_RESTED_RH)),
        )
    if pressing.heat in ("above", "below"):
        yield "heat from both sides", "both halves warm alike", replace(pressing, heat="both")
    if pressing.platen_c > 50:
        yield (
            f"{pressing.platen_c - 15:g} °C in place of {pressing.platen_c:g} °C",
            "cooler paper gives up less at once",
            replace(pressing, platen_c=pressing.platen_c - 15),
        )
    if pressing.minutes > 6:
        yield "half the time", "", replace(pressing, minutes=pressing.minutes / 2)
    if pressing.cooling == "in place":
        yield (
            "cooling between cold plates",
            "minutes hot and damp end sooner",
            replace(pressing, cooling="cold plates"),
        )


def _side(layers: tuple[Layer, ...], lower: bool) -> dict[str, tuple[Layer, ...]]:
    return {"below": layers} if lower else {"above": tuple(reversed(layers))}


def swap_worth(as_is: Changed, known: Known | None = None) -> tuple[tuple[int, ...], float, float]:
    """Boards that took up most (numbers), and the pamphlet's water at the end of cooling [g/m2]
    with those boards left and changed for dry ones, both curves midway; of a pressing as it is, no
    board changed."""
    took = sorted(as_is.took_g_m2.items(), key=lambda row: -row[1])
    numbers = tuple(n for n, grams in took if grams > _WORTH_G_M2)[:3]
    if not numbers:
        return (), as_is.end_g_m2, as_is.end_g_m2
    return numbers, as_is.end_g_m2, _end(_both(replace(as_is.pressing, swaps=numbers), known))
