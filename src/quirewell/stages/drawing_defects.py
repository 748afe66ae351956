"""Defects with a place drawn on a page: noted, changed, set aside; proposals answered. Commands.

A region comes as millimetres from the upper left corner of the page, whether it was drawn on a
picture or read off with a rule. Its extent is computed from it unless the person typed another.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from quirewell.record.codec import to_body
from quirewell.record.dealing import Answered
from quirewell.record.event import Draft
from quirewell.record.nouns import Defect, ItemState, Retract, check_place
from quirewell.record.regions import Region, read_region, write_region
from quirewell.record.shapes import MOST_POINTS, MOST_SHAPES
from quirewell.stages.page_frame import PageFrame, framed, page_size
from quirewell.stages.proposing import Proposal, proposed
from quirewell.stages.refusal import no
from quirewell.stages.region_extent import (
    POINT_U_MM,
    RULE_U_MM,
    corners_apart,
    crossing,
    extent_of,
)

# Paper may stand a little beyond its fitted edge, or run out askew.
_OUTSIDE_MM = 6.0
_KINDS = ("point", "line", "polygon")
# What an extent looks like that was computed here, as against one that a person typed.
_COMPUTED = re.compile(r" ± |^\d+ (spots?|places)$")
_SEVERITIES = ("slight", "moderate", "severe")


def note_drawn(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Note a defect with its place on ``page``, or change the one whose ``id`` the form carries;
    with ``proposal``, accept what the program proposed, as changed.

    Fields: ``page``, ``moment``, ``capture``, ``kind`` and ``points`` ("12.5,84 40,90", several
    shapes parted by ";", empty for a defect without a place), ``term`` or ``other_term``,
    ``extent`` (computed where empty), ``severity``, ``note``.

    Raises:
        Refusal: no term, points that are no region or lie off the page, a record set aside.
    """
    term = form.get("other_term", "").strip() or form.get("term", "").strip()
    if not term:
        raise no(form, "term", "Choose or write a word for the damage.")
    known = form.get("id", "")
    held = state.defects.get(known)
    if known and held is None:
        raise no(form, "term", "This defect was set aside meanwhile; note it anew.")
    meant = _asked(state, form) if form.get("proposal") else None
    page, capture = _page(form), form.get("capture", "")
    if capture and capture not in state.captures:
        raise no(form, "points", "That picture is not in this item (any more); choose another.")
    frame = framed(state, page, state.captures[capture]).frame if capture else None
    region = _region(form)
    if region is not None and (meant is None or region != meant.region):
        _check_shapes(form, region)
        _check_on_page(state, form, region, frame)
    point_u, share = _doubt(region, frame, meant)
    extent = form.get("extent", "").strip()
    if held is not None and _outdated(held, extent, term, region):
        extent = ""
    if not extent and region is not None:
        if meant is not None and (term, region) == (meant.term, meant.region):
            extent = meant.extent
        else:
            extent = extent_of(term, region, point_u, share, _area(state, frame))
    defect = Draft(
        state.id,
        "defect.noted",
        to_body(
            _defect(
                form,
                id=known or f"defect-{state.version + 1}",
                place=page,
                term=term[:80],
                extent=extent[:200],
                severity=_one_of(form, "severity", _SEVERITIES, "moderate"),
                moment=_one_of(form, "moment", ("before", "after"), "before"),
                capture=capture,
                note=form.get("note", "").strip()[:400],
                region=write_region(region) if region else "",
                u_mm=None if region is None else _placed_u(region, frame, point_u),
                proposal=meant.id if meant else held.proposal if held else "",
            )
        ),
    )
    if meant is None:
        return (defect,)
    answer = Answered(meant.id, "accepted", str(defect.body["id"]))
    return (Draft(state.id, "proposal.answered", to_body(answer)), defect)


