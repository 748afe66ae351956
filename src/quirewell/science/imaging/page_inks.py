"""All inks of a page before and after: solids by ink, bleed, and fine print by area.

Print too fine for its colour to be measured (text, halftone) is compared by the average light of
whole places of 10 mm; that average holds the paper between the strokes too and is called so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.target_use import TargetUse
from quirewell.science.imaging.bleed import FAR_MM, Bleed, bleed, from_ink_mm
from quirewell.science.imaging.halftone import MOST_TILES, Cover, Tiles, unmix
from quirewell.science.imaging.ink_ground import PaperUnder, all_ink, paper_under
from quirewell.science.imaging.ink_names import InkName, name_inks
from quirewell.science.imaging.inks import (
    PLACE_MM,
    InkChange,
    ink_change,
    ink_places,
    paper_scatter,
)
from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.solids import Solid, find_solids

Light = NDArray[np.float32]
Box = tuple[int, int, int, int]

FINE = "fine print"
BARE_MM = 0.5
_FINE_SHARE = (0.04, 0.9)
_MOST_BOXES = 8
_HUE_SHARE = 0.6
_LEAST_BARE = 400
_TILES_A_PLACE = 6


@dataclass(frozen=True, slots=True)
class Ink:
    """One ink of a page.

    ``parts`` names the inks that lie on each other in it (empty for one ink); ``own`` is its
    change once the change of its parts is allowed for (the same as ``change`` for one ink);
    ``boxes`` (x, y, width, height) show where its largest areas lie [px]; ``covers`` say of fine
    print how much of the paper each ink covers, by the ink's name.
    """

    name: str
    change: InkChange
    own: InkChange
    bleed: Bleed | None
    parts: tuple[str, ...]
    boxes: tuple[Box, ...]
    verdict: str
    covers: tuple[tuple[str, Cover], ...] = ()

    @property
    def key(self) -> str:
        """The name as a key: "red_ink"."""
        return ink_key(self.name)


def ink_key(name: str) -> str:
    """An ink's name as a key: "red_ink"."""
    return re.sub(r"[^a-z0-9]+", "_", name).strip("_")


@dataclass(frozen=True, slots=True)
class PageInks:
    """The inks of a page, largest first, and fine print last; ``share`` of the leaf inked."""

    inks: tuple[Ink, ...]
    share: float


def page_inks(
    before: Light,
    after: Light,
    seen: Mask,
    um_per_px: float,
    *,
    profiled: bool = True,
    exposure_changed: bool = False,
    detail_changed: bool = False,
    target: TargetUse | None = None,
) -> PageInks | None:
    """Compare every ink of a page, both pictures on one grid (linear light, height x width x 3).

    ``seen`` is true where both show the leaf; ``exposure_changed`` and ``detail_changed`` (one of
    them was sharpened or softened) withhold every verdict; with a fitted ``target`` colours are
    as it has them (bleed is judged in the scanner's own, where nothing but a difference counts).
    None where too little bare paper is seen to take the paper's own change out.

    Raises:
        ValueError: when the arrays do not fit each other.
    """
    if before.shape != after.shape or before.ndim != 3 or before.shape[:2] != seen.shape:
        raise ValueError(
            "both pictures and the mask must lie on one grid, got shapes "
            f"{before.shape}, {after.shape} and {seen.shape}"
        )
    ink = all_ink(before, seen)
    near_mm = from_ink_mm(ink, um_per_px)
    bare = seen & (near_mm > BARE_MM)
    if int(bare.sum()) < _LEAST_BARE:
        return None
    under = paper_under(before, after, bare, um_per_px)
    solids = find_solids(before, under.spread(seen.shape), ink, seen, um_per_px)
    page = _Page(
        before, after, seen, ink, near_mm, um_per_px, under, profiled,
        _withheld(exposure_changed, detail_changed), target,
    )  # fmt: skip
    found = _solid_inks(page, solids)
    fine = _fine_print(page, solids)
    share = float(ink[seen].mean())
    return PageInks((*found, *(() if fine is None else (fine,))), share)


@dataclass(frozen=True, slots=True)
class _Page:
    before: Light
    after: Light
    seen: Mask
    ink: Mask
    near_mm: Light
    um_per_px: float
    under: PaperUnder
    profiled: bool
    withheld: str
    target: TargetUse | None


