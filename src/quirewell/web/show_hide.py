"""What a page says, with names and amounts of money taken out of it before it leaves the server.

A page is read as the pieces between its tags, laid end to end, so that an amount is found although
its currency stands in a tag of its own; what is found is replaced by a neutral mark in the text, in
attributes and in data for scripts. A form that holds any of it is closed: its values are dropped
and its fields are switched off.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any
from urllib.parse import unquote_plus

from quirewell.exchange.share_private import (
    CODES,
    SIGNS,
    amounts,
    currencies,
    pattern,
    private_of_all,
)
from quirewell.record.bench import BenchState
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState

MARK = "•••"
# Below it an amount that stands without its currency is like any other number.
LEAST_KNOWN = Decimal(10)
# Boxes for what is private: their forms are closed even while they are empty.
BOXES = frozenset((
    "owner", "client", "new_client", "new_reach", "reach", "to", "seller", "consent_by",
    "tracking", "insured", "declared", "price", "asking", "asked", "paid", "paid_post", "post",
    "fees", "amount", "cost", "hour", "value_now", "most", "currency", "sale_fee_pct",
))  # fmt: skip
_SIGN = r"[+\u2212–-]?\s?"
_NUMBER = r"\d(?:[\d.,\u00a0\u202f ’']{0,20}\d)?"
_SEVERAL = rf"{_SIGN}{_NUMBER}(?:\s?(?:to|and|or|±|–|-|/)\s?{_SIGN}{_NUMBER}){{0,3}}"
_NEAR = 80  # signs on either side of a currency in which its amounts stand
_BEFORE = re.compile(rf"(?<![\w.]){_SEVERAL}\s{{0,12}}$", re.IGNORECASE)
_AFTER = re.compile(rf"\s{{0,12}}{_SEVERAL}", re.IGNORECASE)
_BAND = re.compile(
    rf"\s{{0,12}}\([^()\d]{{0,20}}(?:90 ?%[^()\d]{{0,20}})?{_SEVERAL}[^()\d]{{0,20}}\)"
)
_DIGITS = r"(?<![\w.])\d+(?:\.\d+)?(?![\w]|\.\d)"
_THOUSANDS = r"(?<![\w.])\d{1,3}(?:[,\u00a0\u202f ’']\d{3})+(?:\.\d+)?(?![\w]|\.\d)"
_TOKENS = (re.compile(_DIGITS), re.compile(_THOUSANDS))
_PIECE = re.compile(
    r"(<!--.*?-->|<(?:script|style)\b.*?</(?:script|style)\s*>|<[A-Za-z/!][^>]*>)",
    re.DOTALL | re.IGNORECASE,
)
_NAME = re.compile(r"</?\s*([A-Za-z][\w-]*)")
_ATTRIBUTE = re.compile(r'([\w:-]+)\s*=\s*"([^"]*)"')
_DATA = re.compile(r"(<script\b[^>]*application/json[^>]*>)(.*?)(</script\s*>)", re.DOTALL | re.I)
_OPEN = re.compile(r"\s+open(?=[\s>])", re.IGNORECASE)
# Attributes that are read by people; in all others (coordinates, ids) a number is no amount.
_READ = frozenset(("alt", "title", "placeholder", "content", "value", "label", "summary"))
_LINKS = frozenset(("href", "src", "action", "formaction", "poster"))
_CONTROLS = frozenset(("input", "select", "textarea", "button"))


@dataclass(frozen=True)
class Hidden:
    """What is looked for: names (and tracking, places), and money in any form."""

    names: tuple[re.Pattern[str], ...]
    unit: re.Pattern[str]
    known: frozenset[Decimal]

    def spans(self, text: str, known: bool = True) -> list[tuple[int, int]]:
        """Where private things stand in a text, joined where they touch; ``known``: an amount of
        the records counts without its currency too."""
        found = [match.span() for one in self.names for match in one.finditer(text)]
        found += [span for match in self.unit.finditer(text) if (span := _amount(text, match))]
        if known:
            found += [
                match.span()
                for one in _TOKENS
                for match in one.finditer(text)
                if self._is_known(match[0])
            ]
        out: list[tuple[int, int]] = []
        for start, end in sorted(found):
            if out and start <= out[-1][1]:
                out[-1] = (out[-1][0], max(out[-1][1], end))
            else:
                out.append((start, end))
        return out

    def _is_known(self, text: str) -> bool:
        """An amount of the records as it is printed: with its hundredths, or of three digits and
        more that are no round hundred."""
        plain = re.sub(r"[,  ’']", "", text)
        try:
            value = Decimal(plain)
        except InvalidOperation:
            return False
        whole, _, part = plain.partition(".")
        long = len(whole) > 3 or (len(whole) == 3 and value % 100 != 0)
        return value in self.known and (len(part) == 2 or long)

    def text(self, text: str, known: bool = True) -> str:
        """A plain text without them."""
        out, at = [], 0
        for start, end in self.spans(text, known):
            out += [text[at:start], MARK]
            at = end
        return "".join((*out, text[at:]))


def _amount(text: str, unit: re.Match[str]) -> tuple[int, int] | None:
    """Where an amount with this currency stands, its range and a band in brackets with it."""
    start, end = unit.span()
    left = max(0, start - _NEAR)
    before = _BEFORE.search(text[left:start])
    after = None if before else _AFTER.match(text[end : end + _NEAR])
    if before is None and after is None:
        return None
    start = left + before.start() if before else start
    end += after.end() if after else 0
    band = _BAND.match(text[end : end + _NEAR])
    return start, end + (band.end() if band else 0)


Sums = Callable[[tuple[str, ...]], set[Decimal]]


def no_sums(units: tuple[str, ...]) -> set[Decimal]:
    """No item has a run."""
    return set()


def hidden_of(states: Iterable[ItemState], bench: BenchState, in_runs: Sums = no_sums) -> Hidden:
    """What a studio has to hide. Parts of names that stand in titles too are let be.

    ``in_runs`` says which amounts stand in the runs of all items, in these currencies.
    """
    items = tuple(states)
    titles = " ".join(state.item.title for state in items)
    private = [
        one
        for one in private_of_all(items, bench)
        if not (one.what.startswith("part of") and pattern(one.text).search(titles))
    ]
    by_case: dict[int, list[str]] = {}
    for one in private:
        found = pattern(one.text)
        by_case.setdefault(found.flags & re.IGNORECASE, []).append(found.pattern)
    names = tuple(re.compile("|".join(some), case) for case, some in by_case.items())
    units = currencies(items, bench)
    runs = [one.run for one in bench.plans.values()]
    runs += [one.run for one in bench.offers.values() if one.run is not None]
    known = {
        *amounts(items, bench), *sums_in(runs, units), *in_runs(units), *_typed(bench),
    }  # fmt: skip
    return Hidden(names, _unit(units), frozenset(one for one in known if one >= LEAST_KNOWN))


def _unit(units: tuple[str, ...]) -> re.Pattern[str]:
    """A currency's sign, code or word."""
    words = "|".join(re.escape(word) for word in dict.fromkeys((*CODES, *units)))
    return re.compile(rf"[{SIGNS}]|(?<![^\W\d])(?:{words})(?!\w)", re.IGNORECASE)


