"""Fitting a colour target in a picture: method ``target.fit``.

Roles: "chart" (the picture), and where given "flat" (a plain sheet in the same place and light),
"reference" (the target's own measured file) and "paper" (an instrument's file of paper tones that
lie in the picture, at the places ``paper_at``). Findings: the fit as a line of text that
``leaf.measure`` takes, and figures of its quality.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from quirewell.record.finding import Finding
from quirewell.science.colour.cgats import MOST_CHARACTERS, BadColourFile, read_cgats
from quirewell.science.colour.characterise import TargetFit, fit_target
from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_linear, light_of
from quirewell.science.colour.target24 import EDITIONS, NEUTRALS, STANDING, edition_lab
from quirewell.science.colour.target_use import target_text, use_of
from quirewell.science.imaging.chart import Chart, NoChart, find_chart, flat_field
from quirewell.science.imaging.chart_light import ChartLight, chart_light
from quirewell.stages.instrument import reference_lab, table_lab
from quirewell.stages.methods import Outcome, method
from quirewell.studio.images import Picture, load_picture

METHOD = "target.fit"
PARAMS = ("edition", "corners", "paper_at", "model")
_SOURCES = ("cie15", "iec61966", "finlayson2015", "sharma2005")
Array = NDArray[np.float64]


class BadTarget(ValueError):
    """A target that cannot be fitted, or a parameter that cannot be used; a sentence."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Parameters of ``target.fit``: corners (4, 2) [px], boxes of measured papers (m, 4) [px]."""

    edition: str
    corners: Array | None
    paper_at: Array | None
    model: str


def read_params(params: Mapping[str, str]) -> Asked:
    """Read text parameters; empty ones count as not given.

    Raises
    ------
    BadTarget
        for an unknown name or a value that is not allowed
    """
    unknown = sorted(set(params) - set(PARAMS))
    if unknown:
        raise BadTarget(f"{METHOD} knows no parameter {unknown[0]!r}; it knows {', '.join(PARAMS)}")
    edition = params.get("edition") or ""
    if edition and edition not in EDITIONS:
        raise BadTarget(f"the edition is {' or '.join(EDITIONS)}, got {edition!r}")
    model = params.get("model") or "chosen"
    if model not in ("chosen", "linear", "root"):
        raise BadTarget(f"the model is chosen, linear or root, got {model!r}")
    corners = numbers_of(params.get("corners") or "", "corners", 8)
    boxes = numbers_of(params.get("paper_at") or "", "paper_at", 4)
    if corners is not None and corners.size != 8:
        raise BadTarget(
            f"corners are x1,y1,x2,y2,x3,y3,x4,y4 in pixels, got {corners.size} numbers"
        )
    return Asked(
        edition,
        None if corners is None else corners.reshape(4, 2),
        None if boxes is None else boxes.reshape(-1, 4),
        model,
    )


def numbers_of(text: str, name: str, group: int) -> Array | None:
    """Pixel numbers in groups, apart by commas, blanks or semicolons; None for no text."""
    if not text.strip():
        return None
    words = text.replace(";", " ").replace(",", " ").split()
    try:
        values = np.array([float(word) for word in words])
    except ValueError:
        values = np.array([math.nan])
    if len(values) % group or len(values) > 400 or not np.isfinite(values).all():
        shape = "x1,y1,x2,y2,x3,y3,x4,y4" if group == 8 else "x,y,width,height of each paper"
        raise BadTarget(f"{name} are pixel numbers {shape}, got {text[:80]!r}")
    return values


