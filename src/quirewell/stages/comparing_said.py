"""What a comparison warns of: pictures, light, and how far the two agree, as sentences."""

from __future__ import annotations

import cv2
import numpy as np

from quirewell.science.imaging.agreement import unlike_parts
from quirewell.science.imaging.paper_change import WITHHELD_L, LightChange, PaperChange
from quirewell.science.imaging.register import Registration
from quirewell.science.imaging.scale_ratio import ScaleRatio
from quirewell.science.imaging.sharpness import INKS_HOLD, detail_ratio, sharpness_sentence
from quirewell.science.imaging.strain import SheetStrain
from quirewell.stages.pair_pictures import Pair, lay_pair
from quirewell.studio.images import as_eight_bit

_BADLY_OFF = 0.03
_COARSE_PX = 900
_PART_SEEN = 0.85
_LIES = {"upside down": "lies upside down", "quarter turn": "lies a quarter turn round"}


def paper_warnings(
    paper: PaperChange | None, light: LightChange | None, exposed: bool
) -> list[str]:
    out = []
    if paper is None and not (light is not None and light.withheld):
        out.append(
            "Too little bare paper is seen in both pictures to compare its colour: at least five "
            "places of 1.5 mm without print are needed."
        )
    if light is None:
        out.append(
            "No grey steps in both pictures: whether they were lit alike cannot be checked. The "
            "bench strip beside the leaf would show it."
        )
    elif light.withheld:
        out.append(
            f"No colour verdict: the strip's grey steps moved by {light.steps_L:.1f} in L* between "
            f"the two pictures, more than the {WITHHELD_L:g} that can be taken out again, so the "
            "scanner or the light changed and not only the paper. Scan both with automatic "
            "exposure, colour restoration and contrast off, or scan the leaf again with the "
            "settings of the first scan."
        )
    elif light.differs:
        out.append(
            f"The two pictures were lit differently: the strip's grey steps moved by up to "
            f"{light.steps_L:.1f} in L*. Colours were corrected by them"
            f"{', both scans against the known greys of the strip' if exposed else ''}."
        )
    return out


def picture_warnings(pair: Pair) -> list[str]:
    out = []
    for name, side in (("before", pair.before), ("after", pair.after)):
        out += [f"Picture {name}: {says}" for says in side.picture.warnings]
    if pair.before.ground != pair.after.ground:
        name = "first" if pair.after.ground else "second"
        out.append(
            f"Paper and ground could not be told apart in the {name} picture: what lies outside "
            "the paper of the other one was left out. Lay the leaf in the middle of the glass."
        )
    if pair.before.grey.shape == pair.after.grey.shape and np.array_equal(
        pair.before.grey, pair.after.grey
    ):
        out.append("Both pictures are the same, pixel for pixel: was one file given twice?")
    return out


def match_warnings(
    pair: Pair, match: Registration, strain: SheetStrain, ratio: ScaleRatio
) -> list[str]:
    out = list(ratio.warnings)
    if match.turn != "upright":
        out.append(
            f"The leaf {_LIES[match.turn]} in the second picture: it was matched, but the "
            "scanner's own errors no longer cancel. Lay it the same way round in both scans."
        )
    if max(abs(strain.exx), abs(strain.eyy)) > _BADLY_OFF:
        out.append(
            f"The second picture is {100 * strain.exx:+.1f} % wider and {100 * strain.eyy:+.1f} % "
            "higher than paper ever changes: one of the resolutions stated is wrong. Give the "
            "right one, or lay a scale strip beside the leaf."
        )
    if pair.before.dpi is None and pair.before.strip is None:
        out.append(
            "Neither picture says its resolution and no strip was found: changes in per cent "
            "assume the same setting for both, and lengths cannot be given. State the dpi."
        )
    says = sharpness_sentence(sharpness(pair, match))
    return [*out, *([says] if says else []), *agreement_warnings(pair)]


def sharpness(pair: Pair, match: Registration) -> float | None:
    """Finest detail of the second picture over that of the first [-]; None where unknown."""
    return detail_ratio(pair.before.grey, pair.after.grey, match.points, match.found)


def inks_hold(pair: Pair) -> bool:
    """Whether both scans are alike enough in their finest detail for inks to be compared."""
    if not isinstance(pair.match, Registration):
        return False
    ratio = sharpness(pair, pair.match)
    return ratio is None or INKS_HOLD[0] <= ratio <= INKS_HOLD[1]


def agreement_warnings(pair: Pair) -> list[str]:
    """Paper that only one of the two shows, and parts where the print of both disagrees."""
    laid = lay_pair(pair, _COARSE_PX)
    mm = float(np.mean(pair.before.um_guess)) * laid.shrink / 1000
    one, other = (
        np.asarray(cv2.cvtColor(as_eight_bit(picture), cv2.COLOR_RGB2GRAY), np.uint8)
        for picture in (laid.before, laid.after)
    )
    size = one.shape[1], one.shape[0]
    paper = cv2.resize(pair.before.paper.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    share = float(laid.seen.sum() / max(1, int(paper.sum())))
    out = []
    if share < _PART_SEEN:
        out.append(
            f"Only {100 * share:.0f} % of the paper of the first picture is seen in the second: "
            "all that is said holds for that part. Scan the whole of it, as in the first scan."
        )
    parts = unlike_parts(one, other, laid.seen, mm)
    if parts:
        x, y = parts[0].middle_px
        known = pair.before.um_per_px is not None
        where = (
            f"{x * mm:.0f} mm from the left and {y * mm:.0f} mm from the top"
            if known
            else f"{x * laid.shrink:.0f},{y * laid.shrink:.0f} px"
        )
        area = sum(part.area_mm2 for part in parts) / 100
        much = f"{area:.1f} cm2 of print" if known else "Part of the print"
        out.append(
            f"{much} in the first picture is not in the second, or otherwise there (the largest "
            f"part about {where} of the first picture): a hand, glare, a mend, or print that is "
            "gone. Look at it; paint out in both what is not the leaf, for colours and inks there "
            "are compared as if it were."
        )
    return out
