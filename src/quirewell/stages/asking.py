"""Every number can be asked: what it is, how sure, from what, by which method, on whose word."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.stages.asking_trade import TRADE
from quirewell.stages.naming import place_words

NAMES = TRADE | {
    "leaf.width_mm": "Width of the paper",
    "leaf.height_mm": "Height of the paper",
    "leaf.loss_mm2": "Missing area",
    "leaf.area_mm2": "Area of the paper",
    "leaf.squareness_deg": "Out of square",
    "leaf.tears_seen": "Open tears",
    "stains.area_pct": "Stained share of the paper",
    "stains.seen": "Stains",
    "scale.um_per_px": "Scale of the picture",
    "creep.kappa_t_mm": "Creep from wrap to wrap",
    "creep.kappa": "Nesting factor",
    "creep.scatter_mm": "A wrap's width scatters by",
    "creep.width_mm": "Width of the outermost wrap, on the line",
    "creep.off_mm": "Wider (+) than the others leave room for",
    "creep.odd": "Off the line, times the scatter",
    "creep.front_mm": "Front reading edge stands out (+)",
    "creep.back_mm": "Back reading edge stands out (+)",
    "creep.roll_deg": "Roll by the fore-edge, front out (+)",
    "creep.vee_mm": "Creep left at the fore-edge, a leaf",
    "creep.step_mm": "Fold off its place, front out (+)",
    "creep.change_mm": "Change of creep since before",
    "creep.says": "Creep in a sentence",
    "fold.front_mm": "Front overhang",
    "fold.back_mm": "Back overhang",
    "fold.shift_mm": "The fold moves, front gains (+)",
    "fold.crease_mm": "Old crease from the new fold",
    "fold.total_mm": "Front and back overhang together",
    "fold.allowance_mm": "Goes round the spine",
    "fold.roll_deg": "Roll of the block, front out (+)",
    "fold.lead_mm": "The block's front beyond its back",
    "fold.off_mm": "Fold off where it was meant",
    "fold.front_now_mm": "Front overhang before folding",
    "fold.back_now_mm": "Back overhang before folding",
    "fold.front_after_mm": "Front overhang after folding",
    "fold.back_after_mm": "Back overhang after folding",
    "fold.lead_after_mm": "The block's front beyond its back, after",
    "fold.roll_change_mm": "Change of the roll",
    "fold.roll_seen_mm": "Smallest change of roll that would surely have been seen",
    "fold.move_mm": "Fold to be worked, front gains (+)",
    "fold.line_mm": "Line the old crease leaves, from the fold",
    "fold.says": "The fold in a sentence",
    "order.read": "Wraps placed by their page numbers",
    "order.faults": "Faults of the order",
    "order.told": "What there is to say of the order",
    "order.says": "The order",
    "tone.L": "Paper tone, lightness L*",
    "tone.a": "Paper tone, green to red a*",
    "tone.b": "Paper tone, blue to yellow b*",
    "tone.yellowness": "Yellowness of the paper",
    "tone.step": "Step of the paper-tone card",
    "tone.profile.decay_mm": "Reach of the browning from the edges",
    "tone.margin_db": "Margin more yellow than the centre, b*",
    "tone.centre_L": "Tone of the centre, lightness L*",
    "tone.centre_a": "Tone of the centre, green to red a*",
    "tone.centre_b": "Tone of the centre, blue to yellow b*",
    "tone.margin_L": "Tone of the margin, lightness L*",
    "tone.margin_a": "Tone of the margin, green to red a*",
    "tone.margin_b": "Tone of the margin, blue to yellow b*",
    "scale.source": "Where the scale comes from",
    "paper.dL": "Paper lighter (+) or darker (−), L*",
    "paper.da": "Paper redder (+) or greener (−), a*",
    "paper.db": "Paper yellower (+) or bluer (−), b*",
    "change.smallest_detectable_match_pct": "The same, by the matching of the pictures alone",
    "registration.points": "Points found in both pictures",
    "registration.agreeing_pct": "Points that agree on one fit",
    "paper.pH": "pH of the paper, as a cold extract would give it",
    "reserve.mol_acid_per_kg": "Alkali reserve, as acid it can take up",
    "reserve.pct_caco3": "Alkali reserve, as chalk",
    "bath.replace": "When to change the bath",
    "bath.replace_after_wrap": "Wraps before a fresh bath",
    "ledger.pH": "pH of the bath as the wrap leaves it",
    "ledger.alkalinity_mol_per_kg": "Alkali in the bath",
    "ledger.reserve_pct_caco3": "Reserve left in the wrap, as chalk",
    "ledger.reserve_mol_acid_per_kg": "The same, as acid it can take up",
    "ledger.ca_mol_per_kg": "Calcium in the bath",
    "ledger.carbonate_mol": "Chalk fallen out in the tray",
    "ledger.balance_error_mol": "What the books miss",
    "bench.pickup_g_per_g": "Pick-up of this paper on this bench",
    "bench.acid_mol_per_kg": "Acid of this paper",
    "bench.air_uptake": "Carbon dioxide the air gives the open tray",
    "dose.pH": "pH of the bath",
    "dose.one_bath_pct": "Reserve one bath leaves, as chalk",
    "dose.baths": "Baths needed",
    "dose.says": "Which bath",
    "outlook.ratio": "Life after by life before",
    "outlook.says": "In a sentence",
    "outlook.words": "In a sentence",
    "climate.rate_relative": "Ageing in this store, by 20 °C and 50 % RH",
    "climate.rate_at_mean": "The same at its mean climate",
    "outlook.by_ph": "Of that, by its pH",
    "outlook.by_store": "Of that, by its store",
    "climate.penalty_of_swings": "What its swings cost",
    "climate.two_cooler": "Life if 2 °C cooler",
    "climate.ten_drier": "Life if 10 % RH drier",
    "climate.mean_c": "Mean temperature",
    "climate.mean_rh_pct": "Mean humidity",
    "climate.hours": "Hours that the log holds",
    "heat.days": "Equivalent days",
    "heat.days_in_all": "Equivalent days in all",
    "press.t50_s": "Centre half-way to the platen",
    "press.centre_c": "Centre when heating ends",
    "press.lost_g_m2": "Water out while hot",
    "press.lost_pct": "The same, of what it held",
    "press.cool_u": "Water in the cover away from the heat",
    "press.start_u": "Water in each sheet before",
    "press.rh_max": "Dampest anywhere, of saturated air",
    "press.red_s": "Hot and almost dripping, seconds of the worst sheet",
    "press.amber_s": "Warm and damp, seconds of the worst sheet",
    "press.cool_s": "Until all is below 25 °C",
    "press.back_g_m2": "Water taken back while it cools",
    "press.dose_days": "Heat of it, as days at 20 °C and 50 % RH",
    "press.balance_error_rel": "Water gone astray in the computation",
    "press.alarm": "Alarm",
    "press.open_side": "Its cool side",
    "press.change": "What helps",
    "press.swap": "Changing boards before cooling",
    "iron.peak_c": "The leaf under it comes to",
    "iron.under_c": "The lowest leaf comes to",
    "iron.dose_days": "Heat of it, as days at 20 °C and 50 % RH",
    "chamber.half_h": "Half of the way",
    "chamber.most_h": "Nine tenths of the way",
    "chamber.water_g": "Water into the paper",
    "chamber.flat_h": "First flat or fanned",
    "chamber.folded_h": "Then gently folded",
    "chamber.supply_h": "The wet area needs",
    "chamber.rh_pct": "Humidity held",
    "chamber.mould_h": "Mould might begin after",
    "chamber.margin_k": "A wall drips when cooler by",
    "chamber.lid_min": "The lid opened once costs",
    "dry.restrain_min": "Under restraint within",
    "dry.rack_min": "Dry on the rack",
    "dry.rate_g_m2_h": "Drying from each face",
    "dry.surface_c": "Its wet surface",
    "dry.press_min": "Nine tenths of what blotters take, in a press",
    "dry.changes": "Sets of dry blotters",
    "dry.after_change_pct": "Water when it comes out",
    "dry.width_change_mm": "Width afterwards",
    "dry.height_change_mm": "Height afterwards",
    "rejoin.rms_mm": "Holes off their places (rms)",
    "rejoin.max_mm": "The farthest hole off its place",
    "rejoin.outside_slack": "Holes farther off than their slack",
    "rejoin.dx_mm": "Shift to the right, outer side up",
    "rejoin.dy_mm": "Shift towards the tail",
    "rejoin.turn_mrad": "Turn, clockwise with the outer side up",
    "rejoin.edge_excess_mm": "Worst corner off the cover's head or tail",
    "rejoin.flags": "Look at",
    "rejoin.says": "In a sentence",
    "water.pH": "pH of the water",
    "water.ca_mol_per_kg": "Calcium",
    "water.mg_mol_per_kg": "Magnesium",
    "water.caco3_mg_per_kg": "Calcium, as chalk",
    "water.alkalinity_mol_per_kg": "Alkali in the water",
    "water.reserve_pct_caco3": "Reserve one bath leaves, as chalk",
    "water.effect": "What it does",
    "adhesive.dry_g": "Dry adhesive to weigh",
    "adhesive.water_g": "Water",
    "adhesive.made_ml": "Makes",
    "adhesive.other_way_pct": "The same strength, said the other way",
    "adhesive.coated_g_m2": "Adhesive on coated tissue, dry",
    "adhesive.load_pct": "What the mends add to the wrap",
    "adhesive.water_mg_per_cm": "Water a mend brings to the paper",
    "adhesive.viscosity_mpas": "How thick it gets",
    "bath.pH": "pH of the bath",
    "bath.ca_mol_per_kg": "Calcium",
    "bath.caoh2_g_per_kg": "Calcium hydroxide in a kilogram",
    "bath.caoh2_g": "Calcium hydroxide in the bath",
    "bath.ca_ppm": "Calcium by mass",
    "bath.reserve_pct_caco3": "Expected reserve in a leaf, as chalk",
    "bath.reserve_mol_acid_per_kg": "The same, as acid it can take up",
    "bath.effect": "What it does",
    "bath.solver": "Computed with",
    "bath.database_sha256": "Database, by its hash",
    "field.rms_um": "Bend beyond an even stretch, sheet and scanner together (rms)",
    "paper.raw_dL": "Paper lighter (+) or darker (−) as scanned, L*",
    "light.dL": "Of that, by the light or exposure, L*",
    "scanner.dL": "Of that, by the scanner’s own curve and colours, L*",
    "exposure.before_dL": "Grey steps in the before scan, L* read less known",
    "exposure.after_dL": "Grey steps in the after scan, L* read less known",
    "change.width_pct": "Change of width",
    "change.height_pct": "Change of height",
    "change.smallest_detectable_pct": "Smallest change that would surely have been seen",
    "paper.dE00": "Colour difference of the paper (CIEDE2000)",
    "registration.residual_um": "How well the two pictures lie on each other",
    "verdict": "Verdict",
}

_INK_NAMES = {
    "dE00": "its own change, the paper's taken out (CIEDE2000)",
    "seen_dE00": "change as seen, paper included (CIEDE2000)",
    "own_dL": "its own change of lightness L*, the paper’s taken out",
    "own_dC": "its own change of strength of colour C*, the paper’s taken out",
    "own_dH": "its own change of hue, as a distance, the paper’s taken out",
    "bleed_dE00": "paper beside it against paper farther off (CIEDE2000)",
    "area_mm2": "area looked at",
    "places": "places looked at",
    "verdict": "verdict",
    "L_before": "lightness L* before", "L_after": "lightness L* after",
    "a_before": "green to red a* before", "a_after": "green to red a* after",
    "b_before": "blue to yellow b* before", "b_after": "blue to yellow b* after",
}  # fmt: skip
CHANGES = (
    "change.width_pct", "change.height_pct", "paper.dL", "paper.da", "paper.db",
    "exposure.before_dL", "exposure.after_dL", "paper.raw_dL", "light.dL", "scanner.dL",
    "evidence.change", "evidence.without_flagged", "evidence.by_leaf", "evidence.by_wrap",
)  # fmt: skip

# Expanded uncertainty for people: k = 2, about 95 % (jcgm100 6.3.3).
K95 = 2.0
PLUS_MINUS_SAYS = "± gives about 95 % (twice the standard uncertainty)"


@dataclass(frozen=True, slots=True)
class Asked:
    """A finding in words, with everything that can be asked about it."""

    quantity: str
    name: str
    subject: str
    said: str
    value: float | None
    unit: str
    spread: str
    smallest_seen: str
    method: str
    kind: str
    inputs: tuple[str, ...]
    params: tuple[tuple[str, str], ...]
    terms: tuple[tuple[str, str, str], ...]
    standing: str
    sources: tuple[str, ...]
    note: str
    id: str


def places_for(u: float) -> int:
    """Decimal places [-] that show two figures of an uncertainty ``u``.

    >>> places_for(0.123), places_for(4.2), places_for(870.0)
    (2, 1, 0)
    """
    if not (math.isfinite(u) and u > 0):
        return 2
    return max(0, 1 - math.floor(math.log10(u)))


def number_text(value: float, u: float | None = None) -> str:
    """Value ± expanded uncertainty, both to two figures of it; the one rule for people's eyes.

    People read "±" as a range that holds the truth, so it is K95 times the standard
    uncertainty ``u``, about 95 % (``jcgm100`` 6.3.3, 7.2.2, 7.2.6). JSON keeps ``u``.

    >>> number_text(265.3127, 0.0715)
    '265.31 ± 0.14'
    >>> number_text(36.0), number_text(0.364584)
    ('36', '0.36')
    >>> number_text(-0.0004, 0.1)
    '0.00 ± 0.20'
    """
    if u is None or u <= 0:
        return _bare(value).replace("-", "\u2212")
    spread = K95 * u
    places = 1 - math.floor(math.log10(spread))
    shown = max(0, places)
    near = round(value, places) + 0.0  # no "-0.00": a change that rounds to nothing has no sign
    text = f"{near:.{shown}f} ± {round(spread, places):.{shown}f}"
    return text.replace("-", "\u2212")


def band_text(value: float, low: float, high: float) -> tuple[str, str, str]:
    """A value and the ends of its band, all to two figures of the band's half width.

    >>> band_text(16.58, 7.5, 42.5), band_text(1.094, 1.068, 1.131)
    (('17', '8', '42'), ('1.094', '1.068', '1.131'))
    """
    half = (high - low) / 2
    if not half > 0:
        return _bare(value), _bare(low), _bare(high)
    places = max(0, 1 - math.floor(math.log10(half)))
    middle, bottom, top = (
        f"{round(one, places) + 0.0:.{places}f}".replace("-", "\u2212")
        for one in (value, low, high)
    )
    return middle, bottom, top


def _bare(value: float) -> str:
    """A number whose uncertainty is not told: whole, or to two figures at most three digits."""
    if value == round(value):
        return f"{value:.0f}"
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.{2 if abs(value) < 10 else 3}g}"


def unit_text(unit: str) -> str:
    """Unit as written beside a number.

    >>> unit_text("mm2"), unit_text("1"), unit_text("pct")
    ('mm²', '', '%')
    """
    known = {
        "pH": "",
        "C": "°C",
        "d": "days",
        "mm2": "mm²",
        "1": "",
        "-": "",
        "pct": "%",
        "g/m2": "g/m²",
        "um": "µm",
        "um/px": "µm/px",
        "deg": "°",
    }
    return known.get(unit, unit)


def beside(number: str, unit: str) -> str:
    """A number with its unit beside it.

    >>> beside("195.0", "mm"), beside("8.2", "pH")
    ('195.0 mm', '8.2')
    >>> beside("1", "step"), beside("\u22122.0", "step")
    ('1 step', '\u22122.0 steps')
    """
    several = unit == "step" and number.lstrip("+-\u2212") != "1"
    return f"{number} {'steps' if several else unit_text(unit)}".strip()


def as_read(value: object, unit: str) -> str:
    """A value as it was read: a step of a card is a rank, no amount.

    >>> as_read("184.5", "mm"), as_read(6, "step")
    ('184.5 mm', 'step 6')
    """
    return f"step {value}" if unit == "step" else beside(str(value), unit)


def say(value: float, u: float | None, unit: str) -> str:
    """A measured value in words: number, uncertainty, unit."""
    return beside(number_text(value, u), unit)


def signed(quantity: str, said: str) -> str:
    """What was said, with its plus sign where the quantity is a change.

    >>> signed("change.width_pct", "0.11 ± 0.19 %"), signed("leaf.width_mm", "195.0 mm")
    ('+0.11 ± 0.19 %', '195.0 mm')
    >>> signed("change.width_pct", "0.00 ± 0.20 %")
    '0.00 ± 0.20 %'
    """
    if not said.split(" ")[0].strip("0."):
        return said
    change = quantity in CHANGES or ".cover." in quantity or ".own_d" in quantity
    change = change and not said.startswith("\u2212")
    return f"+{said}" if change else said


def quantity_name(quantity: str) -> str:
    """Plain name of a quantity; the dotted name when there is no plainer one.

    >>> quantity_name("ink.fine_print.cover.red_ink")
    'Paper that the red ink covers in fine print, after less before'
    >>> quantity_name("ink.red_ink.L_before")
    'Red ink: lightness L* before'
    """
    if quantity.startswith("ink.") and quantity.count(".") > 1:
        return _ink_name(quantity)
    return NAMES.get(quantity, quantity.replace(".", ", ").replace("_", " "))


def _ink_name(quantity: str) -> str:
    _, key, what = quantity.split(".", 2)
    ink = key.replace("_", " ")
    kind, _, of = what.partition(".")
    if kind == "cover":
        return f"Paper that the {of.replace('_', ' ')} covers in {ink}, after less before"
    return f"{ink.capitalize()}: {_INK_NAMES.get(what, what.replace('_', ' '))}"


def skewed(finding: Finding) -> bool:
    """Whether its 90 % band reaches much farther to one side: then "±" would say a falsehood."""
    if finding.value is None or finding.low90 is None or finding.high90 is None:
        return False
    down, up = finding.value - finding.low90, finding.high90 - finding.value
    return max(down, up) > 1.4 * max(min(down, up), 0.0)


def ask(finding: Finding, run: Run, state: ItemState) -> Asked:
    """Everything there is to ask about a finding of ``run``."""
    unit = finding.unit
    said = finding.text
    if finding.quantity.endswith("_sha256"):
        said = f"{said[:12]}…"
    spread = ""
    if finding.value is not None:
        said = signed(finding.quantity, say(finding.value, finding.u, unit))
        if finding.low90 is not None and finding.high90 is not None:
            middle, low, high = band_text(finding.value, finding.low90, finding.high90)
            spread = beside(f"{low} to {high}", unit)
            if skewed(finding):
                said = beside(f"{middle} ({low} to {high} with 90 %)", unit)
    smallest = "" if finding.smallest_seen is None else say(finding.smallest_seen, None, unit)
    return Asked(
        finding.quantity,
        quantity_name(finding.quantity),
        finding.subject,
        said,
        finding.value,
        unit,
        spread,
        smallest,
        f"{run.method}, version {run.version}",
        run.kind,
        tuple(_input_words(entry.role, entry.ref, entry.sha256, state) for entry in run.inputs),
        tuple(sorted(run.params.items())),
        tuple((term.name, say(term.u, None, unit), term.basis) for term in finding.terms),
        finding.standing,
        finding.sources,
        finding.note,
        finding.id,
    )


def ask_all(runs: Iterable[Run], state: ItemState) -> tuple[Asked, ...]:
    """Every finding of ``runs``, in their order."""
    return tuple(ask(finding, run, state) for run in runs for finding in run.findings)


def _input_words(role: str, ref: str, sha256: str, state: ItemState) -> str:
    capture = state.captures.get(ref)
    if capture is not None:
        where = place_words(capture.place) if capture.place else "unassigned"
        return f"{role}: {capture.filename} ({where}), sha-256 {sha256[:12]}…"
    if ref in state.readings:
        reading = state.readings[ref]
        read = as_read(reading.value, reading.unit)
        return f"{role}: reading {read} of {place_words(reading.place)}"
    return f"{role}: {ref}" if ref else role
