"""A stack as typed: layers a line each, top to bottom, and the rest of a pressing in boxes.

``above`` and ``below``: "aluminium 3.2; thin board 1.5; release sheet" (millimetres may be left
out for the usual thickness; "aluminium 3.2 at 68 C" begins warm). A stack file says the same in
TOML. Both become the text parameters of the method ``press.run``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from quirewell.record.plain_data import BadData, toml_data
from quirewell.science.press.course import Cooling, Heat, Pressing, Rules
from quirewell.science.press.known import Bounds, Known, from_text
from quirewell.science.press.materials import MATERIALS, Material, hard_contact
from quirewell.science.press.stack import Layer, Pamphlet, Room, Stack
from quirewell.stages import typed
from quirewell.stages.typed_params import (
    celsius,
    humidity,
    minutes,
    number,
    one_of,
    refuse_unknown,
    whole,
)

KNOWN = (
    "name", "heat", "platen_c", "minutes", "above", "below", "centre", "wraps", "leaf_mm",
    "leaf_g_m2", "cover_mm", "start_c", "start_rh_pct", "room_c", "room_rh_pct", "cooling",
    "mends", "coated", "layers", "schedule", "weight_kg", "width_mm", "height_mm", "hot_c",
    "red_rh_pct", "amber_rh_pct", "alarm_s", "known",
)  # fmt: skip
HEATS: tuple[Heat, ...] = ("above", "below", "both", "none")
COOLINGS: tuple[Cooling, ...] = ("in place", "cold plates", "none")
ABOVE, BELOW = "aluminium 3.2; thin board 1.5; card", "blotter; blotter; thin board 1.5; thin board"
_LAYER = re.compile(
    r"\s*(?P<name>[a-z][a-z \-]*?)\s*(?P<mm>\d[\d.,]*)?\s*(?:mm)?\s*"
    r"(?:at\s+(?P<warm>[\d.,]+\s*°?\s*[CcFf]?))?\s*",
    re.IGNORECASE,
)
_SCHEDULE = re.compile(
    r"(?P<at>[\d.,]+)\s*(?:min|minutes|m)?\s*[,:]?\s+(?P<warm>[\d.,]+\s*°?\s*[CcFf]?)",
    re.IGNORECASE,
)
_ALSO = {
    "aluminum": "aluminium", "plate": "aluminium", "board": "thin-board", "heavy card": "card",
    "cardboard": "card", "silicone": "release", "silicone release sheet": "release",
    "release sheet": "release", "release paper": "release", "polyester": "film",
    "polyester film": "film", "mdf": "wood", "plywood": "wood", "stone": "granite",
    "granite slab": "granite", "aluminium plate": "aluminium", "coated cover": "cover",
    "newsprint leaf": "leaf",
}  # fmt: skip
_LONGEST_LINE = 200
_OWN = re.compile(r"\s*(?P<name>[a-z][a-z \-]*?)\s*:\s*(?P<values>.+)", re.IGNORECASE)


def read_pressing(params: Mapping[str, str]) -> Pressing:
    """A pressing from text parameters.

    Raises:
        ValueError: with a sentence; limits of the stack are the science's own.
    """
    refuse_unknown(params, KNOWN, "a stack knows no")
    table = own_materials(params.get("layers", ""))
    heat = one_of(params, "heat", HEATS, "above")
    cooling = one_of(params, "cooling", COOLINGS, "in place")
    centre_text = params.get("centre", "thin board 0.5").strip()
    centre = None
    if centre_text and centre_text != "none":
        centre = read_layer(centre_text, table)
    cover_mm = number(params, "cover_mm", 0.12)
    pamphlet = Pamphlet(
        whole(params, "wraps", 14), number(params, "leaf_mm", 0.085),
        number(params, "leaf_g_m2", 52.7), cover_mm > 0, cover_mm or 0.12,
        celsius(params, "start_c", 20.0), humidity(params, "start_rh_pct", 60.0), centre,
    )  # fmt: skip
    room = Room(celsius(params, "room_c", 20.0), humidity(params, "room_rh_pct", 50.0))
    stack = Stack(
        read_layers(params.get("above", ABOVE), table), pamphlet,
        read_layers(params.get("below", BELOW), table), room,
    )  # fmt: skip
    return Pressing(
        stack,
        heat,
        celsius(params, "platen_c", 65.0),
        minutes(params, "minutes", 15.0),
        cooling,
        schedule=read_schedule(params.get("schedule", "")),
    )


def read_schedule(text: str) -> tuple[tuple[float, float], ...]:
    """A platen over time: "0 min 20 C; 5 min 65 C", straight lines between.

    Raises:
        ValueError: for a part that is no time and temperature.

    >>> read_schedule("0 min 20 C; 5 min 149 F")
    ((0.0, 20.0), (5.0, 65.0))
    """
    out = []
    for part in re.split(r"[;\n]", text):
        if not part.strip():
            continue
        match = _SCHEDULE.fullmatch(_line(part))
        if match is None:
            raise ValueError(
                f"{part.strip()[:40]!r} is no step of a platen; write minutes and temperature, as "
                "in '0 min 20 C; 5 min 65 C'"
            )
        out.append((float(typed.number(match["at"])), float(typed.temperature_c(match["warm"]))))
    if len(out) > 100:
        raise ValueError(f"a platen's schedule has at most 100 steps, got {len(out)}")
    return tuple(out)


def read_rules(params: Mapping[str, str]) -> Rules:
    """Limits of the alarms, the usual ones where none are typed.

    Raises:
        ValueError: for limits that make no alarm.
    """
    usual = Rules()
    rules = Rules(
        celsius(params, "hot_c", usual.hot_c), humidity(params, "red_rh_pct", 100 * usual.red_rh),
        humidity(params, "amber_rh_pct", 100 * usual.amber_rh),
        number(params, "alarm_s", usual.seconds),
    )  # fmt: skip
    if not (20 <= rules.hot_c <= 95 and 0.3 <= rules.amber_rh < rules.red_rh <= 1):
        raise ValueError(
            "alarms begin between 20 and 95 °C, amber at 30 % or damper, and red above amber; got "
            f"{rules.hot_c:g} °C, {100 * rules.amber_rh:g} and {100 * rules.red_rh:g} %"
        )
    if not 0 <= rules.seconds <= 3600:
        raise ValueError(f"an alarm waits up to an hour, got {rules.seconds:g} s")
    return rules


def read_bounds(params: Mapping[str, str]) -> Bounds:
    """What is not known of the press; a weight on it narrows how boards touch metal and stone.

    Raises:
        ValueError: for a weight or a page that cannot be.
    """
    if not params.get("weight_kg", "").strip():
        return Bounds()
    kilograms = number(params, "weight_kg", 0.0)
    width, height = number(params, "width_mm", 184.0), number(params, "height_mm", 260.0)
    if not (0 < kilograms <= 5000 and 30 <= width <= 1000 and 30 <= height <= 1000):
        raise ValueError(
            f"a weight is above 0 and at most 5000 kg on a page of 30 to 1000 mm, got "
            f"{kilograms:g} kg on {width:g} x {height:g} mm; was it in grams?"
        )
    return Bounds(hard=hard_contact(9.81 * kilograms / (width * height / 1e6) / 1000))


def read_known(params: Mapping[str, str]) -> Known | None:
    """A calibration of the press, where one is given.

    Raises:
        ValueError: for a text that is none.
    """
    text = params.get("known", "").strip()
    return from_text(text) if text else None


def read_layers(text: str, table: Mapping[str, Material]) -> tuple[Layer, ...]:
    """Layers, top to bottom, a line or a part between ";" each; none for nothing written."""
    return tuple(
        read_layer(part, table) for part in re.split(r"[;\n]", text) if part.strip(" ;\t\r")
    )


def read_layer(text: str, table: Mapping[str, Material]) -> Layer:
    """A layer as typed: material, millimetres, and at what temperature it begins.

    Raises:
        ValueError: for what is no layer, naming what there is.

    >>> read_layer("heavy card 0.25", MATERIALS).material.key
    'card'
    """
    match = _LAYER.fullmatch(_line(text))
    name = " ".join(match["name"].lower().split()) if match else ""
    key = _ALSO.get(name, name.replace(" ", "-"))
    if match is None or key not in table:
        names = ", ".join(row.key.replace("-", " ") for row in table.values())
        raise ValueError(
            f"{text.strip()[:40]!r} is no layer; write a material and millimetres, as in "
            f"'thin board 1.5'. There are: {names}"
        )
    material = table[key]
    mm = float(typed.number(match["mm"])) if match["mm"] else material.usual_mm
    warm = float(typed.temperature_c(match["warm"])) if match["warm"] else None
    return Layer(material, mm, warm)


def _line(text: str) -> str:
    """A line with single spaces, empty when nobody would type one so long: the patterns would
    search a long run of spaces for minutes."""
    line = " ".join(text.split())
    return line if len(line) <= _LONGEST_LINE else ""


def layer_names(own: str) -> tuple[str, ...]:
    """What a layer may be called, the bench's own among them."""
    plain = {"release": "release sheet", "film": "polyester film"}
    return tuple(plain.get(key, key.replace("-", " ")) for key in own_materials(own))


