"""Readings as typed: pH with method and temperature, mass, thickness, size, tone step.

A reading keeps what was typed. Units are turned into one unit each (g, mm, C); what lies off
an instrument's scale is kept as "below" or "above"; what cannot be is refused in a sentence.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Moment, Reading
from quirewell.stages import typed
from quirewell.stages.places import read_places
from quirewell.stages.refusal import no

Form = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class QuantityKind:
    """A quantity that can be read: its unit, what can be, units taken, and the usual step."""

    key: str
    name: str
    unit: str
    low: Decimal
    high: Decimal
    units: Mapping[str, Decimal]
    step: Decimal
    hint: str


@dataclass(frozen=True, slots=True)
class PhMethod:
    """How a pH was read. ``u`` is its usual standard uncertainty (common practice, no source)."""

    key: str
    name: str
    strip: bool
    u: Decimal
    step: Decimal


def _kind(
    key: str, name: str, unit: str, low: str, high: str, units: Mapping[str, str], step: str,
    hint: str,
) -> QuantityKind:  # fmt: skip
    table = {text: Decimal(factor) for text, factor in units.items()}
    return QuantityKind(key, name, unit, Decimal(low), Decimal(high), table, Decimal(step), hint)


_MM = {"mm": "1", "cm": "10", "in": "25.4", '"': "25.4", "inch": "25.4", "inches": "25.4"}
_THIN = {**_MM, "um": "0.001", "µm": "0.001", "μm": "0.001", "micron": "0.001", "mil": "0.0254",
         "thou": "0.0254"}  # fmt: skip

QUANTITIES: Mapping[str, QuantityKind] = {
    kind.key: kind
    for kind in (
        _kind("pH", "pH", "pH", "0", "14", {"ph": "1"}, "0.1", "7.9 at 21C"),
        _kind("mass", "Mass", "g", "0.01", "5000", {"g": "1", "mg": "0.001", "kg": "1000",
              "oz": "28.349523125"}, "0.1", "4.7 g"),
        _kind("thickness", "Thickness", "mm", "0.01", "50", _THIN, "0.01", "0.09 mm"),
        _kind("width", "Width", "mm", "10", "1500", _MM, "0.5", "184.5 mm"),
        _kind("height", "Height", "mm", "10", "1500", _MM, "0.5", "260 mm"),
        _kind("tone_step", "Tone step", "step", "0", "30", {"step": "1", "steps": "1"}, "1", "6"),
        _kind("lightness", "Lightness L*", "L*", "0", "100", {"l*": "1", "l": "1"}, "0.1",
              "78 L*"),
        _kind("strip_length", "Bench strip, first mark to last", "mm", "144", "176", _MM, "0.1",
              "160.1 mm"),
        _kind("temperature", "Temperature", "C", "-10", "60", {}, "0.5", "21C"),
        _kind("humidity", "Relative humidity", "%", "0", "100", {"%": "1", "%rh": "1",
              "rh": "1"}, "1", "52 %"),
    )
}  # fmt: skip

PH_METHODS: Mapping[str, PhMethod] = {
    method.key: method
    for method in (
        PhMethod("strip on the paper", "strip on the damp surface", True,
                 Decimal("0.4"), Decimal("0.5")),
        PhMethod("electrode on the paper", "flat electrode on a drop", False,
                 Decimal("0.2"), Decimal("0.1")),
        PhMethod("cold extract", "cold extract of a sample", False,
                 Decimal("0.1"), Decimal("0.1")),
        PhMethod("strip in the bath", "strip dipped in the bath", True,
                 Decimal("0.4"), Decimal("0.5")),
        PhMethod("electrode in the bath", "electrode in the bath", False,
                 Decimal("0.05"), Decimal("0.01")),
    )
}  # fmt: skip

_AT = re.compile(r"(?P<value>.+?)\s*(?:\bat\b|@)\s*(?P<temperature>.+)", re.IGNORECASE)
_OFF = re.compile(r"\s*(?P<sign><|>|below|under|above|over)\s*(?P<rest>.+)", re.IGNORECASE)
_ABOVE = frozenset((">", "above", "over"))
_SIZE = re.compile(r"(?P<width>.+?)\s*(?:[x×*]|by)\s*(?P<height>.+)", re.IGNORECASE)
_UNIT = re.compile(r"(?P<number>[-+\d.,/ \u2212]*\d)\s*(?P<unit>[^\d]*)")


def record_reading(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Take a reading: ``quantity`` and ``value`` as typed; ``place`` is the whole item if empty.

    ``size`` takes width x height and leaves two readings. pH takes ``method`` and a temperature,
    in its own field or typed behind the value ("7.9 at 21C").

    Raises:
        Refusal: with a sentence for what cannot be read or cannot be.
    """
    first = f"reading-{state.version + 1}"
    return tuple(
        Draft(state.id, "reading.taken", to_body(reading))
        for reading in _readings(state, form, first)
    )


