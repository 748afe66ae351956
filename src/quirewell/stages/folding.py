"""Where the cover's fold may lie, spine roll, how far folds are worked: a registered method.

Parameters are text, each optional: ``flat_cover_mm`` and ``block_mm`` (flat cover; the outermost
wrap from fold to reading edge), ``crease_mm`` (old crease from the front edge), or the overhangs as
it lies folded, ``front_now_mm`` and ``back_now_mm`` (+ the cover stands out); ``u_mm`` of a reading
(0.25); ``choice`` (keep, even, asked, roll; empty: the one advised) with ``ask_front_mm``,
``ask_back_mm``; ``tolerance_mm`` (0); ``roll_mm`` (the block's front reading edge beyond its back
one) or ``bevel_mm`` across the fore-edge; ``leaves``, ``leaf_mm``, ``cover_mm``, ``thickness_mm``
(of the closed block); ``widths`` (:mod:`.width_table`, with halves); ``front_after_mm``,
``back_after_mm``, ``roll_after_mm`` (after folding, to check them); ``fore_edge`` (left, right: its
side in the photograph, which may be given as the role "head") and ``front_up`` (yes, no).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.science.booklet.creep import COVER, LEAF, check_leaf
from quirewell.science.booklet.fold import (
    Choice,
    Plan,
    Split,
    allowance_of_first_fold,
    allowance_unknown,
    check,
    plan,
    split_at,
)
from quirewell.science.booklet.head_picture import End, HeadSeen, NotSeen, roll_of_head
from quirewell.science.booklet.reading import Reading
from quirewell.science.booklet.roll import bevel, block_thickness, moves, roll_of_bevel, rolled
from quirewell.stages.cautions import plain
from quirewell.stages.methods import Outcome, method
from quirewell.stages.typed_params import number, one_of, refuse_unknown, whole
from quirewell.stages.width_table import halves, read_widths
from quirewell.studio.images import load_picture

METHOD = "fold.plan"
CAUTIONS = ("brittle-fold", "over-humid", "coated", "old-holes")
CHOICES = {"keep": "keep the old crease", "even": "even split", "asked": "asked split",
           "roll": "least roll"}  # fmt: skip
_KNOWN = (
    "flat_cover_mm", "block_mm", "crease_mm", "front_now_mm", "back_now_mm", "u_mm", "choice",
    "ask_front_mm", "ask_back_mm", "tolerance_mm", "roll_mm", "bevel_mm", "leaves", "leaf_mm",
    "cover_mm", "thickness_mm", "widths", "front_after_mm", "back_after_mm",
    "roll_after_mm", "fore_edge", "front_up",
)  # fmt: skip
BEFORE = (
    "Fold paper that is old and brown breaks when it is worked dry: humidify it first, try a "
    "corner of the fold, and leave it on its old crease where it cracks.",
)
ASSUMES = (
    "A rule is read to 0.25 mm and a fold laid by hand to 0.25 mm (assumed); sizes taken at one "
    "humidity.",
)
NARROWS = (
    "What would narrow it most: fold the cover once round the block without pressing, and read "
    "front and back overhang with a steel rule; what goes round the spine is then known."
)


@method(METHOD, 3, "exact")
def fold_plan(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """How front and back overhang can be split, spine roll, and how far each fold is worked."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    u = number(params, "u_mm", 0.25)
    if not 0 < u <= 5:
        raise ValueError(f"u of a reading lies above 0 and up to 5 mm, got {u:g}")
    out: list[Finding] = []
    warnings: list[str] = []
    drawing: dict[str, str] = {}
    thick = _thickness(params)
    roll_mm = _roll(files, params, u, thick, out, warnings, drawing)
    now, narrow = _now(params, u, thick, out)
    if now is not None:
        asked = _asked(params)
        made = plan(
            now, tolerance_mm=number(params, "tolerance_mm", 0.0), asked=asked, roll=roll_mm
        )
        chosen = _chosen(params, made)
        out += _planned(made, chosen)
        drawing["choices"] = "\n".join(_line(one, one is chosen) for one in made.choices)
        if made.front_range is not None:
            drawing["front_range"] = "{:.4f} {:.4f}".format(*made.front_range)
        if params.get("front_after_mm") or params.get("back_after_mm"):
            out += [*_checked(params, chosen, made.total, u), *_found(now)]
        warnings += [NARROWS] if narrow else []
    elif params.get("front_after_mm") or params.get("back_after_mm"):
        raise ValueError("a check after folding needs the plan: give what stood before it")
    if params.get("widths", "").strip():
        out += _moves(params["widths"], warnings)
    if params.get("roll_after_mm", "").strip():
        out += _roll_checked(Reading(number(params, "roll_after_mm", 0.0), u), roll_mm)
    if not out:
        raise ValueError(
            "give something measured: front_now_mm and back_now_mm of a first fold; or "
            "flat_cover_mm and block_mm; or widths with both halves; or bevel_mm; or a photograph "
            "of the head"
        )
    return Outcome(tuple(out), (*BEFORE, *warnings, *ASSUMES), drawing)


