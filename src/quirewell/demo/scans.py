"""Scans of every half wrap of the Annual, before and after treatment, with their right answers."""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import tifffile
from PIL import ImageCms

from quirewell.demo.bench_strip import PRINTED_SHORT, lay_strip
from quirewell.demo.cover import INKS, PASSES, cover_plates
from quirewell.demo.coverage import polygon_area
from quirewell.demo.difference import ciede2000
from quirewell.demo.outline import EDGES, Movement, Outline, Points, Run
from quirewell.demo.pages import page_plate
from quirewell.demo.publication import (
    MOTTLE,
    WRAPS,
    SheetPlan,
    faded_red,
    ink_on_paper,
    sheet_codes,
    sheet_plan,
)
from quirewell.demo.scanner import Face, Glass, Ground, Image, Ink, Pose, scan
from quirewell.demo.scenes import leaf_truth, tone_truth, unprinted
from quirewell.demo.staple_holes import moved_hole, plug
from quirewell.demo.tone import Ageing, Lab, ToneField, tone_field
from quirewell.demo.truth import (
    DEFINITION,
    ChangeTruth,
    HoleTruth,
    InkTruth,
    LeafTruth,
    Truth,
    as_json,
)
from quirewell.science.booklet.gathering import wrap_pages

Progress = Callable[[int, int, str], None]
SCALE_ERROR = 0.003
DRIFT = 1.2e-4
GLASS_MM = (212.0, 297.0)
PAGE_MM = (195.0, 265.0)
SIDES = ("outer", "inner")
PANELS = ("left", "right")
MOMENTS = ("before", "after")


def generate(
    folder: Path,
    *,
    dpi: int = 100,
    seed: int = 1936,
    sheets: Sequence[str] | None = None,
    progress: Progress | None = None,
    ground: Ground = "dark",
    workers: int = 2,
) -> Truth:
    """Write the Annual's scans to ``folder/scans`` and what was planted to ``folder/truth.json``.

    Parameters
    ----------
    folder
        where to write; made if it is not there
    dpi
        what the scanner claims [1/inch]; its true scale is 0.3 % off
    sheets
        codes to scan ("c", "w01" ..), "item" for the photographs of the whole; all unless stated
    progress
        called with (scans done, scans in all, what was just done)
    workers
        processes that draw

    Raises
    ------
    ValueError
        when a sheet is not part of the Annual, or the resolution is outside 40..1200 dpi
    """
    wanted = check_wanted(dpi, sheets)
    target = folder / "scans"
    target.mkdir(parents=True, exist_ok=True)
    truth = Truth(seed, dpi, DEFINITION, {}, {}, {}, ())
    total = sum(_count(code) for code in wanted)
    done = 0
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(workers, len(wanted)), context) as pool:
        jobs = {
            pool.submit(draw_part, code, str(target), dpi, seed, ground): code
            for code in sorted(wanted, key=lambda code: code != "item")
        }
        for job in as_completed(jobs):
            part = job.result()
            done += _count(jobs[job])
            truth = _joined(truth, part)
            if progress is not None:
                progress(done, total, f"drew {jobs[job]}")
    (folder / "truth.json").write_text(json.dumps(as_json(truth), indent=1), encoding="utf-8")
    return truth


def check_wanted(dpi: int, sheets: Sequence[str] | None) -> tuple[str, ...]:
    """Codes to draw, each once.

    Raises:
        ValueError: a sheet that is not part of the Annual, or a resolution outside 40..1200 dpi.
    """
    if not 40 <= dpi <= 1200:
        raise ValueError(f"the demo can be drawn at 40 to 1200 dpi, got {dpi}")
    known = (*sheet_codes(), "item")
    for code in sheets or ():
        if code not in known:
            raise ValueError(f"the Annual has no sheet {code!r}; it has {', '.join(known)}")
    return known if sheets is None else tuple(dict.fromkeys(sheets))


def _count(code: str) -> int:
    from quirewell.demo.photographs import VIEWS

    return len(VIEWS) if code == "item" else len(SIDES) * len(PANELS) * len(MOMENTS)


