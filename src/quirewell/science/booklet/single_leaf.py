"""Single leaves in a gathering of wraps: tipped or laid in, or half of a wrap parted at its fold.

A leaf has two pages, front and back, where a wrap has four. Printers either count it, and then all
pages behind it are two higher, or leave it out of the numbers. Nobody has to say which: every way
to count is tried, and the one that most wraps' own numbers agree with holds. Right-hand pages are
numbered as the first page is, odd or even with it (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from quirewell.science.booklet.gathering import wrap_pages
from quirewell.science.booklet.order_told import Told

Pages = tuple[int, int, int, int]
Rule = Mapping[int, Pages]
Printed = int | Literal["?"] | None
MOST = 8


@dataclass(frozen=True, slots=True)
class Leaf:
    """A single leaf as it was found: its two printed pages, front then back, each a number, None
    where none is printed, "?" where it cannot be read; ``after`` the number printed on the page it
    lay behind (0: before the first page; None: not said). ``insert`` is False where it was found
    in the place of a wrap."""

    name: str
    pages: tuple[Printed, Printed]
    after: int | None = None
    insert: bool = True


@dataclass(frozen=True, slots=True)
class LeafPlace:
    """Where a leaf belongs: its right-hand page (None: nothing printed says), whether it is counted
    in the numbering (None: cannot be told), and the page it belongs behind."""

    name: str
    recto: int | None
    counted: bool | None
    after: int | None


@dataclass(frozen=True, slots=True)
class Numbering:
    """How the printed numbers run: ``counted`` right-hand pages of leaves, those of them that no
    wrap says for or against as ``unsure``; ``gone``: where a counted leaf that is not there would
    have been, one of these."""

    counted: tuple[int, ...]
    unsure: tuple[int, ...]
    gone: tuple[int, ...]
    rule: Rule
    last: int


def rule_of(wraps: int, first_page: int, counted: Iterable[int] = ()) -> dict[int, Pages]:
    """The four numbers on each wrap, as outer left, outer right, inner left, inner right, where
    leaves with the right-hand pages ``counted`` are numbered with them.

    >>> rule_of(2, 1), rule_of(2, 1, [3])
    ({1: (8, 1, 2, 7), 2: (6, 3, 4, 5)}, {1: (10, 1, 2, 9), 2: (8, 5, 6, 7)})
    """
    taken = {page for recto in counted for page in (recto, recto + 1)}
    last = last_page(wraps, first_page, len(taken) // 2)
    numbers = [page for page in range(first_page, last + 1) if page not in taken]
    out = {}
    for wrap in range(1, wraps + 1):
        made = wrap_pages(wrap, wraps)
        out[wrap] = (
            numbers[made.outer_left - 1], numbers[made.outer_right - 1],
            numbers[made.inner_left - 1], numbers[made.inner_right - 1],
        )  # fmt: skip
    return out


def last_page(wraps: int, first_page: int, leaves: int = 0) -> int:
    """The last number."""
    return first_page + 4 * wraps + 2 * leaves - 1


def recto_of(leaf: Leaf, first_page: int) -> tuple[int | None, bool]:
    """A leaf's right-hand page and whether it lay back to front; (None, False) where its numbers
    are not those of a leaf, or none can be read."""
    found = []
    for at, page in enumerate(leaf.pages):
        if isinstance(page, int):
            behind = (page - first_page) % 2
            found.append((page - behind, at != behind))
    if not found or len(set(found)) > 1:
        return None, False
    return found[0]


def settle(
    leaves: Sequence[Leaf], wraps: int, first_page: int, agree: Callable[[Rule], int], numbered: int
) -> Numbering:
    """Which leaves are counted: as most wraps' own numbers agree with.

    ``agree`` tells how many of the ``numbered`` sheets fit a rule.

    Raises
    ------
    ValueError
        more than :data:`MOST` different leaves
    """
    rectos = {
        recto: leaf.insert
        for leaf in leaves
        for recto, _ in (recto_of(leaf, first_page),)
        if recto is not None and recto >= first_page
    }
    if len(rectos) > MOST:
        raise ValueError(f"at most {MOST} single leaves can be checked, got {len(rectos)}")
    tried = []
    for count in range(len(rectos) + 1):
        for chosen in combinations(sorted(rectos), count):
            if all(recto < last_page(wraps, first_page, count) for recto in chosen):
                tried.append((agree(rule_of(wraps, first_page, chosen)), chosen))
    most = max(fits for fits, _ in tried)
    best = [set(chosen) for fits, chosen in tried if fits == most]
    held = max(best, key=lambda one: sum(1 if rectos[recto] else -1 for recto in one))
    unsure = {recto for recto in rectos if len({recto in one for one in best}) > 1}
    gone: list[int] = []
    if numbered >= 3 and most <= numbered - 2:
        last = last_page(wraps, first_page, len(held) + 1)
        gone = [
            recto
            for recto in range(first_page + 2, last, 2)
            if recto not in held and agree(rule_of(wraps, first_page, [*held, recto])) == numbered
        ]
    counted = sorted([*held, *gone[:1]])
    return Numbering(
        tuple(counted), tuple(sorted(unsure)), tuple(gone), rule_of(wraps, first_page, counted),
        last_page(wraps, first_page, len(counted)),
    )  # fmt: skip


def tell_leaves(
    leaves: Sequence[Leaf], numbering: Numbering, held: set[int], first_page: int
) -> tuple[list[LeafPlace], list[Told], set[int]]:
    """Where each leaf belongs, what is to be told of it, and the wraps of which leaves are halves;
    ``held`` are the wraps that are there whole.

    Raises
    ------
    ValueError
        a leaf said to lie behind a right-hand page
    """
    places: list[LeafPlace] = []
    told: list[Told] = []
    carry: dict[int, list[str]] = {}
    for leaf in leaves:
        if leaf.after and (leaf.after - first_page) % 2 == 0:
            raise ValueError(
                f"{leaf.name} cannot lie behind page {leaf.after}, which is a right-hand page: "
                "give the left-hand page it faced"
            )
        recto, turned = recto_of(leaf, first_page)
        if recto is None:
            places.append(LeafPlace(leaf.name, None, None if "?" in leaf.pages else False, None))
            told.append(_numberless(leaf, first_page))
            continue
        carry.setdefault(recto, []).append(leaf.name)
        place, more = _placed(leaf, recto, numbering, held, first_page)
        places.append(place)
        told += more
        if turned:
            shown = " and ".join(str(page) for page in leaf.pages if isinstance(page, int))
            told.append(Told("reversed", leaf.name, f"{leaf.name} lay back to front: it shows "
                             f"{shown}, and its front is page {recto}"))  # fmt: skip
        if None in leaf.pages:
            blank = "front" if leaf.pages[0] is None else "back"
            told.append(Told("blank verso", leaf.name, f"{leaf.name}: no number on its {blank}"))
    for recto, names in carry.items():
        if len(names) > 1:
            told.append(Told("doubled", names[1],
                             f"{' and '.join(names)} both carry pages {_pair(recto)}"))  # fmt: skip
    halves, more = _halves(carry, numbering, held)
    told += more + _gone(numbering)
    return places, told, halves


def _pair(recto: int) -> str:
    return f"{recto} and {recto + 1}"


def _behind(after: int) -> str:
    return f"behind page {after}" if after else "before the first page"


def _numberless(leaf: Leaf, first_page: int) -> Told:
    numbers = [page for page in leaf.pages if isinstance(page, int)]
    if numbers:
        side = "odd" if first_page % 2 else "even"
        return Told(
            "foreign", leaf.name,
            f"{leaf.name}: {' and '.join(map(str, numbers))} cannot be the two sides of one leaf; "
            f"they follow each other, the {side} one at the front",
        )  # fmt: skip
    lay = "" if leaf.after is None else f"; it lay {_behind(leaf.after)}, and nothing printed says "
    lay += "" if leaf.after is None else "whether that is its place"
    if "?" in leaf.pages:
        return Told("unread", leaf.name, f"{leaf.name}: no page number could be read{lay}")
    says = f"{leaf.name}: no number on it, so the numbering does not count it{lay}"
    return Told("insert", leaf.name, says)


def _placed(
    leaf: Leaf, recto: int, numbering: Numbering, held: set[int], first_page: int
) -> tuple[LeafPlace, list[Told]]:
    pair = _pair(recto)
    if recto in numbering.counted:
        after = recto - 1 if recto > first_page else 0
        unsure = recto in numbering.unsure
        says = f"{leaf.name} carries pages {pair} and belongs {_behind(after)}; "
        says += (
            "whether the numbering counts it cannot be told from the wraps that were read"
            if unsure
            else "the numbering counts it: pages behind it are two higher than wraps alone give"
        )
        told = [Told("insert", leaf.name, says)]
        if leaf.after is not None and leaf.after != after:
            told.append(Told("out of order", leaf.name, f"{leaf.name} lay {_behind(leaf.after)}; "
                             f"its pages {pair} belong {_behind(after)}"))  # fmt: skip
        return LeafPlace(leaf.name, recto, None if unsure else True, after), told
    place = LeafPlace(leaf.name, recto, False, None)
    if not first_page <= recto < numbering.last:
        says = (
            f"{leaf.name}: pages {pair} cannot be in an item of pages {first_page} to "
            f"{numbering.last}; it is of another copy, or numbered on its own"
        )
        return place, [Told("foreign", leaf.name, says)]
    wrap = _owner(recto, numbering.rule)
    if wrap in held:
        says = (
            f"{leaf.name} carries pages {pair}, which wrap {wrap} carries too: it is of another "
            "copy, or an insert numbered on its own that the numbering does not count"
        )
        return place, [Told("doubled", leaf.name, says)]
    return place, []


def _owner(recto: int, rule: Rule) -> int | None:
    return next((wrap for wrap, made in rule.items() if recto in made), None)


def _halves(
    carry: Mapping[int, Sequence[str]], numbering: Numbering, held: set[int]
) -> tuple[set[int], list[Told]]:
    """Leaves whose pages are those of one half of a wrap that is not there whole."""
    found: dict[int, list[int]] = {}
    for recto in sorted(carry):
        wrap = None if recto in numbering.counted else _owner(recto, numbering.rule)
        if wrap is not None and wrap not in held:
            found.setdefault(wrap, []).append(recto)
    told = []
    for wrap, rectos in sorted(found.items()):
        names = [carry[recto][0] for recto in rectos]
        if len(rectos) == 2:
            says = f"{' and '.join(names)} are both halves of wrap {wrap}, parted at its fold"
        else:
            rest = sorted(set(numbering.rule[wrap]) - {rectos[0], rectos[0] + 1})
            says = (
                f"{names[0]} carries pages {_pair(rectos[0])}, one half of wrap {wrap}; nothing "
                f"seen carries the other, pages {rest[0]} and {rest[1]}"
            )
        told.append(Told("half", names[0], says))
    return set(found), told


def _gone(numbering: Numbering) -> list[Told]:
    if not numbering.gone:
        return []
    pairs = [_pair(recto) for recto in numbering.gone]
    which = f"pages {pairs[0]}" if len(pairs) == 1 else f"one of pages {', '.join(pairs)}"
    says = (
        f"a single leaf that the numbering counts is not there: nothing carries {which}, and every "
        "wrap that was read fits when two pages are left out there"
    )
    return [Told("missing", "", says)]