def _given(params: Mapping[str, str], name: str) -> float | None:
    return number(params, name, 0.0) if params.get(name, "").strip() else None


def _thickness(params: Mapping[str, str]) -> Reading | None:
    """The closed block's thickness, read or from its leaves; None where neither is known."""
    read = _given(params, "thickness_mm")
    if read is not None:
        if not 0.2 <= read <= 60:
            raise ValueError(f"a closed block is 0.2 to 60 mm thick, got {read:g}")
        # A rule at a soft edge: 0.25 mm, or a twentieth (assumed).
        return Reading(read, min(0.25, read / 4) if read < 5 else read / 20)
    if not params.get("leaves", "").strip():
        return None
    leaves = whole(params, "leaves", 28)
    if not 2 <= leaves <= 400:
        raise ValueError(f"leaves lie between 2 and 400, got {leaves}")
    measured = _given(params, "leaf_mm")
    leaf = LEAF if measured is None else Reading(measured, 0.005)
    check_leaf(leaf)
    cover = number(params, "cover_mm", COVER.value)
    if not 0 <= cover <= 2:
        raise ValueError(f"a cover is 0 (none) to 2 mm thick, got {cover:g}")
    return block_thickness(leaves, leaf, Reading(cover, COVER.u) if cover else None)


def _roll(
    files: Mapping[str, Path], params: Mapping[str, str], u: float, thick: Reading | None,
    out: list[Finding], warnings: list[str], drawing: dict[str, str],
) -> Reading | None:  # fmt: skip
    """Puts what is known of the roll into ``out``; gives the front's lead over the back [mm]."""
    read, across = _given(params, "roll_mm"), _given(params, "bevel_mm")
    angle: Reading | None = None
    note = ""
    if "head" in files:
        seen = _seen(files["head"], params, warnings, drawing)
        angle, note = seen.roll, "from the photograph of the head; the front stands out (+)"
    elif across is not None:
        if thick is None:
            raise ValueError("a bevel says the roll only with the block's thickness: give leaves "
                             "or thickness_mm")  # fmt: skip
        angle = roll_of_bevel(Reading(across, u), thick)
        note = "from the bevel of the fore-edge; the front stands out (+)"
    if angle is not None:
        out.append(Finding("", "fold.roll_deg", "item", angle.value, angle.u, "deg", note=note))
    lead = None
    if read is not None:
        lead = Reading(read, u)
    elif across is not None:
        lead = Reading(across, u)
    elif angle is not None and thick is not None:
        lead = bevel(thick, angle)
    if lead is None:
        if angle is not None:
            warnings.append(
                "The angle alone says nothing in millimetres: give leaves or thickness."
            )
        return None
    out.append(Finding("", "fold.lead_mm", "item", lead.value, lead.u, "mm",
                       note="the block's front reading edge beyond its back one"))  # fmt: skip
    return lead


def _seen(
    path: Path, params: Mapping[str, str], warnings: list[str], drawing: dict[str, str]
) -> HeadSeen:
    picture = load_picture(path)
    end: End = (
        "left" if one_of(params, "fore_edge", ("left", "right"), "right") == "left" else "right"
    )
    try:
        seen = roll_of_head(picture.pixels, end)
    except NotSeen as error:
        raise NotSeen(f"The photograph of the head: {error}") from error
    warnings += [*picture.warnings, *seen.says]
    if one_of(params, "front_up", ("yes", "no"), "yes") == "no":
        seen = replace(seen, roll=Reading(-seen.roll.value, seen.roll.u))
    tall, wide = picture.pixels.shape[:2]
    drawing["head.size"] = f"{wide} {tall}"
    for name, pair in (("head.end", seen.end), *((f"head.side{i}", two) for i, two in
                                                 enumerate(seen.sides, 1))):  # fmt: skip
        drawing[name] = " ".join(f"{x:.2f},{y:.2f}" for x, y in pair)
    return seen