def _joined(truth: Truth, part: Truth) -> Truth:
    return replace(
        truth,
        scans=dict(sorted({**truth.scans, **part.scans}.items())),
        changes=dict(sorted({**truth.changes, **part.changes}.items())),
        inks={**truth.inks, **part.inks},
        holes=dict(sorted({**truth.holes, **part.holes}.items())),
        photographs=truth.photographs + part.photographs,
    )


def draw_part(code: str, target: str, dpi: int, seed: int, ground: Ground = "dark") -> Truth:
    """Draw and write one sheet (or the photographs, "item"); runs in a worker process."""
    cv2.setNumThreads(1)
    folder = Path(target)
    if code == "item":
        from quirewell.demo.photographs import write_photographs

        names = write_photographs(folder, dpi, seed)
        return Truth(seed, dpi, DEFINITION, {}, {}, {}, names)
    plan = sheet_plan(code, seed)
    drawn = DrawnSheet(plan, dpi, seed)
    found: dict[str, LeafTruth] = {}
    changes: dict[str, ChangeTruth] = {}
    for side in SIDES:
        for panel in PANELS:
            pair = []
            for moment in MOMENTS:
                name = f"{code}-{side}-{panel}-{moment}.tif"
                picture, truth = drawn.panel(side, panel, moment, ground)
                write_scan(folder / name, picture, dpi)
                found[name] = truth
                pair.append(truth)
            changes[f"{code}.{side}.{panel}"] = _change(pair[0], pair[1], plan)
    inks = drawn.ink_truth() if code == "c" else {}
    holes = {f"{code}.{moment}": hole_truth(plan, moment) for moment in MOMENTS}
    return Truth(seed, dpi, DEFINITION, found, changes, inks, holes=holes)


def hole_truth(plan: SheetPlan, moment: str) -> tuple[HoleTruth, ...]:
    """The staple holes of a sheet in its own frame, before or after it moved in treatment."""
    move = plan.movement if moment == "after" else Movement()
    places = [moved_hole(hole, move, plan.half_mm, plan.head_mm) for hole in plan.holes]
    return tuple(
        HoleTruth(hole.number, x, y, hole.size_mm, hole.state)
        for hole, (x, y) in zip(plan.holes, places, strict=True)
    )


def _change(before: LeafTruth, after: LeafTruth, plan: SheetPlan) -> ChangeTruth:
    move = plan.movement
    return ChangeTruth(
        100.0 * (after.width_mm / before.width_mm - 1.0),
        100.0 * (after.height_mm / before.height_mm - 1.0),
        ciede2000(before.tone_median, after.tone_median),
        100.0 * move.stretch_x,
        100.0 * move.stretch_y,
        1000.0 * move.warp_x_mm,
        1000.0 * move.warp_y_mm,
    )


