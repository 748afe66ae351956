"""What a file's name says of the picture in it; never guessed, always said.

``<sheet>-<side>-<panel>-<moment>``: sheet ``c`` (cover) or ``w01`` .. (1 = outermost), side
``outer`` or ``inner``, panel ``left``, ``right`` or ``whole``, moment ``before`` or ``after``.
``-lightbox`` at the end of it: photographed over a light box, to look for staple holes.
``item-<view>-<moment>`` for pictures of the whole thing. Letter case does not matter, and an
underscore, a space or a point between the parts is as good as a hyphen.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, cast

from quirewell.record.nouns import Capture, Gathering, Moment, Panel, wrap_code
from quirewell.stages.naming import place_words, sheet_of

VIEWS = ("front", "back", "spine", "head", "tail", "lamp-left", "lamp-top", "gloss")
LIGHT_BOX = "light-box"
PATTERN = "w03-outer-left-before.tif"
_SCAN = re.compile(r"(c|w\d{1,2})-(outer|inner)-(left|right|whole)-(before|after)(-light-?box)?")
_ITEM = re.compile(rf"item-({'|'.join(VIEWS)})-(before|after)")
_JUNK = frozenset({"thumbs.db", "desktop.ini"})


@dataclass(frozen=True, slots=True)
class Named:
    """Where a picture belongs by its file's name."""

    place: str
    panel: Panel
    moment: Moment
    view: str

    @property
    def words(self) -> str:
        """The place in words: "wrap 3, outer side, left half, before"."""
        where = place_words(self.place)
        if self.view != "scan":
            where += f", {self.view.replace('-', ' ')}"
        elif self.panel != "whole":
            where += f", {self.panel} half"
        return f"{where}, {self.moment}"


@dataclass(frozen=True, slots=True)
class Matched:
    """A file whose name says where it belongs."""

    name: str
    named: Named


@dataclass(frozen=True, slots=True)
class Unmatched:
    """A file to be assigned by hand, and why its name was not enough."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Clash:
    """Several files that claim one place; each is assigned by hand."""

    words: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class IntakePlan:
    """What the names of some files say: matched, to be assigned by hand, clashing."""

    matched: tuple[Matched, ...]
    unmatched: tuple[Unmatched, ...]
    clashes: tuple[Clash, ...]
    left_out: tuple[str, ...] = ()

    def named(self, name: str) -> Named | None:
        """Where a file belongs; None when that is for a person to say."""
        return next((entry.named for entry in self.matched if entry.name == name), None)

    def why_not(self, name: str) -> str:
        """Why a file is assigned by hand; empty for a matched one."""
        return next((entry.why for entry in self.unmatched if entry.name == name), "")


def is_junk(name: str) -> bool:
    """Whether a file is one that operating systems leave about."""
    return name.startswith(".") or name.lower() in _JUNK


def parse(name: str) -> Named | None:
    """Where a file belongs by its name; None when the name does not follow the pattern.

    >>> parse("W3_outer_LEFT before.TIF").place
    'w03.outer'
    >>> parse("scan0001.tif") is None
    True
    """
    words = _words(name)
    if found := _SCAN.fullmatch(words):
        sheet, side, panel, moment, lit = found.groups()
        code = sheet if sheet == "c" else wrap_code(int(sheet[1:]))
        if code == "w00":
            return None
        return Named(
            f"{code}.{side}", cast(Panel, panel), cast(Moment, moment), LIGHT_BOX if lit else "scan"
        )
    if found := _ITEM.fullmatch(words):
        return Named("item", "whole", cast(Moment, found[2]), found[1])
    return None


def _words(name: str) -> str:
    stem = name.rpartition(".")[0] if "." in name else name
    return re.sub(r"[-_.\s]+", "-", stem.strip().lower()).strip("-")


def why_unmatched(name: str) -> str:
    """What a name lacks, in a sentence."""
    words = _words(name)
    parts = words.split("-")
    if parts[0] == "item":
        if parts[-1] not in ("before", "after"):
            return "the name does not say before or after"
        return f"the view is none of {', '.join(VIEWS)}"
    if not re.fullmatch(r"c|w\d{1,2}", parts[0]) or parts[0] in ("w0", "w00"):
        return f"the name does not begin with a sheet (c, w01, w02 ..); the pattern is {PATTERN}"
    lacks = [
        said
        for said, known in (
            ("the side (outer or inner)", ("outer", "inner")),
            ("the half (left, right or whole)", ("left", "right", "whole")),
            ("the moment (before or after)", ("before", "after")),
        )
        if not set(known) & set(parts)
    ]
    if lacks:
        return f"the name does not say {' or '.join(lacks)}"
    return f"the name says more than the pattern {PATTERN} knows"


def plan_intake(
    names: Iterable[str],
    gathering: Gathering | None = None,
    taken: Iterable[Capture] = (),
) -> IntakePlan:
    """Sort file names into matched, to be assigned by hand, and clashing.

    ``gathering`` (when described) refuses sheets the item does not have; ``taken`` are the
    pictures that hold their places already.
    """
    claims: dict[Named, list[str]] = defaultdict(list)
    unmatched: list[Unmatched] = []
    left_out: list[str] = []
    for name in names:
        if is_junk(name):
            left_out.append(name)
        elif (named := parse(name)) is None:
            unmatched.append(Unmatched(name, why_unmatched(name)))
        elif why := _not_on_item(named, gathering):
            unmatched.append(Unmatched(name, why))
        else:
            claims[named].append(name)
    held = {named_of(capture): capture for capture in taken if capture.place}
    matched, clashes = [], []
    for named, claimants in claims.items():
        if len(claimants) > 1:
            clashes.append(Clash(named.words, tuple(claimants)))
            why = f"{len(claimants)} files claim {named.words}"
            unmatched += [Unmatched(name, why) for name in claimants]
        elif named in held and held[named].filename != claimants[0]:
            why = f"{named.words} has a picture already ({held[named].filename})"
            unmatched.append(Unmatched(claimants[0], why))
        else:
            matched.append(Matched(claimants[0], named))
    return IntakePlan(tuple(matched), tuple(unmatched), tuple(clashes), tuple(left_out))


def named_of(capture: Capture) -> Named:
    """The place a picture holds, as a name would say it."""
    place, panel = split_place(capture.place, capture.panel)
    return Named(place, panel, capture.moment or "before", capture.view)


def split_place(place: str, panel: Panel = "whole") -> tuple[str, Panel]:
    """Place and panel apart: "w03.outer.left" is the left half of "w03.outer".

    >>> split_place("w03.outer.left")
    ('w03.outer', 'left')
    """
    parts = place.split(".")
    if len(parts) == 3:
        return ".".join(parts[:2]), cast(Literal["left", "right"], parts[2])
    return place, panel


def _not_on_item(named: Named, gathering: Gathering | None) -> str:
    sheet = sheet_of(named.place)
    if gathering is None or not sheet or sheet in gathering.sheets():
        return ""
    if sheet == "c":
        return "the name says cover, but this item is described without a cover"
    return (
        f"the name says wrap {int(sheet[1:])}, but this item has {gathering.wraps} wraps; "
        "correct the count or assign it by hand"
    )