def sums_in(runs: Iterable[Run], units: tuple[str, ...]) -> set[Decimal]:
    """Amounts that were worked out in runs, in any of these currencies."""
    values = [
        value
        for run in runs
        for one in run.findings
        if one.unit in units
        for value in (one.value, one.low90, one.high90)
        if value is not None
    ]
    return {Decimal(f"{abs(value):.2f}") for value in values}


def _typed(bench: BenchState) -> set[Decimal]:
    found = set()
    for service in bench.services.values():
        for row in service.typed.values():
            for text in row.values():
                try:
                    found.add(Decimal(text))
                except InvalidOperation:
                    continue
    return {one for one in found if one.is_finite()}


def hide_data(value: Any, hidden: Hidden) -> Any:
    """A JSON value with every text in it looked through."""
    if isinstance(value, str):
        return hidden.text(value)
    if isinstance(value, list):
        return [hide_data(one, hidden) for one in value]
    if isinstance(value, dict):
        return {hidden.text(key): hide_data(one, hidden) for key, one in value.items()}
    return value


def hide_page(page: str, hidden: Hidden, drop_typed: bool = False) -> str:
    """A page of HTML (or a drawing) without anything private; ``drop_typed`` empties every form,
    as for a page that shows again what was just typed."""
    pieces = _PIECE.split(page)
    texts = [html.unescape(one) if n % 2 == 0 else "" for n, one in enumerate(pieces)]
    marked = _marked(texts, hidden)
    shut = _shut(pieces, marked, hidden, drop_typed)
    out, form, area = [], -1, False
    for n, piece in enumerate(pieces):
        if n % 2 == 0:
            closed = form in shut
            text = marked[n] if marked[n] is not None else None
            out.append("" if area and closed else piece if text is None else
                       html.escape(text, quote=False))  # fmt: skip
            continue
        name = _tag(piece)
        if name == "form":
            form = n if not piece.startswith("</") else -1
        area = name == "textarea" and not piece.startswith("</")
        out.append(_tag_hidden(piece, name, hidden, form in shut, n in shut.values()))
    return "".join(out)