def accept(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Take a proposal over as it stands: the answer, and the defect it makes.

    Raises:
        Refusal: it is not proposed (any more).
    """
    meant = _asked(state, form)
    region = meant.region
    return note_drawn(
        state,
        {
            "proposal": meant.id,
            "page": meant.page,
            "moment": meant.moment,
            "capture": meant.capture,
            "term": meant.term,
            "kind": region.kind,
            "points": write_region(region).partition(" ")[2],
            "severity": form.get("severity", ""),
            "note": form.get("note", ""),
        },
    )


def reject(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Say that a proposal is no defect; it is not offered again. A note may say what it is.

    Raises:
        Refusal: it is not proposed (any more).
    """
    meant = _asked(state, form)
    answer = Answered(meant.id, "rejected", "", form.get("note", "").strip()[:400])
    return (Draft(state.id, "proposal.answered", to_body(answer)),)


def offer_again(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Take a rejection back: the proposal is offered again, as long as the picture shows it.

    Raises:
        Refusal: it was not rejected.
    """
    known = form.get("proposal", "")
    held = state.answered.get(known)
    if held is None or held.answer != "rejected":
        raise no(form, "proposal", "That was not rejected (any more).")
    reason = form.get("reason", "").strip()[:400] or "to be looked at again"
    return (Draft(state.id, "record.retracted", to_body(Retract(known, reason))),)


def set_aside(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Set a defect aside; one that was proposed is then not offered again either.

    Raises:
        Refusal: there is no such defect.
    """
    held = state.defects.get(form.get("id", ""))
    if held is None:
        raise no(form, "id", "That defect is already set aside.")
    aside = Draft(
        state.id,
        "record.retracted",
        to_body(Retract(held.id, form.get("reason", "").strip()[:400])),
    )
    if not held.proposal:
        return (aside,)
    answer = Answered(held.proposal, "rejected", "", "set aside after it was accepted")
    return (Draft(state.id, "proposal.answered", to_body(answer)), aside)


def _outdated(held: Defect, extent: str, term: str, region: Region | None) -> bool:
    """Whether the extent left in the form was computed from a place or word that changed now."""
    same = held.term == term and read_region(held.region) == region
    return extent == held.extent and not same and bool(_COMPUTED.search(extent))


def _asked(state: ItemState, form: Mapping[str, str]) -> Proposal:
    meant = proposed(state, form.get("proposal", ""))
    if meant is None:
        says = "This is not proposed any more: it was answered, or the picture was measured anew."
        raise no(form, "proposal", says)
    return meant


def _page(form: Mapping[str, str]) -> str:
    page = form.get("page", "")
    try:
        check_place(page)
    except ValueError as error:
        raise no(form, "term", f"{error}.") from error
    if page.count(".") != 2:
        raise no(form, "term", f"Name one page, as w03.outer.left; got {page[:40]!r}.")
    return page


def _region(form: Mapping[str, str]) -> Region | None:
    points = " ".join(form.get("points", "").split())
    if not points:
        return None
    kind = form.get("kind", "")
    if kind not in _KINDS:
        raise no(form, "kind", "Say whether the points are a point, a line or an area.")
    if points.count(",") > MOST_POINTS * MOST_SHAPES:
        says = f"{points.count(',')} points were sent; an outline has at most {MOST_POINTS}."
        raise no(form, "points", says)
    if kind == "point":
        points = "; ".join(points.replace(";", " ").split())
    try:
        region = read_region(f"{kind} {points}")
    except ValueError as error:
        says = f"{str(error)[:1].upper()}{str(error)[1:]}.".replace("polygon", "outline")
        raise no(form, "points", says) from error
    return region


def _check_shapes(form: Mapping[str, str], region: Region) -> None:
    for number, shape in enumerate(region.shapes, 1):
        where = f" of part {number}" if len(region.shapes) > 1 else ""
        if region.kind == "line" and not corners_apart(shape):
            says = f"Two points of the line{where} are the same; take one back."
            raise no(form, "points", says)
        if region.kind == "polygon" and (crossed := crossing(shape)):
            says = (
                f"The outline{where} crosses itself after points {crossed[0]} and {crossed[1]}; "
                "its area would be wrong. Set the points in order round the damage."
            )
            raise no(form, "points", says)


def _check_on_page(
    state: ItemState, form: Mapping[str, str], region: Region, frame: PageFrame | None
) -> None:
    width, height = page_size(state.gathering)
    if frame is not None:
        width, height = frame.width_mm or width, frame.height_mm or height
    points = [point for shape in region.shapes for point in shape]
    for number, (x, y) in enumerate(points, 1):
        low = min(x, y) < -_OUTSIDE_MM
        high = (width is not None and x > width + _OUTSIDE_MM) or (
            height is not None and y > height + _OUTSIDE_MM
        )
        if low or high:
            size = " by ".join(f"{one:.0f}" for one in (width, height) if one)
            says = (
                f"Point {number} ({x:g}, {y:g}) lies off the page"
                + (f", which is {size} mm" if size else "")
                + "; millimetres are counted to the right and down from its upper left corner."
            )
            raise no(form, "points", says)


def _doubt(
    region: Region | None, frame: PageFrame | None, meant: Proposal | None
) -> tuple[float, float]:
    """Standard uncertainty of a point against its neighbours [mm], and of the scale as a share."""
    if frame is None:
        return RULE_U_MM, 0.0
    if meant is not None and region == meant.region:
        return meant.point_u_mm, frame.share_u
    return POINT_U_MM, frame.share_u


def _placed_u(region: Region, frame: PageFrame | None, point_u: float) -> float:
    points = [point for shape in region.shapes for point in shape]
    u = point_u if frame is None else math.hypot(point_u, frame.u_mm(points))
    return round(u, 3)


def _area(state: ItemState, frame: PageFrame | None) -> float | None:
    width, height = page_size(state.gathering)
    if frame is not None:
        width, height = frame.width_mm or width, frame.height_mm or height
    return width * height if width and height else None


def _defect(form: Mapping[str, str], **values: object) -> Defect:
    try:
        return Defect(**values)  # type: ignore[arg-type]
    except ValueError as error:
        raise no(form, "points", f"{str(error)[:1].upper()}{str(error)[1:]}.") from error


def _one_of(form: Mapping[str, str], field: str, allowed: tuple[str, ...], otherwise: str) -> str:
    value = form.get(field, "") or otherwise
    if value not in allowed:
        raise no(form, field, f"{field} is one of {', '.join(allowed)}, got {value[:40]!r}.")
    return value