def _now(
    params: Mapping[str, str], u: float, thick: Reading | None, out: list[Finding]
) -> tuple[Split | None, bool]:
    """The split as it is, and whether a first fold would narrow it."""
    front, back = _given(params, "front_now_mm"), _given(params, "back_now_mm")
    cover, block = _given(params, "flat_cover_mm"), _given(params, "block_mm")
    if (front is None) != (back is None):
        raise ValueError("give both front_now_mm and back_now_mm of a first fold, or neither")
    if (cover is None) != (block is None):
        raise ValueError("give both flat_cover_mm and block_mm, or neither")
    if front is not None and back is not None:
        if max(abs(front), abs(back)) > 60:
            raise ValueError(f"an overhang is at most 60 mm, got {front:g} and {back:g}")
        if cover is not None and block is not None:
            round_it = allowance_of_first_fold(
                Reading(cover, u), Reading(block, u), Reading(front, u), Reading(back, u)
            )
            out.append(_allowance(round_it, "from the first fold"))
        return Split(Reading(front, u), Reading(back, u)), False
    if cover is None or block is None:
        return None, False
    usual = block_thickness(28, LEAF, COVER)
    round_it = allowance_unknown((thick or usual).value)
    out.append(_allowance(round_it, "not known before a first fold: between nothing and a full "
                          "spine" + ("" if thick else " of 28 leaves")))  # fmt: skip
    crease = _given(params, "crease_mm")
    at = None if crease is None else Reading(crease, u)
    return split_at(Reading(cover, u), Reading(block, u), round_it, at), True


def _allowance(value: Reading, note: str) -> Finding:
    return Finding("", "fold.allowance_mm", "item", value.value, value.u, "mm",
                   note=f"goes round the spine; {note}")  # fmt: skip


def _asked(params: Mapping[str, str]) -> tuple[float, float] | None:
    front, back = _given(params, "ask_front_mm"), _given(params, "ask_back_mm")
    if (front is None) != (back is None):
        raise ValueError("ask for both ask_front_mm and ask_back_mm, or neither")
    return None if front is None or back is None else (front, back)


def _chosen(params: Mapping[str, str], made: Plan) -> Choice:
    word = one_of(params, "choice", ("", *CHOICES), "")
    if not word:
        return made.advised
    found = next((one for one in made.choices if one.name == CHOICES[word]), None)
    if found is None:
        lacks = "ask_front_mm and ask_back_mm" if word == "asked" else "roll_mm or bevel_mm"
        raise ValueError(f"the choice {word!r} needs {lacks}")
    return found


def _planned(made: Plan, chosen: Choice) -> list[Finding]:
    says = f"{made.says} So: {chosen.name}; {chosen.looks}."
    if chosen is not made.advised:
        says = f"{made.says} Chosen instead: {chosen.name}; {chosen.looks}."
    if not chosen.possible:
        says += " The leaves stand out beyond the cover by more than the tolerance."
    return [
        _one("fold.front_mm", chosen.front, "the cover's front stands out (+)"),
        _one("fold.back_mm", chosen.back, "the cover's back stands out (+)"),
        _one("fold.shift_mm", chosen.shift, "of the fold into the back half (+), the front gains"),
        Finding("", "fold.crease_mm", "item", chosen.crease_mm, chosen.shift.u, "mm",
                note="the old crease from the new fold: a line that stays"),
        _one("fold.total_mm", made.total, "front and back together, wherever the fold lies"),
        Finding("", "fold.says", "item", text=says),
    ]  # fmt: skip


def _one(quantity: str, value: Reading, note: str) -> Finding:
    return Finding("", quantity, "item", value.value + 0.0, value.u, "mm", note=note)


def _line(one: Choice, chosen: bool) -> str:
    numbers = (
        one.front.value,
        one.front.u,
        one.back.value,
        one.back.u,
        one.shift.value,
        one.shift.u,
    )
    said = " ".join(f"{value + 0.0:.6f}" for value in numbers)
    return f"{one.name}|{int(chosen)}|{int(one.possible)}|{said}|{one.looks}"