def correct_reading(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Correct the reading ``id`` by what is typed now, as a new event.

    Raises:
        Refusal: no such reading, another quantity, or what cannot be read.
    """
    known = form.get("id", "")
    if known not in state.readings:
        raise no(form, "id", "There is no such reading; it may have been set aside meanwhile.")
    before = state.readings[known]
    wanted = form.get("quantity", "") or before.quantity
    if wanted != before.quantity:
        raise no(form, "quantity", "A correction keeps its quantity; take a new reading instead.")
    kept = {
        "quantity": before.quantity, "place": before.place, "method": before.method,
        "instrument": before.instrument, "note": before.note, "moment": before.moment or "",
    }  # fmt: skip
    if before.buffers:
        kept["buffers"] = "; ".join(str(one) for one in before.buffers)
    if before.temperature_c is not None and " at" not in form.get("value", ""):
        kept["temperature"] = str(before.temperature_c)
    (reading,) = _readings(state, {**kept, **form}, known)
    return (Draft(state.id, "reading.corrected", to_body(replace(reading, id=known))),)


def _readings(state: ItemState, form: Form, first: str) -> tuple[Reading, ...]:
    quantity = form.get("quantity", "").strip()
    text = form.get("value", "").strip()
    if not text:
        raise no(form, "value", "Type the reading, as in 7.9 at 21C, 4.7 g or 184.5 x 260.")
    if quantity == "size":
        return _size(state, form, text, first)
    if quantity not in QUANTITIES:
        known = ", ".join([*QUANTITIES, "size"])
        raise no(form, "quantity", f"{quantity or 'Nothing'} cannot be read; choose {known}.")
    return (_reading(state, form, QUANTITIES[quantity], text, first),)


def _size(state: ItemState, form: Form, text: str, first: str) -> tuple[Reading, ...]:
    match = _SIZE.fullmatch(text)
    if match is None:
        raise no(form, "value", f"{text!r} is no size; write width x height, as in 184.5 x 260.")
    width, height = match["width"], match["height"]
    unit = _UNIT.fullmatch(height)
    width_unit = _UNIT.fullmatch(width)
    if unit and unit["unit"].strip() and width_unit and not width_unit["unit"].strip():
        width = f"{width} {unit['unit'].strip()}"
    pair = (("width", width), ("height", height))
    return tuple(
        replace(_reading(state, form, QUANTITIES[key], part, f"{first}-{key}"), as_typed=text)
        for key, part in pair
    )


@dataclass(frozen=True, slots=True)
class _Parts:
    """A typed reading taken apart; ``at_field`` is the form field its temperature came from."""

    value: str
    off_scale: Literal["below", "above"] | None
    temperature: str
    at_field: str


def _parts(form: Form, text: str) -> _Parts:
    named = "temperature" if form.get("temperature", "").strip() else "temperature_c"
    temperature, at_field, value = form.get(named, "").strip(), named, text
    at = _AT.fullmatch(text)
    if at is not None:
        value, temperature, at_field = at["value"], at["temperature"].strip(), "value"
    elif not temperature:
        at_field = "value"
    off = _OFF.fullmatch(value)
    if off is None:
        return _Parts(value, None, temperature, at_field)
    side: Literal["below", "above"] = "above" if off["sign"].lower() in _ABOVE else "below"
    return _Parts(off["rest"], side, temperature, at_field)


def _reading(
    state: ItemState, form: Form, kind: QuantityKind, text: str, reading_id: str
) -> Reading:
    parts = _parts(form, text)
    value, step = _value(form, kind, parts.value)
    if not kind.low <= value <= kind.high:
        raise no(form, "value", _outside(kind, value, text))
    method = _method(form, kind)
    temperature = _temperature(form, parts)
    if kind.key == "pH" and temperature is None and not PH_METHODS[method].strip:
        raise no(
            form, parts.at_field,
            f"A pH by electrode needs its temperature: lime water reads 0.03 lower for each "
            f"degree warmer. Write it as {value} at 21C.",
        )  # fmt: skip
    return Reading(
        reading_id,
        read_places(state, form, field="place", otherwise="item")[0],
        kind.key,
        value,
        kind.unit,
        method,
        temperature,
        _resolution(form, kind, step, method),
        parts.off_scale,
        _moment(form),
        form.get("instrument", "").strip(),
        text,
        form.get("note", "").strip(),
        _buffers(form, method) if kind.key == "pH" else (),
    )


def _buffers(form: Form, method: str) -> tuple[Decimal, ...]:
    """The buffers a meter was set on, as "7, 10.01"; none where none were written."""
    text = form.get("buffers", "").strip()
    if not text:
        return ()
    if PH_METHODS[method].strip:
        raise no(form, "buffers", "A strip is set on no buffers; leave them out.")
    try:
        found = tuple(typed.number(part) for part in re.split(r"\s*[;/ ]\s*|,\s+", text))
    except typed.Unreadable as error:
        raise no(form, "buffers", f"{error}; write buffers as 7.00, 10.01.") from error
    if not all(1 <= one <= 13 for one in found) or len(found) > 5:
        raise no(form, "buffers", f"Buffers lie between pH 1 and 13, at most five; got {text!r}.")
    return found


def _value(form: Form, kind: QuantityKind, text: str) -> tuple[Decimal, Decimal]:
    """Value and the step of its last digit, both in the quantity's unit."""
    try:
        if kind.key == "temperature":
            return typed.temperature_c(text), kind.step
        cleaned = text.strip()
        if kind.key == "pH" and cleaned[:2].lower() == "ph":
            cleaned = cleaned[2:].strip()
        match = _UNIT.fullmatch(cleaned)
        if match is None:
            raise typed.Unreadable(f"{text.strip()!r} is not a number; write it as {kind.hint}")
        factor = _factor(kind, match["unit"].strip().rstrip("."))
        return _scaled(match["number"], factor)
    except typed.Unreadable as error:
        raise no(form, "value", f"{error}.") from error


def _factor(kind: QuantityKind, unit: str) -> Decimal:
    if not unit:
        return Decimal(1)
    known = {name.lower(): factor for name, factor in kind.units.items()}
    if unit.lower() not in known:
        raise typed.Unreadable(
            f"{kind.name} is read in {', '.join(kind.units)}, got {unit!r}; write it as {kind.hint}"
        )
    return known[unit.lower()]


def _scaled(text: str, factor: Decimal) -> tuple[Decimal, Decimal]:
    value = typed.mixed_number(text)
    if "/" in text:
        step = Decimal(1) / Decimal(int(text.rsplit("/", 1)[1]))
    else:
        exponent = value.as_tuple().exponent
        step = Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)
    if factor == 1:
        return value, step
    return (value * factor).normalize() + 0, (step * factor).normalize() + 0


