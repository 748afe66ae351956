"""One box for every reading: which quantity was typed, and how it is read back before saving.

"pH 7.9 at 21C" is a pH, "184.5 x 260" a size, "12.5 g" a mass, "L* 78" a lightness: the words and
the unit say it. Where they leave it open (a bare number, millimetres of what?) the person is asked,
unless the step in hand says which reading it wants.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from quirewell.record.codec import from_body
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import ItemState, Reading
from quirewell.stages.naming import place_words
from quirewell.stages.reading_entry import PH_METHODS, QUANTITIES, record_reading
from quirewell.stages.refusal import no

Form = Mapping[str, str]
_NAMED = (
    (re.compile(r"p\.?h\.?\s*[:=]?\s*(?=[-+<>\d]|below|above|under|over)", re.IGNORECASE), "pH"),
    (re.compile(r"(?:L\*|lightness)\s*[:=]?\s*(?:L\*\s*)?", re.IGNORECASE), "lightness"),
    (re.compile(r"(?:rh|humidity|relative humidity)\s*[:=]?\s*(?=[\d<>])", re.IGNORECASE),
     "humidity"),
    (re.compile(r"(?:temp(?:erature)?|t)\s*[:=]?\s*(?=[-+\d])", re.IGNORECASE), "temperature"),
    (re.compile(r"(?:tone\s*step|tone|step)\s*[:=]?\s*(?=\d)", re.IGNORECASE), "tone_step"),
    (re.compile(r"(?:thickness|thick)\s*[:=]?\s*(?=[\d.,])", re.IGNORECASE), "thickness"),
    (re.compile(r"(?:width|wide|w)\s*[:=]?\s*(?=[\d.,])", re.IGNORECASE), "width"),
    (re.compile(r"(?:height|high|tall|h)\s*[:=]?\s*(?=[\d.,])", re.IGNORECASE), "height"),
    (re.compile(r"(?:mass|weight|weighs)\s*[:=]?\s*(?=[\d.,])", re.IGNORECASE), "mass"),
    (re.compile(r"(?:strip)\s*[:=]?\s*(?=\d)", re.IGNORECASE), "strip_length"),
    (re.compile(r"size\s*[:=]?\s*(?=[\d.,])", re.IGNORECASE), "size"),
)  # fmt: skip
_SIZE = re.compile(r"[\d.,/ ]+\S*\s*(?:[x×*]|by)\s*[\d.,/]+.*", re.IGNORECASE)
_UNITS = (
    (re.compile(r"[\d.,/ ]+\s*(?:mg|g|kg|oz)\.?", re.IGNORECASE), "mass"),
    (re.compile(r"[\d.,/ ]+\s*(?:um|µm|μm|microns?|mil|thou)\.?", re.IGNORECASE), "thickness"),
    (re.compile(r"[-+\d.,\u2212 ]+\s*(?:°|º|deg\S*)?\s*[CF]", re.IGNORECASE), "temperature"),
    (re.compile(r"[<>]?\s*[\d.,]+\s*(?:%|%\s*rh|rh)", re.IGNORECASE), "humidity"),
    (re.compile(r"[\d.,]+\s*(?:L\*|L)", re.IGNORECASE), "lightness"),
    (re.compile(r"[\d.,]+\s*steps?", re.IGNORECASE), "tone_step"),
    (re.compile(r"(?:below|above|under|over|<|>)?\s*[\d.,]+\s*(?:at|@)\s*.+", re.IGNORECASE), "pH"),
)  # fmt: skip
_LENGTH = re.compile(r"(?P<number>[\d.,]+)\s*(?P<unit>mm|cm|in|inch|inches|\")", re.IGNORECASE)
MOMENTS = (("", "during treatment"), ("before", "before treatment"), ("after", "after treatment"))


def read_box(form: Form, expected: str = "") -> dict[str, str]:
    """The form that :func:`~quirewell.stages.reading_entry.record_reading` takes, from one box.

    Raises:
        Refusal: what was typed does not say which quantity it is.
    """
    text = form.get("value", "").strip()
    chosen = form.get("quantity", "").strip()
    if not text:
        raise no(form, "value", "Type the reading, as in pH 7.9 at 21C, 184.5 x 260 or 4.7 g.")
    named = _named(text)
    if named is not None and not (chosen and chosen != named[0]):
        quantity, value = named
    elif chosen:
        quantity, value = chosen, text
    else:
        quantity, value = _by_unit(form, text, expected), text
    out = {**form, "quantity": quantity, "value": value}
    if quantity == "pH":
        out["method"] = form.get("method", "").strip() or "strip on the paper"
    else:
        out.pop("method", None)
    return out


def _named(text: str) -> tuple[str, str] | None:
    for pattern, quantity in _NAMED:
        found = pattern.match(text)
        if found is not None and text[found.end() :].strip():
            return quantity, text[found.end() :].strip()
    return None


def _by_unit(form: Form, text: str, expected: str) -> str:
    if _SIZE.fullmatch(text):
        return "size"
    for pattern, quantity in _UNITS:
        if pattern.fullmatch(text):
            return quantity
    length = _LENGTH.fullmatch(text)
    if length is not None:
        if expected in ("width", "height", "thickness", "strip_length"):
            return expected
        raise no(
            form, "value",
            f"{text!r} of what? Write width {text}, height {text} or thickness {text}; both sides "
            "at once as 184.5 x 260.",
        )  # fmt: skip
    if expected in QUANTITIES and re.fullmatch(r"[<>]?\s*[-+\d.,/ ]+", text):
        return expected
    raise no(
        form, "value",
        f"{text!r} does not say what it is. Write it with its name or unit: pH 7.9 at 21C, "
        "184.5 x 260, 4.7 g, L* 78, 21C, 52 %.",
    )  # fmt: skip


def keep_reading(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Take the reading typed into one box.

    Raises:
        Refusal: as :func:`read_box` and the reading's own rules say.
    """
    return record_reading(state, read_box(form, form.get("expected", "")))


def read_back(state: ItemState, form: Form) -> str:
    """What would be saved, in words: "pH 7.9 at 21 C on wrap 3, after treatment".

    Raises:
        Refusal: as :func:`keep_reading`.
    """
    return readings_words(keep_reading(state, form))


def readings_words(drafts: Iterable[Draft | Event]) -> str:
    """The readings among drafts in words, a size as one."""
    found = [from_body(Reading, draft.body) for draft in drafts if draft.kind == "reading.taken"]
    if [one.quantity for one in found] == ["width", "height"]:
        wide, high = found
        head = f"Size {wide.value} x {high.value} {wide.unit}, width x height,"
    else:
        head = "; ".join(_value_words(one) for one in found)
    moment = dict(MOMENTS)[found[0].moment or ""]
    return f"{head} on {place_words(found[0].place)}, {moment}"


def _value_words(reading: Reading) -> str:
    sign = f"{reading.off_scale} " if reading.off_scale else ""
    at = "" if reading.temperature_c is None else f" at {reading.temperature_c} °C"
    if reading.quantity == "pH":
        how = PH_METHODS[reading.method].name if reading.method in PH_METHODS else reading.method
        return f"pH {sign}{reading.value}{at} ({how})"
    kind = QUANTITIES.get(reading.quantity)
    name = kind.name if kind else reading.quantity
    unit = "" if reading.quantity in ("lightness", "tone_step") else f" {reading.unit}"
    return f"{name} {sign}{reading.value}{unit}{at}"