class DrawnSheet:
    """A sheet with its plates and tones drawn once, ready to be scanned from all sides."""

    def __init__(self, plan: SheetPlan, dpi: int, seed: int) -> None:
        self.plan, self.dpi, self.seed = plan, dpi, seed
        self.px_per_mm = max(150, min(2 * dpi, 600)) / 25.4
        self._inks = {side: self._draw(side) for side in SIDES}
        self._tones = {moment: self._tone(getattr(plan, moment)) for moment in MOMENTS}

    def _draw(self, side: str) -> tuple[Ink, ...]:
        plan, ppm = self.plan, self.px_per_mm
        if plan.wrap == 0:
            plates = cover_plates(side, self.seed, plan.half_mm, plan.height_mm, ppm)
            return tuple(
                Ink(plates[ink], ppm, PASSES[ink], gain=1.1, mottle=MOTTLE)
                for ink in INKS
                if plates[ink].any()
            )
        pages = wrap_pages(plan.wrap, WRAPS)
        left, right = (getattr(pages, f"{side}_{panel}") for panel in PANELS)
        both = [page_plate(page, self.seed, *PAGE_MM, ppm) for page in (left, right)]
        origin = plan.half_mm - both[0].shape[1] / ppm
        return (Ink(np.hstack(both), ppm, origin_mm=(origin, 0.0)),)

    def _tone(self, ageing: Ageing) -> ToneField:
        plan = self.plan
        return tone_field(
            ageing, 2 * plan.half_mm, plan.height_mm, plan.seed, holes_mm=plan.rust_mm
        )

    def face(self, side: str, moment: str) -> Face:
        """One side of the whole sheet before or after treatment."""
        plan = self.plan
        outline, tone, movement = plan.outline, self._tones[moment], plan.movement
        inks = self._inks[side]
        if side == "inner":
            outline, tone = (
                mirrored(outline, 2 * plan.half_mm),
                mirrored_tone(tone, 2 * plan.half_mm),
            )
            movement = replace(movement, warp_x_mm=-movement.warp_x_mm)
        if moment == "before":
            movement = replace(movement, stretch_x=0.0, stretch_y=0.0, warp_x_mm=0.0, warp_y_mm=0.0)
        elif plan.wrap == 0:
            red = faded_red(plan.after.centre)
            inks = tuple(
                replace(ink, passes=red) if ink.passes == PASSES["red"] else ink for ink in inks
            )
        plugs = tuple(
            plug(hole, plan.half_mm, plan.head_mm, 2 * plan.half_mm, side == "inner")
            for hole in plan.holes
            if hole.state == "plugged"
        )
        return Face(
            outline.moved(movement),
            tone,
            (*inks, *plugs),
            movement,
            self._through(side),
            plan.seed,
            0.04,
            plan.half_mm,
        )

    def _through(self, side: str) -> Ink:
        """The other side's heaviest ink as it shows through, left and right exchanged."""
        other = self._inks["inner" if side == "outer" else "outer"][-1]
        ink = replace(other, plate=np.ascontiguousarray(other.plate[:, ::-1]))
        width = ink.plate.shape[1] / ink.px_per_mm
        return replace(ink, origin_mm=(2 * self.plan.half_mm - other.origin_mm[0] - width, 0.0))

    def panel(self, side: str, panel: str, moment: str, ground: Ground) -> tuple[Image, LeafTruth]:
        """The scan of one half of a side, with the fold in it, and its right answers."""
        plan = self.plan
        face = self.face(side, moment)
        key = [self.seed, plan.wrap, SIDES.index(side), PANELS.index(panel), MOMENTS.index(moment)]
        rng = np.random.default_rng(key)
        um = 25400.0 / self.dpi * (1.0 + SCALE_ERROR)
        um *= 1.0 + (DRIFT if moment == "after" else 0.0)
        glass = Glass(*GLASS_MM, um, um, ground)
        skew = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.2, 0.75))
        margin = GLASS_MM[0] - plan.half_mm - 11.0 + rng.uniform(-0.6, 0.6)
        middle = plan.half_mm / 2 if panel == "left" else 1.5 * plan.half_mm
        across = margin + plan.half_mm / 2
        at = (
            across if panel == "left" else GLASS_MM[0] - across,
            plan.height_mm / 2 + 5.5 + rng.uniform(0.0, 1.5),
        )
        pose = Pose((middle, plan.height_mm / 2), at, skew)
        spot = (10.0 + rng.uniform(0.0, 12.0), at[1] + plan.height_mm / 2 + 2.8 + rng.random())
        strip = lay_strip(spot, float(rng.uniform(-0.3, 0.3)), self.dpi, PRINTED_SHORT)
        picture = scan(face, pose, glass, int(rng.integers(1 << 30)), laid=(strip,))
        half = half_outline(face.outline, panel, face.movement.forward(self._fold_points()))
        tones = self._tones_of(face, panel, moment)
        truth = leaf_truth(half, tones, pose, glass, float(self.dpi), strip, PRINTED_SHORT)
        at_fold = self._loss_at_fold(face.outline)
        return picture, replace(
            truth,
            fold="right" if panel == "left" else "left",
            loss_at_fold_mm2=at_fold,
            split_mm=plan.split_mm,
        )

    def _fold_points(self) -> Points:
        y = np.linspace(0.0, self.plan.height_mm, 400)
        return np.column_stack([np.full(400, self.plan.half_mm), y])

    def _loss_at_fold(self, outline: Outline) -> float:
        """Half of the staple holes and of the gap of the split [mm2]."""
        area = sum(abs(polygon_area(hole)) for hole in outline.holes)
        area += sum(abs(polygon_area(run.points)) for run in outline.runs if run.loss == "split")
        return 0.5 * area

    def _tones_of(self, face: Face, panel: str, moment: str) -> tuple[Lab, Lab, Lab]:
        """Centre, margin and median of one leaf, in its own coordinates (x from its left edge)."""
        plan = self.plan
        shift = 0.0 if panel == "left" else plan.half_mm
        origin = (face.tone.origin_mm[0] - shift, face.tone.origin_mm[1])
        tone = ToneField(face.tone.lab, origin, face.tone.cell_mm)
        inks = [
            replace(ink, origin_mm=(ink.origin_mm[0] - shift, ink.origin_mm[1]))
            for ink in face.inks
        ]
        bare = unprinted(tone, inks, plan.half_mm, plan.height_mm)
        outer = tuple(edge for edge in EDGES if edge != ("right" if panel == "left" else "left"))
        return tone_truth(tone, bare, plan.half_mm, plan.height_mm, outer)

    def ink_truth(self) -> dict[str, InkTruth]:
        """The cover's inks as solids before and after."""
        plan = self.plan
        inks = {}
        for name in INKS:
            passes = PASSES[name]
            changed = faded_red(plan.after.centre) if name == "red" else passes
            after = ink_on_paper(changed, plan.after.centre)
            kept = ink_on_paper(passes, plan.after.centre)
            inks[name] = InkTruth(
                ink_on_paper(passes, plan.before.centre), after, kept, ciede2000(after, kept)
            )
        return inks