def _withheld(exposure_changed: bool, detail_changed: bool) -> str:
    """Why no verdict on any ink is given; "" when there is one."""
    if exposure_changed:
        return (
            "cannot tell: the strip's grey steps show that the scanner changed its exposure "
            "between the two scans"
        )
    if detail_changed:
        return "cannot tell: one of the two scans was sharpened or softened, which inks do not bear"
    return ""


def _solid_inks(page: _Page, solids: tuple[Solid, ...]) -> list[Ink]:
    names = name_inks([solid.passes for solid in solids])
    scatter = paper_scatter(page.under, page.seen)
    looks = len(solids) + 1
    far_bare = page.seen & (page.near_mm > FAR_MM)
    enough = int(far_bare.sum()) >= _LEAST_BARE
    far = page.under
    if enough and solids:
        far = paper_under(page.before, page.after, far_bare, page.um_per_px)
    changes: list[InkChange] = []
    out = []
    places = [
        ink_places(page.before, page.after, solid.mask, page.under, page.um_per_px)
        for solid in solids
    ]
    for entry in places:
        assert entry is not None
        changes.append(ink_change(entry, looks, scatter, page.profiled, target=page.target))
    for solid, name, entry, change in zip(solids, names, places, changes, strict=True):
        ring = None
        if enough:
            ring = bleed(
                page.before, page.after, solid.mask, page.near_mm, far, page.seen, solid.passes,
                page.um_per_px, looks, scatter,
            )  # fmt: skip
        own, moved = change, [part for part in name.parts if changes[part].changed]
        if moved:
            lift = np.prod([changes[part].lift for part in moved], axis=0)
            assert entry is not None
            own = ink_change(
                entry, looks, scatter, page.profiled, lift=(lift[0], lift[1], lift[2]),
                target=page.target,
            )  # fmt: skip
        parts = tuple(names[part].name for part in name.parts)
        moved_names = [names[part].name for part in moved]
        says = _says(own, ring, moved_names, page.withheld)
        out.append(Ink(name.name, change, own, ring, parts, _boxes(solid.mask), says))
    return out


def _says(own: InkChange, ring: Bleed | None, moved: list[str], withheld: str) -> str:
    if withheld:
        return withheld
    if own.changed:
        words = _change_words(own)
    else:
        words = f"no change greater than {own.smallest_de00:.1f} found"
        if moved:
            words = f"follows the {' and the '.join(moved)} in it; {words} beyond that"
    if ring is not None and ring.bled:
        words += f"; bled into the paper round it by {ring.change.de00:.1f}"
    return words


def _change_words(own: InkChange) -> str:
    if own.rest_de00 > _HUE_SHARE * own.de00:
        return f"changed in hue by {own.de00:.1f}"
    verb = "lost" if own.strength_pct < 0 else "gained"
    return f"{verb} about {abs(own.strength_pct):.0f} % of its density, a change of {own.de00:.1f}"


def _fine_print(page: _Page, solids: tuple[Solid, ...]) -> Ink | None:
    """Text and halftone by the average light of places of 10 mm that hold no solid."""
    side = max(4, round(1000 * PLACE_MM / page.um_per_px))
    taken = np.zeros(page.seen.shape, dtype=bool)
    for solid in solids:
        taken |= solid.mask
    rows, columns = page.seen.shape[0] // side, page.seen.shape[1] // side
    if rows == 0 or columns == 0:
        return None
    shares = [_tile_share(mask, side) for mask in (page.seen, page.ink & page.seen, taken)]
    good = (shares[0] > 0.97) & (shares[1] > _FINE_SHARE[0]) & (shares[1] < _FINE_SHARE[1])
    good &= shares[2] == 0
    if not good.any():
        return None
    mask = np.zeros(page.seen.shape, dtype=bool)
    full = np.kron(good, np.ones((side, side), dtype=bool))
    mask[: full.shape[0], : full.shape[1]] = full
    places = ink_places(page.before, page.after, mask & page.seen, page.under, page.um_per_px)
    if places is None:
        return None
    scatter = paper_scatter(page.under, page.seen)
    change = ink_change(places, len(solids) + 1, scatter, page.profiled, target=page.target)
    if page.withheld:
        says = page.withheld
    else:
        word = "lighter" if change.after[0] > change.kept[0] else "darker"
        found = f"area average {word} by {change.de00:.1f} than the paper's change explains"
        none = f"no difference of area averages greater than {change.smallest_de00:.1f} found"
        says = f"too fine to measure its colour; {found if change.changed else none}"
    covers: tuple[tuple[str, Cover], ...] = ()
    if not page.withheld:
        covers = _covers(page, solids, good, side, scatter)
        says = f"{says}; {_cover_words(covers)}"
    return Ink(FINE, change, change, None, (), _boxes(mask), says, covers)