def own_materials(text: str) -> dict[str, Material]:
    """The table of materials with the bench's own rows over it, a line each: "old felt: 180 kg/m3,
    0.045 W/mK, 3 times air, 4 mm".

    Raises:
        ValueError: for a line that cannot be read.
    """
    table = dict(MATERIALS)
    for line in re.split(r"[;\n]", text):
        if not line.strip():
            continue
        match = _OWN.fullmatch(_line(line))
        # Digits in units ("kg/m3") are no values.
        values = re.findall(r"(?<![A-Za-z/\d.])\d+\.?\d*", match["values"]) if match else []
        if match is None or len(values) != 4:
            raise ValueError(
                f"{line.strip()[:60]!r} is no material; write it as 'old felt: 180 kg/m3, 0.045 "
                "W/mK, 3 times air, 4 mm'"
            )
        rho, conducts, mu, mm = (float(one) for one in values)
        if not (20 <= rho <= 9000 and 0.02 <= conducts <= 400 and 1 <= mu <= 1e6):
            raise ValueError(
                f"{line.strip()[:60]!r}: density is 20 to 9000 kg/m3, conduction 0.02 to 400 W/mK, "
                "resistance 1 to a million times that of air"
            )
        name = " ".join(match["name"].lower().split())
        key = name.replace(" ", "-")
        table[key] = Material(
            key, name, rho, 1400, conducts, mu, mu, mu, mm,
            "nothing" if mu >= 1000 else "like paper", conducts > 1, "as given here",
        )  # fmt: skip
    return table


def params_of(toml: str, name: str) -> dict[str, str]:
    """The text parameters of a stack file.

    Raises:
        ValueError: when it is no TOML, or holds what a stack does not know.
    """
    try:
        read = toml_data(toml)
    except BadData as error:
        raise ValueError(f"{name} is no stack file: {error}") from error
    out = {key: _text(value) for key, value in read.items()}
    refuse_unknown(out, KNOWN, f"{name}: a stack knows no")
    return out


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "; ".join(str(one) for one in value)
    return str(value)
