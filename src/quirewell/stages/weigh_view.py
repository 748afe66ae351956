"""A weighing as a page shows it: a row an option, with its dot and band drawn by the server."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import Asked, ask_all, band_text, unit_text
from quirewell.stages.grading import METHOD as GRADE
from quirewell.stages.options_table import options, write_options
from quirewell.stages.weighed_json import as_json
from quirewell.stages.weighed_told import share, signed
from quirewell.stages.weighing import METHOD
from quirewell.stages.working_rows import PLAN

WIDTH, HEIGHT, EDGE = 260, 26, 8
_ASKED = ("options.net_gain", "options.loss_chance", "options.worst_fifth", "options.value_now",
          "options.grade_now", "options.life_ratio", "options.worth_knowing")  # fmt: skip
_WET = {"dry": "stays dry", "vapour": "moist air", "local": "wetted in places",
        "whole": "wetted all over"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class OptionView:
    """One option in words; ``drawn`` is its dot and band as SVG, empty where no price is known."""

    name: str
    best: bool
    taken: bool
    drawn: str
    gain: str
    loss: str
    worst: str
    hours: str
    life: str
    mishap: str
    grades: str
    wet: str
    lines: tuple[tuple[str, str], ...]
    total: str
    data: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class WeighView:
    """The page's part: ``money`` says whether gains are shown; ``stale`` what changed since;
    ``table`` the options as text."""

    data: Mapping[str, Any]
    options: tuple[OptionView, ...]
    money: bool
    unit: str
    asked: tuple[Asked, ...]
    stale: str
    table: str


def weigh_view(state: ItemState, run: Run) -> WeighView:
    """The newest weighing as the page shows it."""
    data = as_json(run)
    unit = unit_text(data["unit"])
    money = data["aim"] != "permanence" and data["value_now"]["value"] is not None
    ends = _ends(data["options"]) if money else (0.0, 0.0)
    taken = state.choices.get("choice")
    rows = tuple(
        _row(one, one["name"] == data["best"], taken is not None and taken.option == one["name"],
             ends, unit, money)
        for one in data["options"]
    )  # fmt: skip
    asked = _asked(state, run, money)
    return WeighView(data, rows, money, unit, asked, _stale(state, run), options_text(run))


def _asked(state: ItemState, run: Run, money: bool) -> tuple[Asked, ...]:
    """The numbers that can be asked about; what was given stands in the form and not at each."""
    shown = [
        one for one in run.findings
        if one.quantity in _ASKED and (money or one.quantity in _ASKED[4:6])
    ]  # fmt: skip
    return tuple(
        replace(one, params=(),
                name=one.name if one.subject == "item" else f"{one.name}: {one.subject}")
        for one in ask_all([replace(run, findings=tuple(shown))], state)
    )  # fmt: skip


def options_text(run: Run) -> str:
    """The options that were weighed as the table that is read, to copy and change."""
    sends = bool(run.params.get("fee", "").strip())
    return write_options(options(run.params.get("options", ""), sends))


def newer_grade(state: ItemState, run: Run) -> Run | None:
    """The newest estimate of the grade, where it was made after a weighing."""
    graded = state.newest_run(GRADE, PLAN)
    if graded is None or state.touched.get(graded.id, 0) < state.touched.get(run.id, 0):
        return None
    return graded if graded.params.get("defects") != run.params.get("defects") else None


def _stale(state: ItemState, run: Run) -> str:
    if run.method == METHOD and newer_grade(state, run) is not None:
        return "The damage was estimated anew since this was weighed: weigh again."
    return ""


def _ends(options: Sequence[Mapping[str, Any]]) -> tuple[float, float]:
    """The scale that all bands share; leaving alone (0) is always on it."""
    ends = [one["net_gain"][key] for one in options for key in ("low90", "high90", "value")]
    return min(0.0, *ends), max(0.0, *ends)


def _row(
    one: Mapping[str, Any], best: bool, taken: bool, ends: tuple[float, float], unit: str,
    money: bool,
) -> OptionView:  # fmt: skip
    gain, loss, hours = one["net_gain"], one["chance_of_loss"], one["hours"]
    worst = one["worst_fifth_mean"]
    leave = one["kind"] == "leave"
    said = said_loss = said_worst = drawn = ""
    if money:
        said = "0" if leave else gain_words(gain)
        said_loss = "none" if leave else share(loss)
        said_worst = "0" if leave else f"{worst['value']:.0f}".replace("-", "\u2212")
        drawn = _drawn(gain, ends, best, f"{one['name']}: {said} {unit}".strip())
    low, high = (_short(hours[key]) for key in ("low90", "high90"))
    mishap = one["mishap"]
    return OptionView(
        one["name"], best, taken, drawn, said, said_loss, said_worst,
        "none" if not hours["value"] else low if low == high else f"{low} to {high}",
        "as it is" if leave else life(one["life_ratio"]),
        "none" if not mishap["value"] else share(mishap["value"]),
        grades(one["grades"]), _WET[one["wets"]],
        tuple((line["name"], _cents(line["amount"])) for line in one["lines"]) if money else (),
        _cents(gain["value"]) if money else "", one,
    )  # fmt: skip


def gain_words(gain: Mapping[str, Any]) -> str:
    """A gain with its sign and band: "+4 (-20 to 31)"."""
    if gain["low90"] == gain["high90"]:
        return signed(f"{gain['value']:.2f}")
    middle, low, high = band_text(gain["value"], gain["low90"], gain["high90"])
    return f"{signed(middle)} ({low} to {high})"


def life(ratio: Mapping[str, Any] | None) -> str:
    """A ratio of lives in words."""
    if ratio is None:
        return "not worked out"
    band = "" if ratio["low90"] is None or ratio["low90"] == ratio["high90"] else (
        f" ({ratio['low90']:.2g} to {ratio['high90']:.2g})"
    )  # fmt: skip
    return f"{ratio['value']:.2g} times as long{band}"


def grades(chances: Sequence[Mapping[str, Any]]) -> str:
    """Where most of the chances lie: the likeliest step and the middle nine tenths."""
    if not chances:
        return ""
    likely = max(chances, key=lambda one: one["chance"])["grade"]
    summed, inside = 0.0, []
    for one in sorted(chances, key=lambda one: one["grade"]):
        if summed + one["chance"] > 0.05 and summed < 0.95:
            inside.append(one["grade"])
        summed += one["chance"]
    if inside[0] == inside[-1]:
        return f"{likely:g}"
    return f"{likely:g} most likely ({inside[0]:g} to {inside[-1]:g})"


def _short(value: float) -> str:
    return f"{value:.3g}"


def _cents(value: float) -> str:
    return f"{value:,.2f}".replace(",", "\u202f").replace("-", "\u2212")


def _drawn(gain: Mapping[str, Any], ends: tuple[float, float], best: bool, says: str) -> str:
    """One line: an upright at 0, the band as a bar with ends, the mean as a dot (a diamond for the
    best), all on the scale that the options share."""
    low, high = ends
    wide = (high - low) or 1.0

    def at(value: float) -> float:
        return EDGE + (WIDTH - 2 * EDGE) * (value - low) / wide

    zero, left, dot, right = (
        round(at(value), 1) for value in (0.0, gain["low90"], gain["value"], gain["high90"])
    )
    middle = HEIGHT / 2
    band = "" if left == right else (
        f'<path d="M{left} {middle - 5}V{middle + 5}M{left} {middle}H{right}M{right} {middle - 5}'
        f'V{middle + 5}" fill="none" stroke="currentColor" stroke-width="2"/>'
    )  # fmt: skip
    mark = (
        f'<path d="M{dot - 7} {middle}L{dot} {middle - 7}L{dot + 7} {middle}L{dot} {middle + 7}Z" '
        'fill="currentColor"/>'
        if best else f'<circle cx="{dot}" cy="{middle}" r="4.5" fill="currentColor"/>'
    )  # fmt: skip
    return (
        f'<svg class="gain" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{_quoted(says)}">'
        f'<path d="M{zero} 1V{HEIGHT - 1}" fill="none" stroke="currentColor" stroke-width="1.2" '
        f'stroke-dasharray="3 3"/>{band}{mark}</svg>'
    )


def _quoted(text: str) -> str:
    return (
        text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
    )
