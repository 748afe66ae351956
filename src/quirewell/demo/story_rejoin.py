"""How the Annual was taken apart and put together at the Larkmoor bench, as a person typed it."""

from __future__ import annotations

from quirewell.demo.foldside import creep_form
from quirewell.demo.publication import WRAPS
from quirewell.demo.staple_holes import LEGS_MM
from quirewell.demo.story import Act
from quirewell.science.booklet.gathering import wrap_pages

HOLES_FOUND = "2026-03-24T19:40"
MATCHED = "2026-03-24T19:55"
LAID_FROM = "2026-03-25T17:30"
MINUTES_EACH = 5
# Folded once without pressing; looked at again when it came out of the press.
FIRST_FOLDED = "2026-03-25T18:20"
FOLD_CHECKED = "2026-03-25T21:30"


def _pages() -> dict[str, str]:
    """The page numbers as printed; one was too brown to read."""
    rows = {}
    for wrap in range(1, WRAPS + 1):
        made = wrap_pages(wrap, WRAPS)
        pages = [made.outer_left, made.outer_right, made.inner_left, made.inner_right]
        rows[f"pages.w{wrap:02d}"] = " ".join(map(str, pages))
    rows["pages.w01"] = rows["pages.w01"].replace("36 ", "? ", 1)
    return rows


TAKEN_APART = (
    Act("2026-03-09T20:42", "sheet_order.note_and_check", {
        **_pages(), "as_made": "yes",
        "note.w09": "centre wrap; stuck to wrap 8 at the upper staple by rust",
    }),
    *(
        Act(f"2026-03-09T20:4{4 + number}", "taking_apart.note_staple", {
            "number": str(number), "upper_mm": f"{LEGS_MM[2 * number - 2]:g}",
            "lower_mm": f"{LEGS_MM[2 * number - 1]:g}", "upper_leg_mm": "6", "wire_mm": "0.5",
            "crown": "outside", "legs": "folded inwards" if number == 1 else "broken",
            "rust": "heavy", "care": "replace",
            "note": "" if number == 1 else "lower leg broke off at a touch",
        })
        for number in (1, 2)
    ),
)  # fmt: skip


def measured_flat(seed: int) -> Act:
    """Every sheet measured flat before anything was wetted: are all wraps of one cut?"""
    return Act("2026-03-09T21:10", "working.keep_form", creep_form(seed))


MATCHING = (Act(MATCHED, "rejoining.match_holes", {}),)