def _outside(kind: QuantityKind, value: Decimal, text: str) -> str:
    says = (
        f"{kind.name} must be between {kind.low} and {kind.high} {kind.unit}, got {value} "
        f"({text!r} as typed)"
    )
    if kind.key == "pH" and 14 < value <= 140:
        return f"{says}; is a decimal point missing? {value / 10} is a pH."
    if kind.key == "temperature" and kind.high < value <= 140:
        return f"{says}; was it Fahrenheit? Write {value}F."
    if kind.unit == "mm" and value > kind.high:
        return f"{says}; was it typed in another unit? Write it as {kind.hint}."
    return f"{says}."


def _method(form: Form, kind: QuantityKind) -> str:
    method = form.get("method", "").strip()
    if kind.key != "pH":
        return method
    if method not in PH_METHODS:
        known = "; ".join(PH_METHODS)
        raise no(
            form, "method",
            f"A pH means little without its method. Choose one of: {known}"
            f"{f' (got {method!r})' if method else ''}.",
        )  # fmt: skip
    return method


def _temperature(form: Form, parts: _Parts) -> Decimal | None:
    text = parts.temperature
    if not text:
        return None
    try:
        celsius = typed.temperature_c(text)
    except typed.Unreadable as error:
        raise no(form, parts.at_field, f"{error}.") from error
    if not 0 <= celsius <= 60:
        says = f"A reading is taken between 0 and 60 °C, got {celsius} °C"
        maybe = f"; was it Fahrenheit? Write {text}F." if text[-1:].isdigit() else "."
        raise no(form, parts.at_field, f"{says}{maybe if 60 < celsius <= 140 else '.'}")
    return celsius


def _resolution(form: Form, kind: QuantityKind, step: Decimal, method: str) -> Decimal:
    text = form.get("resolution", "").strip()
    if text:
        try:
            given = typed.number(text)
        except typed.Unreadable as error:
            raise no(form, "resolution", f"{error}.") from error
        if given <= 0:
            says = f"The smallest step of an instrument is above 0, got {given}."
            raise no(form, "resolution", says)
        return given
    if kind.key == "pH":
        return max(PH_METHODS[method].step, step if step < 1 else Decimal(0))
    return step


def _moment(form: Form) -> Moment | None:
    moment = form.get("moment", "").strip()
    if moment not in ("", "before", "after"):
        raise no(form, "moment", f"A reading is taken before or after treatment, got {moment!r}.")
    return moment or None  # type: ignore[return-value]
