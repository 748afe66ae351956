"""What happened to the Annual at the Larkmoor paper bench, as a person would have typed it.

Every act is a form for one of the stages' commands, with the moment it was sent. The people,
places, makers and lots are invented; the figures typed are such as a home bench reads.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from quirewell.demo.foldside import ROLL_BEFORE_MM
from quirewell.demo.publication import HEIGHT_MM, WRAP_HALF_MM, WRAPS

BENCH = "Larkmoor paper bench"
COLD_WAY, WARM_WAY = "cold, one wrap at a time", "warm with surfactant, two wraps at a time"
COLD_WRAPS, WARM_WRAPS = "2 3 7 9", "1 4 6 8"  # as the lot of the trial fell (two_ways)
ACTOR = "I. Larkmoor"
ZONE = "UTC"
TITLE = "Copperbeck Garden Annual"

OPENED = "2026-03-02T18:05"
PHOTOGRAPHED = "2026-03-02T18:20"
SCANNED_BEFORE = "2026-03-04T18:10"
MEASURED_BEFORE = "2026-03-04T19:30"
SCANNED_AFTER = "2026-03-24T18:15"
MEASURED_AFTER = "2026-03-24T19:20"
REPORTED = "2026-04-02T19:00"

ITEM = {
    "title": TITLE,
    "year": "1936",
    "form": "stapled annual, nine wraps and a colour cover",
    "owner": "M. Thwaite, Fenwren",
    "notes": "Kept flat in a damp cupboard; stood in water once. Wanted: legible and safe to open, "
    "not made to look new.",
    "paper": "groundwood newsprint",
    "wraps": str(WRAPS),
    "cover": "yes",
    "staples": "2",
    "height_mm": str(HEIGHT_MM),
    "width_mm": str(WRAP_HALF_MM),
}


@dataclass(frozen=True, slots=True)
class Act:
    """A form sent at a moment (bench time) to a command, "module.function" of the stages."""

    at: str
    command: str
    form: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StepAct:
    """A step begun at one moment and finished at another."""

    start: str
    done: str
    kind: str
    places: str
    minutes: str
    note: str
    temperature: str = ""
    lots: str = ""
    bath: bool = False
    way: str = ""


def _defect(
    place: str, term: str, extent: str, severity: str, note: str = "", moment: str = "before"
) -> Act:
    form = {
        "place": place,
        "term": term,
        "extent": extent,
        "severity": severity,
        "note": note,
        "moment": moment,
    }
    return Act("2026-03-02T19:10", "noting.note_defect", form)


def _reading(at: str, place: str, quantity: str, value: str, moment: str, **more: str) -> Act:
    form = {"place": place, "quantity": quantity, "value": value, "moment": moment, **more}
    return Act(at, "treat.record_reading", form)


def _test(at: str, place: str, colour: str, liquid: str, result: str, note: str = "") -> Act:
    form = {
        "place": place,
        "colour": colour,
        "liquid": liquid,
        "result": result,
        "minutes": "30",
        "temperature": "19C",
        "note": note,
    }
    return Act(at, "treat.record_spot_test", form)


CONDITION = (
    _defect(
        "spine",
        "spine roll",
        f"whole length, about {ROLL_BEFORE_MM:g} mm at the fore-edge",
        "moderate",
    ),
    _defect("c", "spine split", "24 mm from the foot", "severe", "runs on into wraps 1 and 2"),
    _defect("w01", "spine split", "15 mm from the foot", "moderate"),
    _defect("w02", "spine split", "7 mm from the foot", "slight"),
    _defect("staples", "rusted staple", "both, brown through", "severe", "legs crumble at a touch"),
    _defect("w09.inner", "rust stain", "two spots of 5 mm at the staple holes", "moderate"),
    _defect("w01", "rust stain", "two spots of 5 mm at the staple holes", "moderate"),
    _defect("item", "tideline", "along the foot, 15 to 28 mm high", "moderate"),
    _defect("item", "tanned margin", "10 to 15 mm all round but the fold", "moderate"),
    _defect("c.outer.right", "loss", "lower fore-edge corner and chips", "moderate"),
    _defect("w01", "brittle edge", "fore-edge flakes when turned", "moderate"),
    Act(
        "2026-03-02T19:40",
        "noting.estimate_grade",
        {"moment": "before", "value": "3.5", "words": "complete, stained, rusty", "by": ACTOR},
    ),
)

MARGINS = (
    Act(
        "2026-03-04T18:40",
        "noting.lock_margin",
        {
            "quantity": "change.width_pct",
            "value": "0.5",
            "unit": "%",
            "reason": "a leaf 1 mm wider still lies inside its cover",
        },
    ),
    Act(
        "2026-03-04T18:42",
        "noting.lock_margin",
        {
            "quantity": "change.height_pct",
            "value": "0.5",
            "unit": "%",
            "reason": "the heads must stay level to the eye when nested again",
        },
    ),
    Act("2026-03-04T18:44", "margins.lock_presets", {"at": "2026-03-04T18:44:00Z"}),
)

_STRIP = {"method": "strip on the paper", "instrument": "pH strips 2 to 9, step 0.5"}

# What the scanner's corner is asked before the first scan: the strip's length, read three times
# against a steel rule under a loupe, and the room's humidity.
STRIP_READ = (
    _reading("2026-03-04T18:50", "item", "strip_length", "159.8 mm", "", resolution="0.1"),
    _reading("2026-03-04T18:52", "item", "strip_length", "159.8 mm", "", resolution="0.1"),
    _reading("2026-03-04T18:54", "item", "strip_length", "159.9 mm", "", resolution="0.1"),
    _reading("2026-03-04T18:58", "item", "humidity", "48 %", "before"),
)

READ_BEFORE = (
    _reading("2026-03-05T18:05", "item", "temperature", "19C", "before"),
    _reading("2026-03-05T18:20", "w01", "pH", "4.5 at 19C", "before", **_STRIP),
    _reading("2026-03-05T18:24", "w05", "pH", "5.0 at 19C", "before", **_STRIP),
    _reading("2026-03-05T18:28", "w09", "pH", "4.5 at 19C", "before", **_STRIP),
    _reading("2026-03-05T18:40", "w01", "mass", "5.1 g", "before"),
    _reading("2026-03-05T18:42", "w05", "mass", "5.2 g", "before"),
    _reading("2026-03-05T18:44", "c", "mass", "8.3 g", "before"),
    _reading("2026-03-05T18:50", "w05", "thickness", "0.09 mm", "before"),
    _reading("2026-03-05T18:55", "w05.outer.right", "tone_step", "8", "before"),
    _reading("2026-03-05T18:58", "w05.outer.right", "size", "194.5 x 265.0 mm", "before"),
)

TESTS = (
    _test("2026-03-06T18:10", "c", "red", "water", "slight", "a breath of pink on the blotter"),
    _test("2026-03-06T18:25", "c", "yellow", "water", "no change"),
    _test("2026-03-06T18:40", "c", "blue", "water", "no change"),
    _test("2026-03-06T18:55", "c", "black", "water", "no change"),
    _test("2026-03-06T19:10", "c", "red", "lime water 1:1", "bleeds", "the cover stays out of it"),
    *(
        _test(f"2026-03-07T10:{5 * wrap:02d}", f"w{wrap:02d}", "black", "lime water 1:1",
              "no change", "on the page number")
        for wrap in range(1, WRAPS + 1)
    ),
)  # fmt: skip

DRY_WORK = (
    StepAct(
        "2026-03-08T10:00", "2026-03-08T10:40", "staples-out", "item", "40",
        "Legs straightened from the inside; one broke. Kept in a labelled bag.",
        lots="labelled bag; ; two staples",
    ),
    StepAct(
        "2026-03-08T11:00", "2026-03-08T11:35", "rust-reduced", "c 1 9", "35",
        "Loose rust lifted dry with a bone point; the stain in the paper stays.",
    ),
    StepAct(
        "2026-03-09T18:30", "2026-03-09T20:30", "surface-clean", "all", "120",
        "Soft brush, then crumbs in the margins only; not over the pencil on page 12.",
        lots="vinyl eraser crumbs; E-07; 20 g",
    ),
)  # fmt: skip

WASHING = (
    StepAct(
        "2026-03-11T18:20",
        "2026-03-11T19:05",
        "wash",
        "c",
        "20",
        "Floated face up; taken off after 20 minutes when the blotter under the red showed pink.",
        temperature="19C",
        lots="water with a little calcium; tap, Larkmoor; 4 L",
        way=COLD_WAY,
    ),
    StepAct(
        "2026-03-12T18:10",
        "2026-03-12T20:00",
        "wash",
        COLD_WRAPS,
        "30",
        "One by one in the cold tray, changed once; the first water was tea-brown.",
        temperature="19C",
        lots="water with a little calcium; tap, Larkmoor; 8 L",
        way=COLD_WAY,
    ),
    StepAct(
        "2026-03-12T20:05",
        "2026-03-12T20:50",
        "wash",
        WARM_WRAPS,
        "20",
        "Two at a time, rinsed twice: the quick way, to be judged against the slow one.",
        temperature="32C",
        lots="water with a little calcium; tap, Larkmoor; 6 L\n"
        "photographic wetting agent; W-03; 1 mL",
        way=WARM_WAY,
    ),
)

DECIDED = (
    Act("2026-03-07T11:40", "working.keep_form",
        {"working": "dose", "aim": "small reserve", "temperature_c": "19C", "litres": "5",
         "minutes_per_wrap": "20", "wrap_mass_g": "5.1", "leaf": "drained"}),
    Act("2026-03-07T11:50", "working.keep_form",
        {"working": "worth", "ph_before": "surface strip 4.5 @ 19", "ph_after": "cold extract 8",
         "store_before": "21 C, 58 %", "store_after": "17 C, 48 %"}),
)  # fmt: skip

BATH = Act(
    "2026-03-13T18:00",
    "treat.mix_bath",
    {"strength": "1:1", "temperature_c": "19C", "litres": "5", "leaf": "drained",
     "note": "clear liquid drawn off after a night"},
)  # fmt: skip

BATH_READINGS = (
    _reading(
        "2026-03-13T18:15", "item", "pH", "12.4 at 19C", "before",
        method="electrode in the bath", note="before the first wrap", buffers="7.00, 10.01",
    ),
)  # fmt: skip

WET_WORK = (
    StepAct(
        "2026-03-13T18:30", "2026-03-13T20:20", "lime-bath", "wraps", "20",
        "Wraps only, on spun polyester, tray covered between them; the cover kept out.",
        temperature="19C", lots="calcium hydroxide; CH-2025-11; 8 g", bath=True,
    ),
    StepAct(
        "2026-03-13T20:25", "2026-03-15T10:00", "dry", "all", "2250",
        "Air to limp, then blotters and boards, blotters changed at 1, 3 and 12 hours.",
        lots="blotters; B-22; 40 sheets",
    ),
)  # fmt: skip

LEDGER_KEPT = "2026-03-15T10:05"

PASTE = (
    Act("2026-03-17T18:10", "working.keep_form",
        {"working": "paste", "kind": "methyl cellulose", "by": "w/w", "strength_pct": "2.5",
         "mends": "3", "length_cm": "26", "width_mm": "10", "ml_each": "1", "tissue_g_m2": "5",
         "leaf_g": "5.1"}),
)  # fmt: skip

MENDING = (
    StepAct(
        "2026-03-17T18:30",
        "2026-03-17T20:10",
        "guard",
        "c 1 2",
        "100",
        "Split folds joined from the inside; weight overnight.",
        lots="kozo tissue 5 g/m²; K-31; three strips\nmethyl cellulose 2.5 %; MC-09; 2 g",
    ),
    StepAct(
        "2026-03-18T18:00",
        "2026-03-18T19:00",
        "dry",
        "c 1 2",
        "900",
        "Mends dry under blotter and weight until morning.",
    ),
    Act(
        "2026-03-20T13:40",
        "working.keep_form",
        {
            "working": "chamber",
            "rh_pct": "90",
            "temperature_c": "19C",
            "start_rh_pct": "48",
            "wraps": str(WRAPS),
            "wet_m2": "0.3",
            "litres": "60",
        },
    ),
    StepAct(
        "2026-03-20T14:00",
        "2026-03-20T18:00",
        "humidify",
        "all",
        "240",
        "Fanned on a grid over wet blotter; looked at every hour, nothing offset.",
        temperature="19C",
    ),
    StepAct(
        "2026-03-20T18:10",
        "2026-03-20T18:40",
        "refold",
        "all",
        "30",
        "Along the old line, through a guard sheet.",
    ),
    StepAct(
        "2026-03-20T18:45",
        "2026-03-23T18:45",
        "press",
        "all",
        "4320",
        "Cold, single sheets between blotters, 6 kg over the board.",
        temperature="19C",
        lots="boards and blotters; ; 6 kg",
    ),
    StepAct(
        "2026-03-23T18:50",
        "2026-03-24T17:30",
        "dry",
        "all",
        "1360",
        "Between fresh blotters, light board, until the hygrometer in the pile stood still.",
    ),
)

PRESS_CALIBRATED = "2026-03-18T19:30"
# The closed Annual: what some benches do is looked at first, then what was done.
PRESS_PLANS = (
    ("2026-03-25T19:16",
     {"heat": "above", "platen_c": "68", "minutes": "15", "start_rh_pct": "80",
      "above": "aluminium\nthin board\nthin board\ncard",
      "below": "release sheet\nthin board\nthin board\naluminium", "coated": "yes"}),
    ("2026-03-25T19:18",
     {"heat": "above", "platen_c": "60", "minutes": "15", "start_rh_pct": "48",
      "above": "aluminium\nthin board\nrelease sheet\ncard",
      "below": "blotter\nblotter\nthin board\nthin board", "coated": "yes", "mends": "yes"}),
)  # fmt: skip
PRESSED = Act(
    "2026-03-25T20:20", "pressed.pressed",
    {"who": ACTOR, "note": "Closed, board in the centrefold; the fold set, then cold in the press.",
     "at": "2026-03-25T20:20:00Z"},
)  # fmt: skip  # fmt: skip

AIR_AFTER = (
    _reading("2026-03-24T18:02", "item", "temperature", "20C", "after"),
    _reading("2026-03-24T18:03", "item", "humidity", "48 %", "after"),
)

READ_AFTER = (
    _reading("2026-03-24T20:00", "w01", "pH", "8.0 at 20C", "after", **_STRIP),
    _reading("2026-03-24T20:04", "w05", "pH", "8.5 at 20C", "after", **_STRIP),
    _reading("2026-03-24T20:08", "w09", "pH", "8.0 at 20C", "after", **_STRIP),
    _reading("2026-03-24T20:20", "w01", "mass", "5.0 g", "after"),
    _reading("2026-03-24T20:22", "w05", "mass", "5.1 g", "after"),
    _reading("2026-03-24T20:30", "w05.outer.right", "tone_step", "6", "after"),
)

EVIDENCE = (Act("2026-03-24T20:40", "evidence.work_out", {}),)

JOINING = (
    StepAct(
        "2026-03-25T18:30", "2026-03-25T19:15", "staples-in", "item", "45",
        "New stainless staples through the old holes, marked as new in the fold; the old two go "
        "back to the owner.", lots="stainless staples; S-14; 2",
    ),
)  # fmt: skip

HOUSED = (
    StepAct(
        "2026-03-25T21:40", "2026-03-25T21:50", "house", "item", "10",
        "Sleeve with a buffered board; open at the top.", lots="polyester sleeve; P-02; 1",
    ),
)  # fmt: skip

WORTH = (
    Act("2026-03-26T18:05", "outlook_entry.keep_outlook",
        {"ph_before": "surface strip 4.5 @ 19", "ph_after": "surface strip 8.0 @ 20",
         "store_before": "21 C, 58 %", "store_after": "17 C, 48 %"}),
    Act("2026-03-26T18:07", "working.keep_form",
        {"working": "reserve", "ph": "surface strip 8.0 @ 20\nsurface strip 8.5 @ 20\n"
         "surface strip 8.0 @ 20"}),
)  # fmt: skip
STORE_READ = "2026-03-26T18:10"

AFTER = (
    Act(
        "2026-03-26T18:20",
        "noting.estimate_grade",
        {"moment": "after", "value": "4.5", "words": "clean, sound, restored", "by": ACTOR},
    ),
    *(
        Act("2026-03-26T18:30", "noting.note_remaining", {"place": place, "words": words})
        for place, words in (
            ("item", "Chips and lost corners are as they were; nothing was filled."),
            ("item", "The tideline is weaker but can still be seen at the foot."),
            ("c.outer.right", "The red of the cover is a little paler than before washing."),
            ("w09.inner", "The rust stains at the staple holes remain."),
            ("staples", "The staples are new; the old ones are kept apart."),
            ("spine", "A trace of the roll shows when the Annual lies open."),
        )
    ),
    Act(
        "2026-03-26T18:32",
        "afterwards_keep.ask_for_check",
        {"on": "2027-03-26", "note": "a year in its new store"},
    ),
)
