"""Damage as a table of text (CSV), and grades that came back with the damage they were given for.

Columns of damage: ``code`` (of the rules, or the record's word for it, such as tear), ``location``
(cover, interior, spine, or a place of the record such as w03.outer.left), ``extent``, ``u`` (its
standard uncertainty), ``unit``, ``note``. An extent may be by eye ("about 30 mm") and is then less
sure, or a range ("10 to 15 mm"); it may be left empty where presence is enough. A row "none" says
that nothing was found. Of returns: ``item`` and ``returned`` before the same columns, a row to each
damage.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterator

from quirewell.record.nouns import check_place
from quirewell.science.condition.estimate import Damage
from quirewell.science.condition.returns import Return
from quirewell.science.condition.rules import UNITS, Rule, Rules
from quirewell.science.condition.scale import Scale
from quirewell.stages.plain_table import TableError, read_rows
from quirewell.stages.typed import Unreadable, amount, number

COLUMNS = ("code", "location", "extent", "u", "unit", "note")
RETURN_COLUMNS = ("item", "returned", *COLUMNS)
# u where none is given (assumed): a rule read at both ends to 0.25 mm each; areas to a tenth and
# shares to a fifth of themselves; half a step of the card; a colour difference to 1.
USUAL_U = {"mm": 0.35, "mm2": 0.0, "pct": 0.0, "n": 0.0, "step": 0.5, "dE": 1.0, "flag": 0.0}
USUAL_SHARE = {"mm2": 0.1, "pct": 0.2}
BY_EYE = 0.3  # of what is said, by eye (assumed)
MOST = {"mm": 5000.0, "mm2": 1e6, "pct": 100.0, "n": 1000.0, "step": 40.0, "dE": 100.0, "flag": 1.0}
MOST_ROWS = 500
_ALIASES = {
    "mm": ("mm", 1.0), "cm": ("mm", 10.0), "mm2": ("mm2", 1.0), "mm²": ("mm2", 1.0),
    "cm2": ("mm2", 100.0), "cm²": ("mm2", 100.0), "%": ("pct", 1.0), "pct": ("pct", 1.0),
    "n": ("n", 1.0), "step": ("step", 1.0), "steps": ("step", 1.0), "de": ("dE", 1.0),
    "flag": ("flag", 1.0),
}  # fmt: skip
_ABOUT = re.compile(r"^(?:about|approx\.?|approximately|roughly|circa|ca?\.|by eye|~|≈)\s*", re.I)
_UNIT_END = re.compile(r"^(?P<number>[-+\d.,\s]+?)\s*(?P<unit>mm²|cm²|mm2|cm2|%)$", re.I)
_RANGE = re.compile(
    r"(?P<low>\d[\d.,]*)\s*(?:to|-|–|\.\.)\s*(?P<high>\d[\d.,]*)\s*(?P<unit>[^\d\s].*)?", re.I
)
# Further words of the trade for a code, beside those that the rules carry themselves.
WORDS = {
    "colour-breaking crease": "crease_colour", "staple pull": "staple_pull",
    "missing leaf": "leaf_missing", "clipped coupon": "coupon_cut",
}  # fmt: skip
_YES = {"yes": 1.0, "no": 0.0, "": 1.0, "1": 1.0, "0": 0.0}
_REGIONS = {
    "cover": "cover", "front": "cover", "back": "cover", "spine": "spine", "staples": "spine",
    "interior": "interior", "inside": "interior", "centrefold": "interior",
}  # fmt: skip


def read_defects(text: str, rules: Rules) -> tuple[Damage, ...]:
    """Damage of one item.

    Raises:
        TableError: in a sentence with the number of the line.
    """
    out: list[Damage] = []
    for line, row in _rows(text, COLUMNS, ("code",), "a table of damage"):
        if row["code"].lower() != "none":
            out.append(_damage(row, line, rules))
    return tuple(out)


def read_returns(text: str, rules: Rules, scale: Scale) -> tuple[Return, ...]:
    """Items that came back, each with the grade and the damage noted before sending.

    Raises:
        TableError: in a sentence with the number of the line.
    """
    grades: dict[str, float] = {}
    damages: dict[str, list[Damage]] = {}
    needed = ("item", "returned", "code")
    for line, row in _rows(text, RETURN_COLUMNS, needed, "a table of returns"):
        item = row["item"][:80]
        if not item:
            raise TableError(f"line {line}: item is empty; give each item a name of its own")
        grade = _returned(row["returned"], line, scale)
        if grades.setdefault(item, grade) != grade:
            raise TableError(
                f"line {line}: {item} came back with {grades[item]:g} on an earlier line and with "
                f"{grade:g} here; an item has one grade"
            )
        mine = damages.setdefault(item, [])
        if row["code"].lower() not in ("", "none"):
            mine.append(_damage(row, line, rules))
    return tuple(Return(item, grade, tuple(damages[item])) for item, grade in grades.items())


def _rows(
    text: str, columns: tuple[str, ...], needed: tuple[str, ...], what: str
) -> Iterator[tuple[int, dict[str, str]]]:
    for seen, (line, row) in enumerate(read_rows(text, columns, needed, what), 1):
        if seen > MOST_ROWS:
            raise TableError(f"{what} has at most {MOST_ROWS} rows; is it that?")
        yield line, row


def _returned(text: str, line: int, scale: Scale) -> float:
    low, high = scale.steps[0].value, scale.steps[-1].value
    try:
        grade = float(number(text))
    except Unreadable as error:
        raise TableError(f"line {line}: returned: {error}") from error
    if not low <= grade <= high:
        raise TableError(
            f"line {line}: returned is {text[:40]}; a grade lies between {low:g} and {high:g}"
        )
    return grade


def region(place: str) -> str:
    """cover, interior or spine of a place; empty where it says none of them.

    >>> region("w03.outer.left"), region("c"), region("staples"), region("item")
    ('interior', 'cover', 'spine', '')
    """
    word = place.lower()
    if word in _REGIONS:
        return _REGIONS[word]
    head = word.split(".")[0]
    return "cover" if head == "c" else "interior" if re.fullmatch(r"w\d+", head) else ""


def _damage(row: dict[str, str], line: int, rules: Rules) -> Damage:
    place = row.get("location", "")
    if place and place.lower() not in (*_REGIONS, "any"):
        try:
            check_place(place)
        except ValueError as error:
            raise TableError(f"line {line}: location {error}, or cover or interior") from error
    code, where = _code(row["code"], region(place), place, line, rules)
    said, unit, least = _extent(row, line, code, rules.codes[code])
    u = _u(row, line, unit, said, least)
    return Damage(code, said, unit, u, where, place, row.get("note", "")[:200])


def _code(word: str, where: str, place: str, line: int, rules: Rules) -> tuple[str, str]:
    """The code meant, by itself or by the record's word for it, and where it is counted."""
    text = word.strip().lower()
    text = WORDS.get(text, text)
    if text in rules.codes:
        codes = [text]
    else:
        codes = [
            code for code, rows in rules.codes.items()
            if any(rule.term.lower() == text for rule in rows if rule.term)
        ]  # fmt: skip
    if not codes:
        near = difflib.get_close_matches(text, _known(rules), n=3, cutoff=0.5)
        hint = f"; did you mean {' or '.join(near)}?" if near else (
            "; `quirewell grade --rules-out FILE` writes all codes there are"
        )  # fmt: skip
        raise TableError(f"line {line}: {word[:40]!r} is no code of the rules{hint}")
    fits = [(code, at) for code in codes for at in [_counted(rules.codes[code], where)]
            if at is not None]  # fmt: skip
    if len(fits) == 1:
        return fits[0]
    if fits or not where:
        places = " or ".join(dict.fromkeys(
            rule.location for code in codes for rule in rules.codes[code]
        ))  # fmt: skip
        raise TableError(f"line {line}: say where the {word[:40]} is: location is {places}")
    allowed = ", ".join(sorted({rule.location for code in codes for rule in rules.codes[code]}))
    other = _elsewhere(codes[0], where, rules)
    raise TableError(
        f"line {line}: {word[:40]} is counted on: {allowed}; {place} lies in: {where}"
        f"{f'. Write {other} there' if other else ''}"
    )


