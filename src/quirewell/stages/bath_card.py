"""The bath card in plain data: recipe, order of work, limits, what to read when, hazards.

One printed page that hangs beside the tray. Numbers come from the runs of ``bath.lime_water`` and,
where there is one, ``bath.ledger``; each is followed by how sure it is.
"""

from __future__ import annotations

from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.science.bath.constants import CONSTANTS
from quirewell.stages.asking import say
from quirewell.stages.bathing import air_loss_pct, how_to_make
from quirewell.stages.cautions import LIME_BATH, LOCAL_CODES, plain

LINES = 9
# Common practice, no source.
ORDER = (
    "Test every colour with this very bath, for as long as a wrap will lie in it. Staples out.",
    "Wet out: a wrap on its support goes through clean water with a little calcium first.",
    "Into the bath on its support, under the surface, air brushed out with a soft brush.",
    "Cover the tray. Time each wrap, and write the minutes down.",
    "Lift on the support, let it drain over the tray to the same count each time.",
    "Blot, and restrain it between blotters before it is half dry.",
    "Dry wholly before anything is mended, pressed or judged by colour.",
)
READ = (
    ("Before the first wrap", "temperature; pH with it; 10 mL of bath against acid, or drops"),
    ("Once for each kind of paper", "one wrap weighed dry, then drained: its pick-up"),
    ("Every third wrap", "10 mL against acid, or drops; the pH hides what is used up"),
    ("After the last wrap", "temperature, pH, 10 mL against acid; then throw the bath away"),
)
EXPOSURE = (
    "Air limits for calcium hydroxide dust: 15 mg/m3 in all and 5 mg/m3 that reaches the lungs (a "
    "legal limit of the United States, mean of a working day), 5 mg/m3 recommended. Weigh without "
    "draught, masked; rules where you work come first."
)


def bath_card(bath: Run, ledger: Run | None = None, title: str = "") -> dict[str, Any]:
    """Everything the card says, as text.

    Parameters
    ----------
    bath : Run
        A run of ``bath.lime_water``.
    ledger : Run, optional
        A run of ``bath.ledger`` for the same bath: when to change it.
    title : str
        What is treated.
    """
    by_name = {finding.quantity: finding for finding in bath.findings}
    strength, litres = (float(bath.params.get(key) or 1) for key in ("strength", "litres"))
    grams, held = (by_name[name].value or 0.0 for name in ("bath.caoh2_g", "bath.ca_mol_per_kg"))
    return {
        "title": title or "Lime-water bath",
        "recipe": [
            ["Strength", _strength(strength)],
            ["Volume", f"{litres:g} L at {float(bath.params.get('temperature_c') or 20):g} °C"],
            ["Calcium hydroxide held", _said(by_name["bath.caoh2_g"])],
            ["pH when fresh", _said(by_name["bath.pH"]) + ", read at that temperature"],
            ["Left in a leaf by one bath", _band(by_name["bath.reserve_pct_caco3"])],
        ],
        "how": how_to_make(strength, litres, grams),
        "order": list(ORDER),
        "limits": _limits(ledger, air_loss_pct(held, litres)),
        "read": [list(row) for row in READ],
        "columns": ["Wrap", "In at", "Minutes", "°C", "pH", "10 mL acid / drops", "Note"],
        "lines": LINES,
        "hazards": [row["says"] for row in plain(LIME_BATH) if row["to"] == "person"] + [EXPOSURE],
        "object": [row["says"] for row in plain(LIME_BATH) if row["to"] == "object"],
        "local_codes": LOCAL_CODES,
        "made": f"{bath.method}, version {bath.version}; database "
        f"{by_name['bath.database_sha256'].text[:12]}; ± gives about 95 %",
    }


def _limits(ledger: Run | None, lost_pct: str) -> list[str]:
    limit = CONSTANTS["permanent_reserve_pct"].value
    out = [
        f"An open tray of 0.2 m2 loses about {lost_pct} % of its alkali an hour to the air "
        "(within a factor of two, from memory): keep it covered.",
        f"The {limit:g} % of permanent paper cannot be reached with lime water; longer or stronger "
        "baths darken groundwood instead.",
    ]
    if ledger is not None:
        said = [one.text for one in ledger.findings if one.quantity == "bath.replace" and one.text]
        return said + out
    return [
        "No count of wraps was worked out: change the bath when 10 mL take half the acid they took "
        "when fresh, whatever the pH says.",
        *out,
    ]


def _strength(strength: float) -> str:
    return "saturated" if strength == 1 else f"{100 * strength:g} % of saturated"


def _said(finding: Finding) -> str:
    assert finding.value is not None
    return say(finding.value, finding.u, finding.unit)


def _band(finding: Finding) -> str:
    assert finding.value is not None
    low, high = finding.low90 or 0.0, finding.high90 or 0.0
    return f"about {finding.value:.2f} {finding.unit}, {low:.2f} to {high:.2f} with 90 %"