@method(METHOD, 1, "exact")
def fit(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Fit the 24-patch target in a picture: from the picture's own colours to CIELAB."""
    asked = read_params(params)
    lab, whose = _reference(files.get("reference"), asked)
    picture = load_picture(files["chart"])
    flat = _flat(files.get("flat"), picture)
    try:
        chart = find_chart(picture.pixels, asked.corners, flat, lab)
    except NoChart as error:
        raise BadTarget(str(error)) from None
    lit = chart_light(chart, lab)
    says = [*picture.warnings, *(f"{text}." for text in lit.says), *_picture_says(picture)]
    if lit.fault in ("shadow", "clipped"):
        words = Finding(
            "", "target.verdict", "", text="no fit: " + " ".join(f"{text}." for text in lit.says)
        )
        return Outcome((words,), tuple(says), _drawing(chart))
    papers = _papers(files.get("paper"), asked, picture, flat)
    fitted = fit_target(
        chart.light[lit.used], lab[lit.used],
        papers_rgb=papers[0] if papers else None, papers_lab=papers[1] if papers else None,
        model=asked.model,  # type: ignore[arg-type]
    )  # fmt: skip
    findings = _findings(fitted, chart, lit, lab, whose)
    return Outcome(tuple(findings), tuple(says), _drawing(chart))


def _reference(path: Path | None, asked: Asked) -> tuple[Array, str]:
    if path is not None:
        return reference_lab(read_text(path)), "your own target's file"
    if not asked.edition:
        raise BadTarget(
            "which edition of the 24-patch target is it? It changed in November 2014, by several "
            f"units on some patches: state {' or '.join(EDITIONS)} (look on its back), or give "
            "the file measured on your own copy"
        )
    return edition_lab(asked.edition), f"edition {asked.edition}: {STANDING}"


def read_text(path: Path) -> str:
    """Text of a colour measurement file.

    Raises
    ------
    BadColourFile
        when it is too large, or no text
    """
    if path.stat().st_size > MOST_CHARACTERS:
        raise BadColourFile(
            f"{path.name} is larger than {MOST_CHARACTERS // 1_000_000} MB, which no colour "
            "measurement file is"
        )
    data = path.read_bytes()
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _flat(path: Path | None, picture: Picture) -> Array | None:
    if path is None:
        return None
    sheet = load_picture(path)
    if sheet.pixels.shape != picture.pixels.shape:
        raise BadTarget(
            f"the flat field is {sheet.pixels.shape[1]} x {sheet.pixels.shape[0]} pixels and the "
            f"target's picture {picture.pixels.shape[1]} x {picture.pixels.shape[0]}: take both "
            "with the same camera, place and light"
        )
    return flat_field(sheet.pixels)


def _papers(
    path: Path | None, asked: Asked, picture: Picture, flat: Array | None
) -> tuple[Array, Array] | None:
    """Light and CIELAB of the measured papers in the picture."""
    if path is None and asked.paper_at is None:
        return None
    if path is None or asked.paper_at is None:
        raise BadTarget(
            "measured paper tones need both the instrument's file and where each paper lies in "
            "the picture (paper_at: x,y,width,height of each, in the order of the file)"
        )
    lab = np.vstack([table_lab(table) for table in read_cgats(read_text(path))])
    if len(lab) != len(asked.paper_at):
        raise BadTarget(
            f"the file holds {len(lab)} readings and {len(asked.paper_at)} places are given; one "
            "for each is needed, in the same order"
        )
    return np.array([_box_light(picture, box, flat) for box in asked.paper_at]), lab


def _box_light(picture: Picture, box: Array, flat: Array | None) -> Array:
    x, y, wide, high = (round(float(value)) for value in box)
    height, width = picture.pixels.shape[:2]
    if min(x, y) < 0 or min(wide, high) < 3 or x + wide > width or y + high > height:
        raise BadTarget(
            f"a measured paper lies at {x},{y} and is {wide} x {high} pixels: it must be at least "
            f"3 x 3 and inside the picture of {width} x {height}"
        )
    light = light_of(picture.pixels[y : y + high, x : x + wide]).astype(np.float64)
    if flat is not None:
        light = light / np.maximum(flat[y : y + high, x : x + wide], 0.05)[..., None]
    return np.asarray(np.median(light.reshape(-1, 3), axis=0))


def _picture_says(picture: Picture) -> list[str]:
    says = []
    if picture.grey:
        raise BadTarget("the picture is grey: a colour target needs a colour picture")
    if not picture.profile:
        says.append(
            "The picture carries no colour profile. That does no harm here, as long as every "
            "picture this fit is used on was made the same way."
        )
    says.append(
        "The fit holds for pictures made with the same camera or scanner, the same settings and "
        "the same light; lay the target beside the leaf where you can."
    )
    return says


def _findings(
    fitted: TargetFit, chart: Chart, lit: ChartLight, lab: Array, whose: str
) -> list[Finding]:
    patches = slice(0, len(fitted.reference) - fitted.papers)
    left = fitted.left_out[fitted.model]
    errors = fitted.de00[patches]
    neutral = lit.used[list(NEUTRALS)]
    at = np.flatnonzero(lit.used) >= NEUTRALS[0]
    miss = (fitted.lab - fitted.reference)[patches][at]
    noise = float(np.sqrt(np.mean(chart.noise_L[list(NEUTRALS)][neutral] ** 2)))
    delivered = ciede2000(lab_from_linear(chart.light[lit.used]), lab[lit.used])
    other = {name: f"{check.score:.2f}" for name, check in fitted.left_out.items()}
    chosen = ", ".join(f"{name} {score}" for name, score in other.items())
    rows = [
        ("target.dE00_mean", float(errors.mean()), "mean CIEDE2000 of the fitted patches"),
        ("target.dE00_p90", float(np.quantile(errors, 0.9)), "90th percentile of the same"),
        ("target.dE00_max", float(errors.max()), "the same, largest"),
        ("target.dE00_left_out", float(left.de00[patches].mean()),
         "mean CIEDE2000 of patches predicted from the others: what an unknown colour may expect"),
        ("target.neutrals_dE00", left.neutrals, "left-out neutrals, mean CIEDE2000"),
        ("target.papers_dE00", left.papers, "left-out measured papers, mean CIEDE2000"),
        ("target.delivered_dE00", float(delivered.mean()),
         "mean CIEDE2000 of the picture as it came, before any fit"),
        ("target.noise_L", noise, "spread of L* inside the neutral patches"),
        ("target.tone_dL", float(np.abs(miss[:, 0]).max()), "largest error of L*, neutrals"),
        ("target.white_dab", float(np.hypot(miss[:, 1], miss[:, 2]).max()),
         "largest distance of a neutral in a*b*"),
        ("target.light_pct", 100.0 * lit.slope, "fall of the light across the target"),
        ("target.patches", float(lit.used.sum()), f"patches used; {whose}"),
        ("target.found_dE00", chart.fit_de00, f"found {chart.found}, turned {chart.turn_deg:.0f}"),
    ]  # fmt: skip
    spread = {"target.dE00_mean": errors, "target.dE00_left_out": left.de00[patches]}
    found = [
        Finding(
            "", name, "", value, _standard_error(spread.get(name)),
            "%" if name.endswith("_pct") else "1", note=note, sources=_SOURCES,
        )
        for name, value, note in rows
        if math.isfinite(value)
    ]  # fmt: skip
    for name, u in zip("Lab", fitted.u_lab, strict=True):
        note = f"how wrong a paper's {name}* may be: left-out light neutrals, browns and papers"
        found.append(Finding("", f"target.u_{name}", "", u, None, "1", note=note))
    texts = (
        ("target.model", fitted.model, f"least left-out error: {chosen}"),
        ("target.reference", whose, ""),
        ("target.use", target_text(use_of(fitted)), "what quirewell measure --target takes"),
    )
    found += [Finding("", name, "", text=text, note=note) for name, text, note in texts]
    return found


def _standard_error(values: Array | None) -> float | None:
    return None if values is None else float(np.std(values, ddof=1) / math.sqrt(len(values)))


def _drawing(chart: Chart) -> dict[str, str]:
    """The squares that were read, patch by patch, in pixels of the picture."""
    squares = ";".join(
        " ".join(f"{x:.1f},{y:.1f}" for x, y in square) for square in chart.square_px
    )
    return {"patches_px": squares, "turn_deg": f"{chart.turn_deg:.2f}"}
