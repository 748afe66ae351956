"""The table of computations a page asks for: each row a registered method with the boxes that feed
it. A further computation is a row."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from quirewell.science.paper.adhesive import GRADES_MPAS
from quirewell.science.press.salts import SALTS
from quirewell.stages import (
    adhesives,
    creeping,
    damping,
    dosing,
    drying,
    folding,
    grading,
    ironing,
    outlooking,
    press_entry,
    pressing,
    reserving,
    treating_heat,
    typed,
    watering,
    weighing,
    worthing,
)
from quirewell.stages.cautions import HEAT, LIME_BATH

Parser = Callable[[str], Decimal]
PLAN, ITEM, STORE, FINISH, REJOIN = "plan", "item", "store", "finish", "rejoin"


SUBJECTS = (PLAN, ITEM, STORE, FINISH, REJOIN)


@dataclass(frozen=True, slots=True)
class Box:
    """One box of a form: ``kind`` line, lines, table (lines kept as they are), choice, bench (a
    choice the bench offers), file or picture; ``narrows``: may stay empty, and filling it narrows
    the answer; folded away behind the others.
    """

    name: str
    label: str
    hint: str = ""
    kind: str = "line"
    options: tuple[tuple[str, str], ...] = ()
    usual: str = ""
    parse: Parser | None = None
    narrows: bool = False


FILES = ("file", "picture")


@dataclass(frozen=True, slots=True)
class Working:
    """One computation: its method, whose it is, what it says of itself, its boxes and cautions."""

    key: str
    method: str
    subject: str
    title: str
    does: str
    boxes: tuple[Box, ...]
    button: str
    cautions: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    says: tuple[str, ...] = ()


_YES_NO = (("", "as the file says"), ("yes", "day first, 31/3"), ("no", "month first, 3/31"))
_GRADES = (("", "not known"), *((f"{mpas:g}", f"{mpas:g} mPa s") for mpas in GRADES_MPAS))
_LEAF = (("drained", "drained"), ("blotted", "blotted"))
_WARM = Box("temperature_c", "Temperature", "C, or 68 F", usual="20", parse=typed.temperature_c)
_PICKUP = Box(
    "pickup_g_per_g", "Pick-up you weighed, g/g", "(wet - dry) / dry", parse=typed.number,
    narrows=True,
)  # fmt: skip
_STORES = (
    Box("store_before", "Where it was kept", "21 C, 55 %"),
    Box("store_after", "Where it will be kept", "17 C, 45 %"),
)

_ROWS = (
    Working(
        "dose", dosing.METHOD, PLAN, "Which bath",
        "Baths beside each other for a reserve, the gentlest that reaches it first. Judged on the "
        "low end of the band.",
        (
            Box(
                "aim", "Aim", kind="choice",
                options=(
                    ("small reserve", "neutral, and a small reserve"),
                    ("permanent", "0.4 mol/kg of new permanent paper, with its harm"),
                ),
            ),
            _WARM,
            Box("litres", "Litres in the bath", usual="4", parse=typed.number),
            Box("minutes_per_wrap", "Minutes in each", usual="15", parse=typed.minutes),
            Box("wrap_mass_g", "Dry paper in at once, g", "two wraps count together", usual="4.7",
                parse=typed.number),
            Box("leaf", "A wrap leaves it", kind="choice", options=_LEAF),
            _PICKUP,
            Box("acid_mol_per_kg", "Acid of the paper, mol/kg", "titrated on like paper",
                parse=typed.number, narrows=True),
            Box("wanted_mol_per_kg", "Another reserve, mol/kg", "0.04 is 0.2 % CaCO3",
                parse=typed.number, narrows=True),
        ),
        "Compare the baths", LIME_BATH, says=("dose.says",),
    ),
    Working(
        "grade", grading.METHOD, PLAN, "What the damage leaves of it",
        "A grade estimated from the damage, on the ten-point scale or your own, by rules anyone "
        "can change; whoever grades looks with other eyes.",
        (
            Box("defects", "Damage, a row each", "code, location, extent, u, unit, note; begun "
                "with what was noted; none where nothing was found", kind="table"),
            Box("rules", "Own rows of rules", "laid over the built-in ones", kind="table",
                narrows=True),
            Box("scale", "An own scale", "value, words", kind="table", narrows=True),
            Box("adding", "Several kinds of damage", "ten trifles weigh less by root",
                kind="choice", options=(("", "add up"), ("root", "by the root of their squares")),
                narrows=True),
            Box("returns", "Grades that came back", "item, returned, and the damage noted before",
                kind="table", narrows=True),
        ),
        "Estimate it", says=("condition.says",),
    ),
    Working(
        "water", watering.METHOD, PLAN, "Wash water and hydrogen carbonate",
        "What water over chalk, or a hydrogen carbonate under its gas, really holds.",
        (
            _WARM,
            Box(
                "gas", "Carbon dioxide", kind="choice",
                options=(("air", "room air"), ("none", "kept from air"),
                         ("1", "under the gas, 1 atm"), ("0.1", "0.1 atm")),
            ),
            Box("mg_mol_per_kg", "Magnesium instead of chalk, mol/kg", "0 to 0.2",
                parse=typed.number, narrows=True),
            Box("leaf", "A wrap leaves it", kind="choice", options=_LEAF),
            _PICKUP,
        ),
        "Work out the water", watering.CAUTIONS, says=("water.effect",),
    ),
    Working(
        "worth", outlooking.METHOD, PLAN, "What it would be worth",
        "A pH that could be reached and another store, as a ratio of lives, before anything is "
        "done.",
        (
            Box("ph_before", "pH now", "surface strip 5.5 @ 21, or cold extract 5.1"),
            Box("ph_after", "pH that treatment may reach", "cold extract 8"),
            *_STORES,
        ),
        "Work out what it would be worth", says=("outlook.says", "outlook.words"),
    ),
    Working(
        "weigh", weighing.METHOD, PLAN, "What to do with it, or whether to leave it alone",
        "Leaving it alone, pressing, a partial and a full treatment beside each other: what each "
        "gains, may lose, asks, risks and leaves. Its damage is taken from the estimate above. "
        "Type what it would bring as it lies; the rest may stay empty.",
        (
            Box("low", "It would bring at least", "as it lies"),
            Box("likely", "Most likely", "60, 100, 200 is enough to begin"),
            Box("high", "At most"),
            Box("hour", "An hour is worth", "25, or 20/25/40 where you are unsure"),
            Box("currency", "Money is in", "one word, such as crowns"),
            Box("aim", "What is sought", kind="choice",
                options=(("", "gain"), ("permanence", "permanence: no money in it"),
                         ("both", "permanence that does not lose money"))),
            Box("options", "Your own options, a table",
                "header option, kind, steps, hours, materials and so on; least/likeliest/most, as "
                "in 2/4/10; a row of a shipped name changes it, kind off leaves it out",
                kind="table", narrows=True),
            Box("per_grade_pct", "A point of grade changes the price by, %",
                "20/30/50; taken from your sales where they tell it", narrows=True),
            Box("sales", "Your own sales of it", "from the books: date, grade, price",
                kind="table", narrows=True),
            Box("item", "Its name in that table", narrows=True),
            Box("rates", "Rates of other currencies", "a table: currency, in, rate",
                kind="table", narrows=True),
            Box("prices", "Or averages by grade", "3: 80; 4: 140; 5: 210", kind="lines",
                narrows=True),
            Box("spread_log", "Scatter of one sale about them", "in the logarithm, 0.3; 0 for "
                "none", narrows=True),
            Box("value_now", "Worth now, if you know it", "instead of least, likely, most",
                narrows=True),
            Box("value_u", "Give or take", narrows=True),
            Box("life", "Life after full treatment, as a ratio", "2.1, or 2.1, 1.3, 3.2 with its "
                "band; from the outlook below where it was worked out", narrows=True),
            Box("overhead_pct", "Overhead on the work, %", narrows=True),
            Box("sale_fee_pct", "A sale costs, % of the price", narrows=True),
            Box("fee", "A grading service's fee", "where it is to be sent; then sending it as it "
                "is stands among the options", narrows=True),
            Box("ceiling", "That fee holds up to a price of", narrows=True),
            Box("next_fee", "Above it the fee is", narrows=True),
            Box("per_item", "Post for it, there and back", narrows=True),
            Box("insurance_pct", "Insurance, % of what is declared", narrows=True),
            Box("declared", "Declared", "the middle price where empty", narrows=True),
            Box("wait_pct_per_week", "A week's waiting costs, %", narrows=True),
            Box("weeks", "Weeks until it is back", narrows=True),
            Box("caution", "An expected loss counts as much again, times", "0: not at all",
                narrows=True),
            Box("defects", "Damage, a row each", "as in the estimate above", kind="table",
                narrows=True),
            Box("grade", "Or the grade you would give it", "3.5, or 3/4/5", narrows=True),
            Box("rules", "Your own rules", kind="table", narrows=True),
            Box("scale", "Your own scale", kind="table", narrows=True),
            Box("returns", "Grades that came back", kind="table", narrows=True),
            Box("adding", "Kinds of damage add up", kind="choice",
                options=(("", "plainly"), ("root", "by the root of their squares")), narrows=True),
            Box("disclosures", "What must be told, your own rows", "step, buyer, service",
                kind="table", narrows=True),
        ),
        "Weigh them", says=("options.says",),
    ),
    Working(
        "paste", adhesives.METHOD, ITEM, "Paste for the mends",
        "What to weigh, how thick it gets (an order of magnitude), and what a mend adds to a leaf.",
        (
            Box("kind", "Adhesive", kind="choice",
                options=tuple((name, name) for name in adhesives.KINDS)),
            Box("by", "The per cent is", kind="choice",
                options=(("", "choose"), ("w/w", "by mass in mass (w/w)"),
                         ("w/v", "grams in 100 mL (w/v)"))),
            Box("strength_pct", "Strength, %", "2.5 methyl cellulose, 12.5 paste",
                parse=typed.number),
            Box("mends", "Mends", usual="10", parse=typed.number),
            Box("length_cm", "Length of each, cm", usual="5", parse=typed.number),
            Box("width_mm", "Width, mm", usual="8", parse=typed.number),
            Box("ml_each", "Adhesive for each, mL", usual="0.5", parse=typed.number),
            Box("tissue_g_m2", "Tissue, g/m²", usual="3.5", parse=typed.number),
            Box("leaf_g", "The wrap, g", usual="4.7", parse=typed.number),
            Box("grade", "Methyl cellulose grade", "at 2 %, as the jar says", kind="choice",
                options=_GRADES, narrows=True),
            Box("wet_film_um", "Wet film on coated tissue, um", parse=typed.number, narrows=True),
        ),
        "Work out the batch",
    ),
    Working(
        "dry", drying.METHOD, ITEM, "Drying a washed wrap",
        "How long before it must be under restraint, blotters and when to change them, the rack.",
        (
            Box("wet_g_g", "Water in it, g a gram", "(wet - dry) / dry", usual="1.9",
                parse=typed.number),
            Box("sheet_g_m2", "Its weight, g/m²", usual="52.7", parse=typed.number),
            Box("temperature_c", "The room", "C, or 68 F", usual="20", parse=typed.temperature_c),
            Box("rh_pct", "Its humidity, %", usual="50", parse=typed.number),
            Box("fan", "Air", kind="choice", options=(("", "still"), ("yes", "a fan over it"))),
            Box("air_m_s", "Its speed, m/s", "if you can measure it; 1 is a light fan",
                parse=typed.number, narrows=True),
            Box("faces", "Faces that dry", kind="choice",
                options=(("2", "both, on a rack"), ("1", "one, on a support")), narrows=True),
            Box("blotter_g_m2", "A blotter's weight, g/m²", usual="300", parse=typed.number,
                narrows=True),
            Box("press_c", "In a warm press, its platens", "°C, at most 65 °C; empty for none",
                parse=typed.temperature_c, narrows=True),
            Box("width_mm", "Page width, mm", usual="184", parse=typed.number, narrows=True),
            Box("height_mm", "Page height, mm", usual="260", parse=typed.number, narrows=True),
        ),
        "Work out the drying", drying.CAUTIONS, says=("dry.says",),
    ),
    Working(
        "creep", creeping.METHOD, REJOIN, "Creep: widths from wrap to wrap",
        "Whether all wraps are of one cut, and where each reading edge will stand once folded.",
        (
            Box("widths", "Flat widths, a line each", "wrap, width_mm; or left_mm and right_mm "
                "from the fold; taken from the scans where there are any", kind="table"),
            Box("leaf_mm", "A leaf, mm", "ten together, divided by ten", parse=typed.number,
                narrows=True),
            Box("cover_mm", "Cover, mm", "0.12", parse=typed.number, narrows=True),
            Box("before", "The same before treatment", "shows what the wash did", kind="table",
                narrows=True),
            Box("steps", "Steps of the fore-edge, a line each", "leaf, depth_mm back from a "
                "straight edge", kind="table", narrows=True),
            Box("leaves", "Leaves in all", "without the cover, for the steps", parse=typed.number,
                narrows=True),
        ),
        "Draw the line through them", says=("creep.says",),
    ),
    Working(
        "fold", folding.METHOD, REJOIN, "Roll, and where the fold should lie",
        "How front and back overhang can be split, how far each fold is worked and which way, and "
        "how far the old crease then lies from the new fold.",
        (
            Box("front_now_mm", "Front overhang, mm", "folded once without pressing; minus where "
                "it stands back", parse=typed.number),
            Box("back_now_mm", "Back overhang, mm", parse=typed.number),
            Box("choice", "Fold it", kind="choice",
                options=(("", "as advised"), *folding.CHOICES.items())),
            Box("bevel_mm", "Bevel across the fore-edge, mm", "how far it leans; front out is plus",
                parse=typed.number),
            Box("leaves", "Leaves in all", "without the cover", parse=typed.number),
            Box("widths", "Half widths, a line each", "wrap, left_mm, right_mm; taken from the "
                "scans where there are any", kind="table", narrows=True),
            Box("flat_cover_mm", "Flat cover's width, mm", parse=typed.number, narrows=True),
            Box("block_mm", "Outermost wrap, fold to edge, mm", parse=typed.number, narrows=True),
            Box("crease_mm", "Old crease from the front edge, mm", parse=typed.number,
                narrows=True),
            Box("ask_front_mm", "Front overhang you want, mm", parse=typed.number, narrows=True),
            Box("ask_back_mm", "Back overhang you want, mm", parse=typed.number, narrows=True),
            Box("thickness_mm", "Closed block's thickness, mm", parse=typed.number, narrows=True),
            Box("front_after_mm", "Front overhang after folding, mm", "to check it",
                parse=typed.number, narrows=True),
            Box("back_after_mm", "Back overhang after folding, mm", parse=typed.number,
                narrows=True),
            Box("roll_after_mm", "Bevel after folding, mm", parse=typed.number, narrows=True),
            Box("head", "Photograph of the head", "instead of a bevel: the closed pamphlet level, "
                "on a ground of another tone, its fore-edge in the middle", kind="picture",
                narrows=True),
            Box("fore_edge", "In it the fore-edge lies", kind="choice",
                options=(("", "on the right"), ("left", "on the left")), narrows=True),
            Box("front_up", "In it the front cover is", kind="choice",
                options=(("", "up"), ("no", "down")), narrows=True),
        ),
        "Work out the fold", folding.CAUTIONS, first=folding.BEFORE, says=("fold.says",),
    ),
    Working(
        "chamber", damping.METHOD, FINISH, "Humidity chamber",
        "Hours until it is damp through, open, fanned or closed; the water that takes; what to "
        "watch.",
        (
            Box("rh_pct", "Humidity held, %", "or a salt below", usual="95", parse=typed.number),
            Box("salt", "Held by a salt instead", "its slurry in a wide tray", kind="choice",
                options=(("", "none: wet blotter or a tray"),
                         *((key, row.name) for key, row in SALTS.items()))),
            Box("temperature_c", "Temperature", "C, or 68 F", usual="20",
                parse=typed.temperature_c),
            Box("start_rh_pct", "Paper begins at, %", "the room's, after a week in it", usual="50",
                parse=typed.number),
            Box("wraps", "Wraps", usual="14", parse=typed.number),
            Box("wet_m2", "Wet area in it, m2", "a tray of 20 x 30 cm is 0.06", usual="0.06",
                parse=typed.number),
            Box("litres", "Its volume, L", usual="60", parse=typed.number),
            Box("leaf_g_m2", "A leaf, g/m²", usual="52.7", parse=typed.number, narrows=True),
            Box("width_mm", "Page width, mm", usual="184", parse=typed.number, narrows=True),
            Box("height_mm", "Page height, mm", usual="260", parse=typed.number, narrows=True),
            Box("room_c", "The room", "C, or 68 F", usual="20", parse=typed.temperature_c,
                narrows=True),
            Box("room_rh_pct", "The room's humidity, %", usual="50", parse=typed.number,
                narrows=True),
        ),
        "Work out the chamber", damping.CAUTIONS, says=("chamber.says",),
    ),
    Working(
        "press", pressing.METHOD, FINISH, "Inside the press",
        "Heat and moisture in the closed pamphlet, leaf by leaf, before anything is warmed.",
        (
            Box("above", "Above it, top to bottom", "a line each, millimetres if you know them",
                kind="lines", usual=press_entry.ABOVE),
            Box("below", "Below it, top to bottom", "blotter, card, thin board, wood, felt, "
                "release sheet, film, aluminium, granite", kind="lines", usual=press_entry.BELOW),
            Box("heat", "Heated from", kind="choice",
                options=(("above", "above"), ("below", "below"), ("both", "both sides"),
                         ("none", "not heated"))),
            Box("platen_c", "Platen", "°C, or 149 °F; at most 65 °C for damp paper", usual="65",
                parse=typed.temperature_c),
            Box("minutes", "Minutes", usual="15", parse=typed.minutes),
            Box("start_rh_pct", "Paper begins at, %", "80 from the chamber, 50 rested", usual="65",
                parse=typed.number),
            Box("centre", "In the centrefold", "thin board 0.5, or none", usual="thin board 0.5"),
            Box("wraps", "Wraps", usual="14", parse=typed.number),
            Box("cooling", "Then it cools", kind="choice",
                options=(("in place", "in the press, heat off"),
                         ("cold plates", "between cold plates"))),
            Box("mends", "Fresh mends", kind="choice",
                options=(("", "none"), ("yes", "yes, methyl cellulose")), narrows=True),
            Box("coated", "Coated cover", kind="choice", options=(("", "no"), ("yes", "yes")),
                narrows=True),
            Box("cover_mm", "Cover, mm", "0 for none", usual="0.12", parse=typed.number,
                narrows=True),
            Box("leaf_mm", "A leaf, mm", usual="0.085", parse=typed.number, narrows=True),
            Box("leaf_g_m2", "A leaf, g/m²", usual="52.7", parse=typed.number, narrows=True),
            Box("room_c", "The room", "C, or 68 F", usual="20", parse=typed.temperature_c,
                narrows=True),
            Box("room_rh_pct", "The room's humidity, %", usual="50", parse=typed.number,
                narrows=True),
            Box("known", "Your press", "as a dummy calibrated it", kind="bench", narrows=True),
            Box("weight_kg", "Weight on it, kg", "narrows how boards touch metal and stone",
                parse=typed.number, narrows=True),
            Box("schedule", "A platen that warms up, a line each", "0 min 20 C, then 6 min 65 C",
                kind="lines", narrows=True),
            Box("hot_c", "Alarms begin above", "C, or 113 F", usual="45",
                parse=typed.temperature_c, narrows=True),
            Box("red_rh_pct", "Red above, %", usual="95", parse=typed.number, narrows=True),
            Box("amber_rh_pct", "Amber above, %", usual="85", parse=typed.number, narrows=True),
            Box("alarm_s", "Longer than, seconds", usual="60", parse=typed.number, narrows=True),
            Box("layers", "Your own materials, a line each",
                "old felt: 180 kg/m3, 0.045 W/mK, 3 times air, 4 mm", kind="lines", narrows=True),
        ),
        "Look inside", HEAT, says=("press.says",),
    ),
    Working(
        "iron", ironing.METHOD, FINISH, "A hand iron over the fold",
        "How hot the fold gets, and what that costs. Dry paper only above 100 °C.",
        (
            Box("iron_c", "The iron", "C, or 250 F", usual="65", parse=typed.temperature_c),
            Box("seconds", "Seconds in one place", usual="5", parse=typed.number),
            Box("passes", "Passes", usual="3", parse=typed.number),
            Box("release_mm", "Release sheet, mm", "0 for none", usual="0.5", parse=typed.number),
            Box("leaves", "Leaves under it", usual="2", parse=typed.number),
            Box("rh_pct", "Paper's humidity, %", usual="50", parse=typed.number),
            Box("leaf_mm", "A leaf, mm", usual="0.085", parse=typed.number, narrows=True),
        ),
        "Work out the iron", HEAT, says=("iron.says",),
    ),
    Working(
        "price", worthing.METHOD, ITEM, "What it would bring",
        "From your own sales, with a band for one further sale; low, likely and high typed by hand "
        "are enough where there are few or none.",
        (
            Box("grade", "At which grade", "0.5 to 10", parse=typed.number),
            Box("low", "The least it would fetch", "hardly ever less", parse=typed.number),
            Box("likely", "The likeliest", parse=typed.number),
            Box("high", "The most", "hardly ever more", parse=typed.number),
            Box("currency", "Currency", "one for all of it"),
            Box("sales", "Sales, a row each", "begun with those of the books: date, grade, price, "
                "currency, fee, note, item", kind="table", narrows=True),
            Box("item", "Which item of the table", "its title; the others then tell only how price "
                "goes with grade and time", narrows=True),
            Box("rates", "Rates, where sales are in several currencies", "currency, rate, date, to",
                kind="table", narrows=True),
            Box("columns", "Columns of another table", "date=Sold on, price=3", narrows=True),
            Box("decimal", "Decimals have", kind="choice",
                options=(("", "as the table says"), ("point", "a point, 12.50"),
                         ("comma", "a comma, 12,50")), narrows=True),
            Box("day_first", "Dates are", kind="choice",
                options=(("", "as the table says"), *_YES_NO[1:]), narrows=True),
            Box("today", "As of the day", "2026-03-31", narrows=True),
        ),
        "Work out what it would bring", says=("worth.says",),
    ),
    Working(
        "reserve", reserving.METHOD, ITEM, "What is in the paper: pH and reserve",
        "Every pH that was read of the paper as one estimate, kept apart by how it was read; and "
        "the reserve of a scrap by back-titration.",
        (
            Box("ph", "pH readings, a line each", "surface strip 7.5 @ 21; above and below are "
                "readings too: surface strip above 9", kind="lines"),
            Box("titre", "Back-titration, a line each", "acid mL, acid mol/L, alkali mL, alkali "
                "mol/L, sample g: 20,0.1,12,0.1,1", kind="lines", narrows=True),
            Box("sample", "Of what was the sample", kind="choice",
                options=(("", "none was titrated"), ("scrap", "a loose scrap with no place to go "
                         "back to"), ("like paper", "like paper of no value")), narrows=True),
        ),
        "Draw the readings together", first=(reserving.ON_THE_OBJECT,),
    ),
    Working(
        "heat", treating_heat.METHOD, ITEM, "What its own heat and damp cost",
        "Press, iron and chamber as days at 20 °C and 50 % RH, summed over one wrap.",
        (
            Box("stays", "Warm and damp stays of one wrap, a line each",
                "68 C, 50 %, 15 min: pressed; leave the % out where the paper's damp is not known",
                kind="lines"),
        ),
        "Sum the stays", says=("heat.says",),
    ),
    Working(
        "store", outlooking.CLIMATE, STORE, "The store, by its logger",
        "Any logger's CSV: the mean of the rates (never the rate of the mean), season by season, "
        "and what 2 °C or 10 % RH less would buy.",
        (
            Box("log", "The logger's file", "CSV, any columns", kind="file"),
            Box("unit", "Temperature is in", kind="choice",
                options=(("", "as the file says"), ("C", "C"), ("F", "F")), narrows=True),
            Box("columns", "Its columns", "time, temperature, humidity: by name or number",
                narrows=True),
            Box("day_first", "Dates are", kind="choice", options=_YES_NO, narrows=True),
        ),
        "Read the log",
    ),
)  # fmt: skip
WORKINGS: Mapping[str, Working] = {row.key: row for row in _ROWS}
