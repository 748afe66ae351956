"""The before/after field in a comparison: its finding, its drawing, and the layers to draw.

The drawing's key ``field`` is text, one group a place on a lattice of about 24 x 32, row by
row: "x,y,dx,dy,exx,eyy x,y,...". x, y [px of the before picture]; dx, dy: how the place moved,
the second picture brought to the first one's scale [px before]; exx, eyy: strain along the
paper's width and height [microstrain].
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.imaging.change import scanner_bend_um
from quirewell.science.imaging.field_maps import displacement_picture, strain_picture
from quirewell.science.imaging.register import NoRegistration, Registration
from quirewell.science.imaging.scale_ratio import ScaleRatio
from quirewell.science.imaging.strain_field import StrainField, field_text, strain_field
from quirewell.stages.pair_pictures import Pair, picture_of_difference, write_png

_SOURCES = ("isprs1996", "jcgm100")
_NO_U = "no u is known for a single place, the scanner's own unevenness is in it"
LAYERS = {
    "difference": "CIEDE2000 colour difference, after against before",
    "displacement": "how far the paper moved, turn and shift of the leaf taken out",
    "strain_across": f"change of length along the paper's width, in per cent; {_NO_U}",
    "strain_along": f"change of length along the paper's height, in per cent; {_NO_U}",
}


def field_of(pair: Pair, match: Registration, ratio: ScaleRatio) -> StrainField:
    """Displacement and strain on a lattice of about 24 x 32 over the before picture."""
    angle = pair.before.angle_deg if pair.before.ground else 0.0
    return strain_field(match, (ratio.x, ratio.y), angle)


def field_drawing(pair: Pair, match: Registration, ratio: ScaleRatio) -> str:
    """The drawing's ``field`` key."""
    return field_text(field_of(pair, match, ratio))


def field_findings(
    pair: Pair,
    match: Registration,
    moved_mm: float,
    scanner_u_um: float | None = None,
    scanner_repeat_um: float | None = None,
) -> list[Finding]:
    """``field.rms_um``: root mean square of the bend, what no even stretch explains [um].

    ``scanner_u_um`` and ``scanner_repeat_um`` are those of a calibrated scanner, if it is one.
    """
    um = pair.after.um_per_px
    if um is None:
        return []
    size = math.sqrt(um[0] * um[1])
    bend, u_match = match.bend_px * size, match.u_bend_px * size
    scanner = scanner_bend_um(moved_mm, match.turn != "upright", scanner_u_um, scanner_repeat_um)
    u = math.hypot(u_match, scanner.u)
    return [
        Finding(
            "", "field.rms_um", "", bend, u, "um", low90=max(0.0, bend - 1.645 * u),
            high90=bend + 1.645 * u, standing="measured here", sources=_SOURCES,
            smallest_seen=3.29 * u,
            terms=(
                Term("match", u_match, f"scatter of {len(match.points)} matched points"),
                Term("scanner", scanner.u, scanner.basis),
            ),
            note="root mean square departure of the smooth field from one even stretch over the "
            "matched part of the leaf: bending of the sheet and of the scanner together",
        )
    ]  # fmt: skip


def layers_json(run: Run, written: dict[str, str] | None = None) -> dict[str, Any]:
    """The pictures that can be drawn of a comparison, and the files written for them."""
    if not run.drawing.get("field"):
        return {}
    return {
        name: {"says": says, "file": (written or {}).get(name)} for name, says in LAYERS.items()
    }


def write_layers(pair: Pair, ratio: ScaleRatio, folder: Path) -> dict[str, str]:
    """Write every layer as PNG into ``folder``; nothing where the pair was not registered.

    Raises:
        OSError: when a file cannot be written.
    """
    match = pair.match
    if isinstance(match, NoRegistration):
        return {}
    field = field_of(pair, match, ratio)
    um = pair.before.um_per_px
    folder.mkdir(parents=True, exist_ok=True)
    pictures: dict[str, Callable[[], NDArray[np.uint8]]] = {
        "difference": lambda: picture_of_difference(pair),
        "displacement": lambda: displacement_picture(field, float(np.mean(um)) if um else None),
        "strain_across": lambda: strain_picture(field, "across"),
        "strain_along": lambda: strain_picture(field, "along"),
    }
    written = {}
    for name, draw in pictures.items():
        target = folder / f"{name.replace('_', '-')}.png"
        write_png(target, draw())
        written[name] = str(target)
    return written
