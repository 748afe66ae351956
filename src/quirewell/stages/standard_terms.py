"""General words for alterations of objects, with definitions of our own.

Each row of the rule table may carry one (``standard_term``), so that a condition record can be read
beside others. The choice of words follows the general vocabulary of conservation as CEN/TS 17135
and EN 15898 order it, aligned from memory; the standards are sold and their text was not checked.
The definitions are our own.
"""

from __future__ import annotations

from collections.abc import Mapping

STANDING = "aligned from memory, not checked against the text"
TERMS: Mapping[str, str] = {
    "abrasion": "surface worn off by rubbing",
    "adhesive residue": "adhesive, or what carried it, left on the surface or in it",
    "biological growth": "mould or other growth on or in the material",
    "corrosion": "metal turned into compounds by its surroundings",
    "crease": "line left by a sharp bend, its fibres broken or not",
    "deformation": "shape other than the intended one: rolled, cockled, folded over",
    "detachment": "parts that were joined and are so no longer",
    "discolouration": "colour other than before, darker, lighter or of another hue",
    "embrittlement": "material that breaks where it once bent",
    "fading": "colour grown weaker by light or air",
    "insect damage": "holes, grazing or soiling by insects or rodents",
    "loss": "part of the original that is missing",
    "mark": "writing, stamp or label added after issue",
    "past intervention": "treatment or alteration done before, by whomever",
    "production fault": "irregularity from the making, no damage",
    "soiling": "dirt, dust or grime on the surface",
    "split": "break along a fold or a line, with no part missing",
    "staining": "local colour from something that went into the material",
    "tear": "break from an edge with no part missing",
    "tidemark": "edge of colour that water carried and left where it dried",
    "transfer": "ink or colour of a neighbour on this surface",
}