def _checked(params: Mapping[str, str], chosen: Choice, total: Reading, u: float) -> list[Finding]:
    front, back = _given(params, "front_after_mm"), _given(params, "back_after_mm")
    if front is None or back is None:
        raise ValueError("a check needs both front_after_mm and back_after_mm")
    held = check(chosen, total, Reading(front, u), Reading(back, u))
    off = Finding(
        "", "fold.off_mm", "item", held.off.value, held.off.u, "mm", held.says,
        note=f"the fold from where it was meant (+: front too much); the sum "
        f"{held.grown.value:+.2f} mm, u {held.grown.u:.2f} mm",
    )  # fmt: skip
    return [
        off,
        _one("fold.front_after_mm", Reading(front, u), "as read after folding"),
        _one("fold.back_after_mm", Reading(back, u), "as read after folding"),
    ]


def _found(now: Split) -> list[Finding]:
    return [
        _one("fold.front_now_mm", now.front, "on the old crease, before folding"),
        _one("fold.back_now_mm", now.back, "on the old crease, before folding"),
    ]


def _roll_checked(after: Reading, before: Reading | None) -> list[Finding]:
    if before is None:
        raise ValueError(
            "a check of the roll needs the roll before folding: give roll_mm or bevel_mm, or a "
            "photograph of the head with leaves or thickness_mm"
        )
    if abs(after.value) > 60:
        raise ValueError(f"a roll is at most 60 mm, got {after.value:g}")
    held = rolled(before, after)
    return [
        _one("fold.lead_after_mm", after, "the block's front beyond its back, after folding"),
        Finding("", "fold.roll_change_mm", "item", held.change.value, held.change.u, "mm",
                held.says, note="of the front's lead over the back: after less before"),
        Finding("", "fold.roll_seen_mm", "item", held.smallest_mm, None, "mm",
                note="a change of roll this large is called in 95 of 100 cases"),
    ]  # fmt: skip


def _moves(text: str, warnings: list[str]) -> list[Finding]:
    sheets = read_widths(text)
    known = {one.name for one in sheets if one.halved}
    if not known:
        warnings.append(
            "The table holds no halves (left_mm, right_mm), so it does not say where folds lie."
        )
    out = []
    for one in moves([half for half in halves(sheets) if half.name in known]):
        out += [
            Finding("", "fold.move_mm", one.name, one.shift.value + 0.0, one.shift.u, "mm",
                    one.says, note="of the fold to the left, outer side up (+): the front gains"),
            Finding("", "fold.line_mm", one.name, one.crease_mm, one.shift.u, "mm",
                    note="the old crease from the new fold; 0 where the fold is left"),
        ]  # fmt: skip
    return out


def as_json(run: Run) -> dict[str, Any]:
    """A plan as the command line's JSON; what was not asked about is not there."""
    item = {one.quantity: one for one in run.findings if one.subject == "item"}
    out: dict[str, Any] = {}
    if "fold.says" in item:
        out["says"] = item["fold.says"].text
    for key in ("front_mm", "back_mm", "shift_mm", "crease_mm", "total_mm", "allowance_mm",
                "roll_deg", "lead_mm", "off_mm", "front_now_mm", "back_now_mm", "front_after_mm",
                "back_after_mm", "lead_after_mm", "roll_change_mm", "roll_seen_mm"):  # fmt: skip
        one = item.get(f"fold.{key}")
        if one is not None:
            out[key] = one.measured().as_json() | ({"says": one.text} if one.text else {})
    if "choices" in run.drawing:
        out["choices"] = [_choice(line) for line in run.drawing["choices"].split("\n")]
        low_high = run.drawing.get("front_range", "").split()
        out["front_range_mm"] = [float(one) for one in low_high] or None
    out["wraps"] = [
        {"name": one.subject, "shift_mm": one.measured().as_json(), "says": one.text}
        for one in run.findings if one.quantity == "fold.move_mm"
    ]  # fmt: skip
    return out | {
        "cautions": [row["says"] for row in plain(CAUTIONS)], "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }  # fmt: skip


def _choice(line: str) -> dict[str, Any]:
    name, chosen, possible, numbers, looks = line.split("|")
    front, u_front, back, u_back, shift, u_shift = map(float, numbers.split())
    return {
        "name": name, "chosen": chosen == "1", "possible": possible == "1",
        "front_mm": _told(front, u_front), "back_mm": _told(back, u_back),
        "shift_mm": _told(shift, u_shift), "crease_mm": abs(shift), "looks": looks,
    }  # fmt: skip


def _told(value: float, u: float) -> dict[str, Any]:
    return {"value": value, "u": u, "unit": "mm"}