def _counted(rows: tuple[Rule, ...], where: str) -> str | None:
    """Where damage of a code is counted; None where its rules do not reach it."""
    only = {rule.location for rule in rows}
    if len(only) == 1 and not where:
        return "" if only == {"any"} else only.pop()
    if only == {"spine"} and where == "cover":
        return "spine"
    return where if any(rule.counts(where) for rule in rows) else None


def _elsewhere(code: str, where: str, rules: Rules) -> str:
    terms = {rule.term for rule in rules.codes[code] if rule.term}
    return next(
        (other for other, rows in rules.codes.items()
         if other != code and terms & {rule.term for rule in rows}
         and any(rule.counts(where) for rule in rows)), "",
    )  # fmt: skip


def _known(rules: Rules) -> list[str]:
    return [*rules.codes, *sorted({rule.term for rule in rules.rows if rule.term})]


def _extent(
    row: dict[str, str], line: int, code: str, rules: tuple[Rule, ...]
) -> tuple[float, str, float]:
    """An extent in the unit of the rules, that unit, and the least u that its words leave."""
    units = list(dict.fromkeys(rule.unit for rule in rules))
    text = row.get("extent", "")
    bare = _ABOUT.sub("", text)
    by_eye = bare != text
    typed = row.get("unit", "").lower()
    if typed and typed not in _ALIASES:
        raise TableError(f"line {line}: unit is one of {', '.join(UNITS)}, got {typed[:40]!r}")
    if units == ["flag"] and (not typed or typed == "flag") and bare.lower() in _YES:
        return _YES[bare.lower()], "flag", 0.0
    if not bare:
        if units == ["n"] and typed in ("", "n"):
            return 1.0, "n", 0.0
        raise TableError(
            f"line {line}: {code} needs its extent, {rules[0].measure} in {' or '.join(units)}; "
            "by eye will do, as in about 30"
        )
    value, within, half = _value(bare, line)
    unit = within or typed
    if within and typed and _ALIASES[within] != _ALIASES[typed]:
        raise TableError(f"line {line}: extent is in {within}, unit says {typed}; which is it?")
    if not unit:
        if len(units) > 1:
            raise TableError(f"line {line}: unit of {code} is {' or '.join(units)}; say which")
        unit = units[0].lower()
    name, factor = _ALIASES[unit]
    if name not in units:
        takes = " or ".join(f"{one} ({UNITS[one]})" for one in units)
        raise TableError(f"line {line}: {code} is given in {takes}, not in {unit}")
    value *= factor
    if value < 0:
        raise TableError(f"line {line}: extent is 0 or more, got {text[:40]}")
    if value > MOST[name]:
        raise TableError(f"line {line}: extent is at most {MOST[name]:g} {name}, got {text[:40]}")
    least = max(half * factor / math.sqrt(3), BY_EYE * value if by_eye else 0.0)
    if name == "n" and not least and value != int(value):
        raise TableError(f"line {line}: {code} is counted in whole numbers, got {text[:40]}")
    return value, name, least