def _covers(
    page: _Page, solids: tuple[Solid, ...], good: Mask, side: int, scatter: float
) -> tuple[tuple[str, Cover], ...]:
    """Fine print taken apart into the inks whose solids stand on the page, by ink."""
    names = name_inks([solid.passes for solid in solids])
    own = [index for index, name in enumerate(names) if not name.parts]
    if not own:
        return ()
    passes = [solids[index].passes for index in own]
    tiles = _fine_tiles(page, good, side)
    found = unmix(tiles, passes, scatter, looks_beside=len(solids) + 1)
    return tuple((names[own[cover.index]].name, cover) for cover in found.covers)


def _fine_tiles(page: _Page, good: Mask, side: int) -> Tiles:
    """Tiles of about 1.7 mm of the places of ``side`` px that are ``good``; not too many."""
    small = max(2, side // _TILES_A_PLACE)
    each = side // small
    rows, columns = np.nonzero(good)
    step = np.arange(each) * small
    top, left = (
        (at[:, None, None] * side + offset).repeat(each, axis=axis).ravel()
        for at, offset, axis in ((rows, step[None, :, None], 2), (columns, step[None, None, :], 1))
    )
    place = np.repeat(np.arange(len(rows)), each * each)
    keep = slice(None, None, max(1, -(-len(top) // MOST_TILES)))
    top, left, place = top[keep], left[keep], place[keep]
    light = [
        np.array([
            picture[y : y + small, x : x + small].reshape(-1, 3).mean(axis=0, dtype=np.float64)
            for y, x in zip(top, left, strict=True)
        ])
        for picture in (page.before, page.after)
    ]  # fmt: skip
    one, two = page.under.at(top + small // 2, left + small // 2)
    return Tiles(light[0], light[1], one.astype(np.float64), two.astype(np.float64), place)


def _cover_words(covers: tuple[tuple[str, Cover], ...]) -> str:
    if not covers:
        return (
            "how much of it is ink was not told: that takes a solid of each ink on this page, and "
            "two inks at most in a place"
        )
    return "; ".join(_one_cover(name, cover) for name, cover in covers)


def _one_cover(name: str, cover: Cover) -> str:
    held = f"{name} in it covers {100 * cover.before:.0f} % of the paper"
    if not cover.changed:
        return f"{held}, no change greater than {100 * cover.smallest:.1f} points found"
    verb = "lost" if cover.change < 0 else "gained"
    return f"{held} and {verb} {abs(100 * cover.change):.1f} points of it"


def _tile_share(mask: Mask, side: int) -> NDArray[np.float64]:
    rows, columns = mask.shape[0] // side, mask.shape[1] // side
    tiles = mask[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return np.asarray(tiles.mean(axis=(1, 3)), dtype=np.float64)


def _boxes(mask: Mask) -> tuple[Box, ...]:
    """Boxes round the largest areas of a mask, joined over about two millimetres."""
    joined = cv2.dilate(mask.astype(np.uint8), np.ones((9, 9), np.uint8))
    _, _, stats, _ = cv2.connectedComponentsWithStats(joined)
    order = sorted(range(1, len(stats)), key=lambda i: -int(stats[i, cv2.CC_STAT_AREA]))
    return tuple(
        (int(stats[i, 0]), int(stats[i, 1]), int(stats[i, 2]), int(stats[i, 3]))
        for i in order[:_MOST_BOXES]
    )


__all__ = ["Box", "Ink", "InkName", "PageInks", "page_inks"]