def hide_texts(texts: list[str], hidden: Hidden) -> list[str]:
    """Texts laid end to end, as a page's are, without anything private; as many as were given."""
    marked = _marked(texts, hidden)
    return [text if made is None else made for text, made in zip(texts, marked, strict=True)]


def _marked(texts: list[str], hidden: Hidden) -> list[str | None]:
    """Each piece of text with marks where something stood; None where nothing did."""
    # Tags become one line end each: a space to the patterns, and never a part of a word.
    whole = "\n".join(texts)
    starts, at = [], 0
    for text in texts:
        starts.append(at)
        at += len(text) + 1
    out: list[str | None] = [None] * len(texts)
    spans = hidden.spans(whole)
    first = 0
    for n, text in enumerate(texts):
        start, end = starts[n], starts[n] + len(text)
        while first < len(spans) and spans[first][1] <= start:
            first += 1
        made, at, k = "", start, first
        while k < len(spans) and spans[k][0] < end:
            left, right = max(spans[k][0], start), min(spans[k][1], end)
            kept = whole[left:right]
            if kept.strip():
                made += whole[at:left] + MARK
                at = right
            k += 1
        if at > start:
            out[n] = made + whole[at:end]
    return out


def _tag(piece: str) -> str:
    found = _NAME.match(piece)
    return found[1].lower() if found else ""


def _shut(
    pieces: list[str], marked: list[str | None], hidden: Hidden, every: bool
) -> dict[int, int]:
    """Forms to be closed, by where they begin, with where the section that opens them does."""
    shut: dict[int, int] = {}
    folds: list[int] = []
    form, form_fold = -1, -1
    for n, piece in enumerate(pieces):
        if n % 2 == 0:
            if form >= 0 and marked[n] is not None:
                shut[form] = form_fold
            continue
        name, ends = _tag(piece), piece.startswith("</")
        if name == "details":
            folds = folds[:-1] if ends else [*folds, n]
        elif name == "form":
            form, form_fold = (-1, -1) if ends else (n, folds[-1] if folds else -1)
        if form < 0 or ends:
            continue
        values = dict(_ATTRIBUTE.findall(piece))
        box = html.unescape(values.get("name", "")).split(":")[0].split("-")[0].split(".")[-1]
        typed = name in _CONTROLS and values.get("type", "") not in ("hidden", "submit")
        held = any(
            hidden.spans(html.unescape(one), _is_read(key, values.get("type", "")))
            for key, one in values.items()
        )
        if held or (typed and (box in BOXES or every)):
            shut[form] = form_fold
    return shut


def _is_read(key: str, kind: str) -> bool:
    """Whether people read an attribute; ``kind`` is that of an input."""
    return (key in _READ and kind not in ("hidden", "range")) or key.startswith("aria-")


def _tag_hidden(piece: str, name: str, hidden: Hidden, closed: bool, fold: bool) -> str:
    """A tag without anything private in its attributes; switched off where its form is closed."""
    if piece.startswith(("<!", "</")):
        return "" if piece.startswith("<!--") else piece
    data = _DATA.fullmatch(piece)
    if data is not None:
        return f"{data[1]}{_json_hidden(data[2], hidden)}{data[3]}"
    if name in ("script", "style"):
        return piece

    kind = dict(_ATTRIBUTE.findall(piece)).get("type", "")

    def kept(match: re.Match[str]) -> str:
        key, text = match[1].lower(), html.unescape(match[2])
        if key in _LINKS:
            return f'{key}="#"' if hidden.spans(unquote_plus(text), False) else match[0]
        if closed and key == "value" and name in ("input", "option"):
            return f'{key}=""'
        shown = hidden.text(text, _is_read(key, kind))
        return match[0] if shown == text else f'{match[1]}="{html.escape(shown)}"'

    out = _ATTRIBUTE.sub(kept, piece)
    if fold and name == "details":
        out = _OPEN.sub("", out)
    if closed and name in _CONTROLS and " disabled" not in out:
        out = f"{out[:-1].rstrip('/ ')} disabled>"
    return out


def _json_hidden(text: str, hidden: Hidden) -> str:
    try:
        held = json.loads(text)
    except ValueError:
        return hidden.text(text)
    made = json.dumps(hide_data(held, hidden), ensure_ascii=True)
    return made.replace("<", "\\u003c")