def half_outline(outline: Outline, panel: str, fold: Points) -> Outline:
    """One leaf of a sheet: its three edges, and the fold as the fourth.

    Holes and the split lie on the fold and are left out (their halves are counted apart).
    """
    middle = float(fold[:, 0].mean())
    other = "right" if panel == "left" else "left"
    runs = []
    for run in outline.runs:
        if run.edge == other or run.loss == "split":
            continue
        if run.loss == "corner" and not _on_side(run.points, panel, middle):
            continue
        kept = run.points
        if run.edge in ("head", "foot"):
            kept = kept[kept[:, 0] < middle] if panel == "left" else kept[kept[:, 0] > middle]
        if len(kept):
            runs.append(replace(run, points=kept))
    runs.append(Run(other, fold if panel == "left" else fold[::-1]))
    return Outline(tuple(sorted(runs, key=lambda run: EDGES.index(run.edge))))


def _on_side(points: Points, panel: str, middle: float) -> bool:
    return bool((points[:, 0].mean() < middle) == (panel == "left"))


def mirrored(outline: Outline, width_mm: float) -> Outline:
    """The outline as seen from the other side (left and right exchanged, still clockwise)."""
    swap = {"left": "right", "right": "left", "head": "head", "foot": "foot"}
    runs = []
    for run in outline.runs[::-1]:
        points = run.points[::-1] * [-1.0, 1.0] + [width_mm, 0.0]
        edge = swap[run.edge]
        if run.loss == "corner":
            edge = EDGES[(EDGES.index(swap[run.edge]) - 1) % 4]
        runs.append(Run(edge, points, run.loss))
    start = max(index for index, run in enumerate(runs) if run.edge != "head") + 1
    holes = tuple(hole[::-1] * [-1.0, 1.0] + [width_mm, 0.0] for hole in outline.holes)
    return Outline((*runs[start:], *runs[:start]), holes)


def mirrored_tone(tone: ToneField, width_mm: float) -> ToneField:
    """The tone field as seen from the other side."""
    last = tone.origin_mm[0] + tone.cell_mm * (tone.lab.shape[1] - 1)
    lab = np.ascontiguousarray(tone.lab[:, ::-1])
    return ToneField(lab, (width_mm - last, tone.origin_mm[1]), tone.cell_mm)


@lru_cache(maxsize=1)
def srgb_profile() -> bytes:
    """An sRGB profile; its date is fixed, so that the same seed gives the same bytes."""
    made = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    made[24:36] = b"".join(part.to_bytes(2, "big") for part in (2026, 1, 1, 0, 0, 0))
    return bytes(made)


def write_scan(path: Path, picture: Image, dpi: float) -> None:
    """An 8-bit RGB TIFF with its sRGB profile and the resolution the scanner claims."""
    tifffile.imwrite(
        path,
        picture,
        photometric="rgb",
        compression="zlib",
        compressionargs={"level": 3},
        predictor=True,
        resolution=(dpi, dpi),
        resolutionunit="INCH",
        iccprofile=srgb_profile(),
        metadata=None,
        software="",
    )