def _value(text: str, line: int) -> tuple[float, str, float]:
    """A number, the unit typed behind it (of :data:`_ALIASES`, or empty), half the width of a
    range."""
    between, ends = _RANGE.fullmatch(text), _UNIT_END.match(text)
    try:
        if between is not None:
            low, unit, _ = _value(f"{between['low']} {between['unit'] or ''}", line)
            high = float(number(between["high"]))
            return (low + high) / 2, unit, abs(high - low) / 2
        if ends is not None:
            return float(number(ends["number"])), ends["unit"].lower(), 0.0
        found = amount(text)
    except Unreadable as error:
        raise TableError(f"line {line}: extent: {error}, or about 30") from error
    unit = found.unit.lower()
    if unit and unit not in _ALIASES:
        raise TableError(f"line {line}: extent: {unit[:40]!r} is no unit here; write mm, mm2, %")
    return float(found.value), unit, 0.0


def _u(row: dict[str, str], line: int, unit: str, extent: float, least: float) -> float:
    text = row.get("u", "")
    if text:
        try:
            u = float(number(text))
        except Unreadable as error:
            raise TableError(f"line {line}: u: {error}") from error
        if not 0 <= u <= max(MOST[unit], 1.0):
            raise TableError(f"line {line}: u is 0 or more, got {text[:40]}")
        typed = row.get("unit", "").lower()
        return u * (_ALIASES[typed][1] if typed else 1.0)
    return max(USUAL_U[unit], USUAL_SHARE.get(unit, 0.0) * extent, least)
